"""The shop's units are kept whole or as they were, and what makes no sense is told instead of guessed."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest

from journal.errors import BadInput, RecordError
from journal.facts import UNIT_SETS, Engine, JobOpened, Quantity
from journal.record import files
from journal.record.backup import back_up
from journal.record.shop_units import UNITS_FILE, keep_units, kept_units
from journal.record.store import Store
from journal.session import open_job


def test_what_was_chosen_is_there_again_and_nothing_before(tmp_path: Path) -> None:
    assert kept_units(tmp_path) is None
    keep_units(tmp_path, {Quantity.COOLANT_TEMPERATURE: "degF"})
    assert kept_units(tmp_path) == {**UNIT_SETS["si"], Quantity.COOLANT_TEMPERATURE: "degF"}


def test_what_another_program_chooses_meanwhile_is_seen_at_once(tmp_path: Path) -> None:
    for unit in ("degF", "degC", "degF"):
        keep_units(tmp_path, {Quantity.COOLANT_TEMPERATURE: unit})
        found = kept_units(tmp_path) or {}
        assert found[Quantity.COOLANT_TEMPERATURE] == unit
        found[Quantity.COOLANT_TEMPERATURE] = "spoilt by a caller"
        assert (kept_units(tmp_path) or {})[Quantity.COOLANT_TEMPERATURE] == unit


def test_a_quantity_in_a_unit_that_it_has_not_is_not_kept(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="lash"):
        keep_units(tmp_path, {Quantity.LASH: "psi"})
    assert kept_units(tmp_path) is None


def test_a_full_disk_leaves_the_choice_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    keep_units(tmp_path, UNIT_SETS["us"])

    def full(handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files.os, "fsync", full)
    with pytest.raises(RecordError, match="free some space"):
        keep_units(tmp_path, UNIT_SETS["si"])
    assert kept_units(tmp_path) == UNIT_SETS["us"]
    assert [path.name for path in tmp_path.iterdir()] == [UNITS_FILE]


@pytest.mark.parametrize("text", ["x", '"coolant temperature" = "psi"', '"depth" = "mm"', '"lash" = 3', "\udcff"])
def test_a_file_that_makes_no_sense_is_told_with_what_to_do(tmp_path: Path, text: str) -> None:
    (tmp_path / UNITS_FILE).write_bytes(text.encode(errors="surrogateescape"))
    with pytest.raises(RecordError, match="journal units"):
        kept_units(tmp_path)


def test_a_file_that_an_editor_began_with_a_mark_of_its_own_is_read(tmp_path: Path) -> None:
    (tmp_path / UNITS_FILE).write_text('"lash" = "thou"\n', encoding="utf-8-sig")
    assert (kept_units(tmp_path) or {})[Quantity.LASH] == "thou"


def test_a_backup_takes_the_units_along(tmp_path: Path) -> None:
    with Store.open(tmp_path / "journal") as store:
        open_job(store, JobOpened("Pump", Engine(6)), "Ash")
        keep_units(store.folder, UNIT_SETS["us"])
        back_up(store, tmp_path / "copy.zip")
    with zipfile.ZipFile(tmp_path / "copy.zip") as copy:
        assert UNITS_FILE in copy.namelist()
