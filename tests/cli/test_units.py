"""The shop's units from the terminal: shown, chosen, asked for once and only of a person; and what was learnt."""

from __future__ import annotations

import io
import json
import sys
from pathlib import Path

import pytest

from journal.facts import UNIT_SETS, Question
from journal.mending import mend
from journal.record.shop_units import UNITS_FILE, kept_units
from journal.record.store import Store
from journal.session import Session
from tests.cli.test_commands import OPEN, refused, run


class _Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def at_a_terminal(monkeypatch: pytest.MonkeyPatch, *answers: str) -> io.StringIO:
    """Standard input as a person's, with what they will answer."""
    typed = _Terminal("".join(f"{answer}\n" for answer in answers))
    monkeypatch.setattr(sys, "stdin", typed)
    return typed


def test_units_are_shown_chosen_as_a_set_and_one_by_one(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    def shown() -> dict[str, str]:
        return dict(json.loads(run(capsys, "units", "--json")[1]))

    assert shown() == UNIT_SETS["si"] and not folder.exists()
    assert "coolant temperature" in run(capsys, "units", "us")[1]
    assert shown() == UNIT_SETS["us"]
    run(capsys, "units", "coolant temperature=°C", "lash=mm")
    assert shown() == {**UNIT_SETS["us"], "coolant temperature": "degC", "lash": "mm"}
    assert kept_units(folder) == shown()


@pytest.mark.parametrize(
    ("choice", "told"), [("imperial", "si, us"), ("lash=psi", "mm, in, thou"), ("depth=mm", "coolant temperature")]
)
def test_a_choice_that_is_none_is_one_line_and_changes_nothing(
    capsys: pytest.CaptureFixture[str], folder: Path, choice: str, told: str
) -> None:
    run(capsys, "units", "us")
    assert told in refused(capsys, "units", "coolant temperature=degC", choice)
    assert kept_units(folder) == UNIT_SETS["us"]


def test_a_spoilt_file_is_one_line_and_choosing_again_mends_it(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    run(capsys, *OPEN)
    (folder / UNITS_FILE).write_text("half a line", encoding="utf-8")
    assert "journal units" in refused(capsys, "units")
    assert "journal units" in refused(capsys, "enter", "coolant eighty two")
    assert run(capsys, "units", "us")[0] == 0
    assert run(capsys, "enter", "blow-by light")[0] == 0


def test_a_person_is_asked_once_when_a_job_is_opened(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, folder: Path
) -> None:
    given = (*OPEN, "--injection", "common rail", "--complaint", "misses")
    at_a_terminal(monkeypatch, "us")
    assert run(capsys, *given)[0] == 0
    assert kept_units(folder) == UNIT_SETS["us"]
    left = at_a_terminal(monkeypatch, "si")
    assert run(capsys, *given)[0] == 0
    assert left.read() == "si\n" and kept_units(folder) == UNIT_SETS["us"]


def test_nobody_is_asked_where_no_person_is(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert run(capsys, *OPEN)[0] == 0
    assert kept_units(folder) is None


def test_phrases_learnt_lists_what_was_put_right(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    run(capsys, *OPEN)
    assert "nothing yet" in run(capsys, "phrases", "--learnt")[1]
    with Store.open(folder) as store:
        session = Session(store, store.latest_open() or "")
        session.enter(Question("Sorry?", ()), heard="she is puffing badly")
        mend(session, session.job.not_understood[0], "blow-by heavy")
    assert '   1  "she is puffing badly"  ->  "blow by heavy"  (check)' in run(capsys, "phrases", "--learnt")[1]
    (one,) = json.loads(run(capsys, "phrases", "--learnt", "--json")[1])
    assert one == {"heard": "she is puffing badly", "meant": "blow by heavy", "kind": "check", "times": 1}


def test_show_lists_what_was_not_understood(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    run(capsys, *OPEN)
    with Store.open(folder) as store:
        Session(store, store.latest_open() or "").enter(Question("Sorry?", ()), heard="she is puffing badly")
    out = run(capsys, "show")[1]
    assert 'Not understood\n  "she is puffing badly"' in out and "Waiting for an answer" not in out
    assert run(capsys, "close", "--cause", "unknown")[0] == 0, "it is no question that must be answered"
