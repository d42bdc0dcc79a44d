"""The commands as a person types them: one clear line for every mistake, and nothing lost."""

from __future__ import annotations

import json
import logging
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from click.shell_completion import BashComplete

from journal.cli import main
from journal.cli.main import group as journal_group
from journal.hearing.choose import ASKS_A_LOT
from journal.listening import Ears

OPEN = ("open", "--unit", "Pump", "--firing-order", "1-5-3-6-2-4", "--technician", "Ash")


def run(capsys: pytest.CaptureFixture[str], *arguments: str) -> tuple[int, str, str]:
    """Exit code, standard output and standard error of one command."""
    with pytest.raises(SystemExit) as ended:
        main(list(arguments))
    out, err = capsys.readouterr()
    code = ended.value.code
    return code if isinstance(code, int) else 0, out, err


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    """The one line a command is refused with."""
    code, _, err = run(capsys, *arguments)
    assert code != 0
    assert err.count("\n") == 1, err
    assert "Traceback" not in err
    return err


def test_a_session_typed_from_opening_to_findings(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert run(capsys, *OPEN)[0] == 0
    lines = ["idle cut-out test", "baseline thirty", *(f"cylinder {c} cut, 37.5" for c in (1, 2, 4, 5, 6))]
    for line in (*lines, "cylinder three no change"):
        assert run(capsys, "enter", line)[0] == 0, line
    code, out, _ = run(capsys, "findings", "--json")
    assert code == 0
    told = json.loads(out)
    standings = {c["cylinder"]: c["standing"] for c in told["runs"][0]["contributions"]}
    assert standings == {1: "even", 2: "even", 3: "dead", 4: "even", 5: "even", 6: "even"}
    assert run(capsys, "show")[0] == 0
    assert "Pump" in run(capsys, "jobs")[1]


def test_a_run_begins_with_one_line_of_caution(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    run(capsys, *OPEN)
    said = run(capsys, "enter", "idle cut-out test")[1]
    assert said.count("careful: Keep clear of fan, belts, shafts") == 1
    assert "careful" not in run(capsys, "enter", "baseline thirty")[1]


def test_hold_on_holds_from_one_typed_line_to_the_next(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert run(capsys, *OPEN)[0] == 0
    for line in ("idle cut-out test", "baseline thirty", "hold on"):
        assert run(capsys, "enter", line)[0] == 0, line
    assert "carry on" in refused(capsys, "enter", "cylinder one cut, 37.5")
    assert run(capsys, "enter", "carry on")[0] == 0
    assert run(capsys, "enter", "cylinder two cut, 37.5")[0] == 0
    shown = run(capsys, "show")[1]
    assert "cylinder 2 cut" in shown
    assert "cylinder 1 cut" not in shown


def test_nothing_is_entered_while_no_job_is_open(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    for command in (("enter", "baseline thirty"), ("show",), ("findings",), ("listen", "--from", "x.wav")):
        assert "journal open" in refused(capsys, *command)


def test_try_tells_kind_cylinder_quantity_value_unit_and_decision(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    code, out, _ = run(capsys, "try", "--cylinders", "6", "--json", "cylinder four cut, thirty eight")
    assert code == 0
    (entry,) = json.loads(out)
    wanted = {"kind": "cut", "cylinder": 4, "quantity": "fuel per stroke", "value": 38.0, "unit": "mm3"}
    assert {key: entry[key] for key in wanted} == wanted
    assert entry["decision"] == "take"
    assert not folder.exists()


def test_try_says_let_go_for_what_is_not_for_the_journal(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    _, out, _ = run(capsys, "try", "--json", "see you at the coffee machine")
    assert [entry["decision"] for entry in json.loads(out)] == ["let go"]


def test_a_cylinder_that_is_not_there_is_one_line_and_saves_nothing(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path
) -> None:
    run(capsys, *OPEN)
    assert refused(capsys, "enter", "cylinder nine cut, thirty eight")
    assert "no cylinder 9" in refused(capsys, "photo", "x.jpg", "--cylinder", "9")
    assert "cut" not in run(capsys, "show")[1].replace("cut-out", "")


@pytest.mark.parametrize(
    ("name", "content"),
    [("missing.wav", None), ("words.wav", b"these are words, not sound\n" * 100), ("empty.wav", b"")],
)
def test_what_is_no_sound_is_one_line(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path, name: str, content: bytes | None
) -> None:
    pytest.importorskip("soundfile", reason="needs the speech extra")
    run(capsys, *OPEN)
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    assert name in refused(capsys, "listen", "--from", str(path))
    assert name in refused(capsys, "transcribe", str(path))


def test_a_recording_without_speech_says_so_and_saves_nothing(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path
) -> None:
    soundfile = pytest.importorskip("soundfile", reason="needs the speech extra")
    path = tmp_path / "hum.wav"
    hum = 0.1 * np.sin(2 * np.pi * 60 * np.arange(48_000) / 16_000)
    soundfile.write(path, hum.astype("float32"), 16_000)
    run(capsys, *OPEN)
    before = run(capsys, "show", "--json")[1]
    assert "no speech" in refused(capsys, "listen", "--from", str(path))
    assert run(capsys, "show", "--json")[1] == before


@pytest.mark.parametrize(("listeners", "told"), [(["pocketsphinx"], True), (["whisper", "pocketsphinx"], False)])
def test_who_listens_with_the_light_one_alone_is_told_that_it_asks_a_lot(
    capsys: pytest.CaptureFixture[str],
    folder: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    listeners: list[str],
    told: bool,
) -> None:
    soundfile = pytest.importorskip("soundfile", reason="needs the speech extra")
    path = tmp_path / "silence.wav"
    soundfile.write(path, np.zeros(16_000, "float32"), 16_000)
    run(capsys, *OPEN)
    ears = Ears([SimpleNamespace(name=name) for name in listeners])  # type: ignore[misc]
    monkeypatch.setattr(Ears, "open", lambda *args, **kwargs: ears)
    _, _, said = run(capsys, "listen", "--no-learn", "--from", str(path))
    assert (ASKS_A_LOT in said) is told


def test_a_mistyped_command_is_answered_with_the_nearest_one(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert "'findings'" in refused(capsys, "finding")


def test_an_engine_that_contradicts_itself_is_refused(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    assert "exactly once" in refused(capsys, "open", "--unit", "x", "--firing-order", "1-5-3-6-2-2")
    assert "1 to 20" in refused(capsys, "open", "--unit", "x", "--cylinders", "40")
    assert not (folder / "journal.db").exists()


def test_a_common_shape_is_a_start_and_what_is_given_beside_it_counts(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    assert run(capsys, "open", "--unit", "Pump", "--shape", "inline six", "--firing-order", "1-4-2-6-3-5")[0] == 0
    assert "1-4-2-6-3-5" in run(capsys, "show")[1]
    assert "inline six" in refused(capsys, "open", "--unit", "x", "--shape", "a big one")


def test_lines_of_a_file_are_entered_one_by_one(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path
) -> None:
    run(capsys, *OPEN)
    script = tmp_path / "said.txt"
    script.write_text("idle cut-out test\nbaseline thirty\nnice weather today\ncylinder one cut thirty seven\n")
    assert run(capsys, "enter", "--file", str(script))[0] == 0
    entries = json.loads(run(capsys, "show", "--json")[1])["entries"]
    assert [entry["body"]["kind"] for entry in entries] == ["job opened", "run start", "baseline", "cut"]


def test_a_job_does_not_close_quietly_with_something_not_put_back(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    run(capsys, *OPEN)
    run(capsys, "enter", "half engine cut-out, four five six out")
    assert "put back" in refused(capsys, "close", "--cause", "unknown")
    assert run(capsys, "enter", "all cylinders back in")[0] == 0
    assert run(capsys, "close", "--cause", "unknown")[0] == 0


def test_a_job_does_not_close_quietly_while_a_question_waits(capsys: pytest.CaptureFixture[str], folder: Path) -> None:
    run(capsys, *OPEN)
    run(capsys, "enter", "idle cut-out test")
    run(capsys, "enter", "baseline thirty")
    run(capsys, "enter", "one cut, three hundred")
    assert "question still waits" in refused(capsys, "close", "--cause", "unknown")
    assert run(capsys, "enter", "neither")[0] == 0
    assert run(capsys, "close", "--cause", "unknown")[0] == 0


def test_journal_alone_says_where_you_are(
    capsys: pytest.CaptureFixture[str], folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SSH_CONNECTION", "no desktop is seen from afar")
    assert "journal open" in run(capsys)[1]
    run(capsys, *OPEN)
    assert "Pump" in run(capsys)[1]


def test_every_public_name_of_the_library_is_there() -> None:
    import journal

    assert [getattr(journal, name).__doc__ for name in journal.__all__ if not getattr(journal, name).__doc__] == []


@pytest.mark.parametrize(
    ("before", "begun", "wanted"),
    [([], "find", {"findings"}), (["close"], "--ca", {"--cause"}), (["listen", "--voice"], "to", {"tones"})],
)
def test_commands_options_and_choices_are_completed(before: list[str], begun: str, wanted: set[str]) -> None:
    shell = BashComplete(journal_group, {}, "journal", "_JOURNAL_COMPLETE")
    assert {item.value for item in shell.get_completions(before, begun)} == wanted


def test_a_parts_number_stays_when_only_its_state_is_said(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, *OPEN)
    run(capsys, "part", "valve", "bridge", "--cylinder", "3")
    run(capsys, "part", "valve", "bridge", "--state", "ordered", "--number", "VB-30017")
    run(capsys, "part", "valve", "bridge", "--state", "fitted")
    assert "valve bridge, cylinder 3: fitted, VB-30017" in run(capsys, "show")[1]
    run(capsys, "part", "valve", "bridge", "--state", "fitted", "--number", "VB-2")
    assert "VB-2" in run(capsys, "show")[1]


@pytest.mark.parametrize("option", ["--unit", "--technician", "--customer", "--work-order", "--serial"])
def test_a_name_is_one_line(capsys: pytest.CaptureFixture[str], folder: Path, option: str) -> None:
    """Else it could write a line of the list, or of who signed what."""
    for broken in ("Ash\nZZZZ  9 entries", "Ash\u2028B", "Ash\x1b[2J", "Ash\tB"):
        assert "give one line" in refused(capsys, *OPEN, option, broken)
    assert run(capsys, "jobs")[1].count("\n") <= 1
    assert run(capsys, *OPEN)[0] == 0
    assert "give one line" in refused(capsys, "enter", "--technician", "B\nC", "idle cut-out test")


@pytest.mark.parametrize("command", ["enter", "try"])
def test_a_line_that_would_take_long_to_make_out_is_refused_and_what_is_before_it_not_entered(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path, command: str
) -> None:
    run(capsys, *OPEN)
    assert "at most 300" in refused(capsys, command, "note " + "grease " * 60)
    assert "at most 300" in refused(capsys, command, "four cut " + "9" * 300)
    lines = tmp_path / "lines.txt"
    lines.write_text("idle cut-out test\nnote " + "grease " * 60 + "\n", encoding="utf-8")
    assert "at most 300" in refused(capsys, "enter", "--file", str(lines))
    assert "idle cut-out" not in run(capsys, "show")[1]
    assert run(capsys, command, "note " + "g" * 295)[0] == 0


@pytest.mark.parametrize(
    "words", [f"four cut {said}" for said in ("38 or 39", "between 38 and 39", "37.6.1", "3.76e1")]
)
def test_what_enter_asks_about_try_asks_about_too(capsys: pytest.CaptureFixture[str], folder: Path, words: str) -> None:
    run(capsys, *OPEN)
    run(capsys, "enter", "idle cut-out test")
    run(capsys, "enter", "baseline thirty")
    assert run(capsys, "try", words)[1].startswith("ask: ")
    assert run(capsys, "enter", words)[1].startswith("  ? ")


def test_a_pdf_is_made_without_a_word_of_the_library(
    capsys: pytest.CaptureFixture[str], folder: Path, tmp_path: Path
) -> None:
    """It warns of letters that a typeface lacks; the write-up says so itself."""
    pytest.importorskip("fpdf", reason="fpdf2 is not installed: PDFs are made by it")
    run(capsys, *OPEN)
    assert run(capsys, "write-up", "--to", str(tmp_path / "job.pdf"))[2] == ""
    assert not logging.getLogger("fpdf.output").isEnabledFor(logging.WARNING)


@pytest.mark.parametrize(
    "arguments",
    [
        ("unpack", "{}"), ("photo", "{}"), ("photo", "--watch", "{}"), ("transcribe", "{}"), ("listen", "--from", "{}"),
        ("pack", "{}"), ("backup", "{}"), ("--journal", "{}", "show"), ("--journal", "{}", "enter", "baseline thirty"),
    ],
)  # fmt: skip
def test_a_name_that_the_system_refuses_is_a_line(
    folder: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    run(capsys, *OPEN)
    too_long = str(folder.parent / ("a" * 300) / "b")
    assert "file name too long; check the name" in refused(capsys, *(each.format(too_long) for each in arguments))


@pytest.mark.parametrize("arguments", [("jobs",), ("show",), ("verify",), ("enter", "baseline", "thirty")])
def test_a_file_in_the_folders_place_is_no_journal_without_jobs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], arguments: tuple[str, ...]
) -> None:
    (tmp_path / "notes.txt").write_text("kept")
    assert "is a file: give the journal's folder" in refused(
        capsys, "--journal", str(tmp_path / "notes.txt"), *arguments
    )
    assert (tmp_path / "notes.txt").read_text() == "kept"
