"""A folder, a pipe or a link that leads nowhere in the place of a journal's own files: one line, at once."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from journal.cli import main
from journal.errors import RecordError
from journal.facts import Engine, JobOpened, Quantity
from journal.holding import is_holding
from journal.record.files import not_a_file, read_file
from journal.record.keys import KEY_NAME
from journal.record.schema import FILE_NAME
from journal.record.shop_labels import LABELS_FILE, kept_labels
from journal.record.shop_units import UNITS_FILE, keep_units, kept_units
from journal.record.store import Store
from journal.session import open_job
from webui.heard import Heard, heard_in
from webui.keys import signing_key
from webui.log import Log
from webui.running import address_of_running

pytestmark = [
    pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with a name"),
    pytest.mark.timeout(20),  # what waits for ever fails
]


def a_folder(path: Path) -> None:
    path.mkdir()


def a_pipe(path: Path) -> None:
    os.mkfifo(path)


def a_link_to_nothing(path: Path) -> None:
    path.symlink_to(path.parent / "gone" / path.name)


INSTEAD: dict[Callable[[Path], None], str] = {
    a_folder: "a folder",
    a_pipe: "no regular file",
    a_link_to_nothing: "a link to what is not there",
}

COMMANDS = (
    (),
    ("jobs",),
    ("show",),
    ("enter", "baseline", "thirty"),
    ("open", "--unit", "Pump", "--cylinders", "6"),
    ("verify",),
    ("verify", "--mend"),
    ("erase", "REF"),
)
"""Of each way to come to the journal one."""

WRITE_OR_CHECK = (("enter", "baseline", "thirty"), ("open", "--unit", "Pump", "--cylinders", "6"), ("verify",))
"""What needs the key."""


@pytest.fixture
def journal(tmp_path: Path) -> Path:
    """A journal with a job."""
    folder = tmp_path / "journal"
    with Store.open(folder) as store:
        open_job(store, JobOpened("Orchard pump", Engine(6), "misses"), "Ash")
    return folder


@pytest.mark.parametrize("words", COMMANDS, ids=" ".join)
@pytest.mark.parametrize("put", INSTEAD, ids=lambda put: put.__name__)
def test_what_is_no_file_in_the_place_of_the_database_is_said(
    put: Callable[[Path], None],
    words: tuple[str, ...],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    monkeypatch.setattr("journal.cli.start.on_desktop", lambda: False)
    put(tmp_path / FILE_NAME)  # alone, so that nothing else tells that there was a journal
    with pytest.raises(SystemExit) as end:
        main(["--journal", str(tmp_path), *words])
    (line,) = capsys.readouterr().err.strip().splitlines()
    assert f"{tmp_path / FILE_NAME} is {INSTEAD[put]}, not the journal's database: put that back there" in line
    assert end.value.code == 1
    assert [path.name for path in tmp_path.iterdir()] == [FILE_NAME]


@pytest.mark.parametrize("words", WRITE_OR_CHECK, ids=" ".join)
@pytest.mark.parametrize("put", INSTEAD, ids=lambda put: put.__name__)
def test_what_is_no_file_in_the_place_of_the_key_is_said(
    put: Callable[[Path], None], words: tuple[str, ...], journal: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (journal / KEY_NAME).unlink()
    put(journal / KEY_NAME)
    with Store.open(journal, create=False) as store:
        entries = store.last_seq()
    with pytest.raises(SystemExit) as end:
        main(["--journal", str(journal), *words])
    said = " ".join(capsys.readouterr())
    assert f"{journal / KEY_NAME} is {INSTEAD[put]}, not the journal's key: move it away, and put the key" in said
    assert "Traceback" not in said and end.value.code == 1
    with Store.open(journal, create=False) as store:
        assert store.last_seq() == entries


def test_a_link_to_the_file_itself_is_followed(journal: Path) -> None:
    for name in (FILE_NAME, KEY_NAME):
        (journal / name).rename(journal.parent / name)
        (journal / name).symlink_to(journal.parent / name)
    with Store.open(journal, create=False) as store:
        open_job(store, JobOpened("Pump", Engine(4), "smokes"), "Ash")
        assert len(store.jobs()) == 2
    assert not_a_file(journal / FILE_NAME) == ""


def test_what_is_there_whole_is_read_and_what_is_not_there_is_no_file_either(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"all of it")
    assert read_file(tmp_path / "file") == b"all of it"
    assert not_a_file(tmp_path / "nothing") == ""
    with pytest.raises(FileNotFoundError):
        read_file(tmp_path / "nothing")
    with pytest.raises(OSError, match="no regular file"):
        read_file(Path(os.devnull))


@pytest.mark.parametrize("put", [a_folder, a_pipe], ids=lambda put: put.__name__)
def test_no_small_file_of_the_journal_that_is_none_is_waited_for(put: Callable[[Path], None], tmp_path: Path) -> None:
    for name in (UNITS_FILE, LABELS_FILE, "holding", "live.json", "page.address", "page.key", "page.log"):
        put(tmp_path / name)
    with pytest.raises(RecordError, match=r"units\.toml in .* cannot be used"):
        kept_units(tmp_path)
    with pytest.raises(RecordError, match=r"screens\.toml in .* cannot be used"):
        kept_labels(tmp_path)
    assert not is_holding(tmp_path, "a job")
    assert heard_in(tmp_path) == Heard()
    assert address_of_running(tmp_path) == ""
    with pytest.raises(RecordError, match=r"page\.key: cannot be used as the page's key"):
        signing_key(tmp_path)
    with pytest.raises(RecordError, match=r"page\.log is .*, not the page's log: move it away"):
        Log(tmp_path)


def test_units_are_chosen_anew_over_a_pipe(tmp_path: Path) -> None:
    a_pipe(tmp_path / UNITS_FILE)
    chosen = {Quantity.COOLANT_TEMPERATURE: "degF"}
    keep_units(tmp_path, chosen)
    kept = kept_units(tmp_path)
    assert kept is not None and kept[Quantity.COOLANT_TEMPERATURE] == "degF"
