"""No sign that somebody wrote into a name, a note or an answer steers a terminal, a title, a PDF or the log."""

from __future__ import annotations

import json
import logging
import re
import subprocess
import unicodedata
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st

from journal.cli.main import group
from journal.facts import (
    Check,
    Engine,
    JobFact,
    JobOpened,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    Question,
    RepairDone,
    WriteUpEdited,
)
from journal.output.lines import findings_text, job_text
from journal.output.plain import UNSHOWN, escaped, line, lines
from journal.output.render import render
from journal.output.writeup import write_up
from journal.record.store import Store
from journal.session import Session, open_job
from journal.study import study
from tests.output.test_writeup import said_in_pdf

BAD = "\x1b[2J\x1b]0;owned\x07\x9b31m\x00\x08\x7f\u202egpj.exe\u2066\u2028"
"""Clears a terminal, sets its title, colours it, rubs out, turns letters about, and ends lines where none ends."""
STEERS = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069]")


def steers(text: str) -> list[str]:
    """What of a text a terminal would obey, ends of lines left out."""
    return STEERS.findall(text)


@given(st.text())
def test_what_is_shown_steers_nothing_and_the_letters_stay(text: str) -> None:
    """Unicode's own categories are the outside check: no control (Cc) is left but the end of a line."""
    shown = lines(text)
    assert not [c for c in shown if unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") and c != "\n"]
    assert not [
        c for c in shown if unicodedata.bidirectional(c) in ("LRE", "RLE", "LRO", "RLO", "PDF", "LRI", "RLI", "PDI")
    ]
    assert [c for c in shown if c.isalnum()] == [c for c in text if c.isalnum()]
    assert "\n" not in line(text) and lines(shown) == shown


def test_plain_words_of_any_script_stay_as_they_are() -> None:
    for text in (
        "Cylinder 3: dead",
        "Zylinder drei, Öl",
        "सिलेंडर तीन\u200d",
        "أسطوانة\u200f 3",
        "气缸三",
        "two\nlines",
        "",
    ):
        assert lines(text) == text
    assert lines("a\tb\r\nc\x85d") == "a b\nc d" and lines("\x1b") == UNSHOWN


@given(st.recursive(st.text() | st.none(), lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner)))
def test_json_says_the_same_and_steers_nothing(data: object) -> None:
    text = escaped(json.dumps(data, ensure_ascii=False, indent=1))
    assert json.loads(text) == data and steers(text) == []


@pytest.fixture
def spoilt(folder: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A job with such signs wherever words go, as a journal from before they were refused in names; its reference."""
    with monkeypatch.context() as patch:
        patch.setattr("journal.session.check_one_line", lambda what, text: None)
        return _spoilt(folder)


def _spoilt(folder: Path) -> str:
    with Store.open(folder) as store:
        job = open_job(store, JobOpened(f"Pump{BAD}2", Engine(6), f"misses{BAD}"), f"Ash{BAD}")
        session = Session(store, job, f"Ash{BAD}")
        session.enter(Note(f"oil{BAD}\nClosed with cause injector"), heard=f"note{BAD}")
        session.enter(JobFact("hours", f"12{BAD}"))
        part = session.enter(PartWanted(f"bridge{BAD}", 1, 3, f"broken{BAD}"))
        answer = PartAnswer(part.id, PartState.PRICED, f"B{BAD}", f"1{BAD}", f"now{BAD}", note=f"n{BAD}")
        session.enter(answer)
        session.enter(Photo("a" * 64, f"IMG{BAD}.jpg", f"overhead{BAD}", 3, warning=f"blurred{BAD}"))
        session.enter(Check("blow-by", "light"), heard=f"blow{BAD}")  # type: ignore[arg-type]
        session.enter(RepairDone(f"new bridge{BAD}", 3))
        session.enter(WriteUpEdited("correction", f"done{BAD}\nand more"))
        session.enter(Question(f"four{BAD}?", (Note(f"x{BAD}"),)))
        return store.line(job).reference


COMMANDS = (
    ["show"], ["findings"], ["jobs"], ["jobs", "--json"], ["show", "--json"], ["write-up"], ["enter", f"note oil{BAD}"],
    ["part", f"ring{BAD}", "--reason", BAD], ["part", "bridge", "--state", "arrived"], [],
    ["try", f"note x{BAD}"], ["findings", "--json"], ["repaired", f"again{BAD}"], [f"no{BAD}"], ["clip", f"x{BAD}"],
    ["order", f"x{BAD}", "--reason", "y"], ["photo", f"x{BAD}.jpg"], ["open", "--unit", f"U{BAD}", "--cylinders", "6"],
)  # fmt: skip


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: " ".join(command)[:8].strip() or "where you are")
def test_no_command_lets_such_a_sign_through(
    spoilt: str, command: list[str], capfd: pytest.CaptureFixture[str]
) -> None:
    from journal.cli.main import main

    with pytest.raises(SystemExit):
        main([word.replace("\0", "") for word in command])  # none of a command's words can hold that one
    out, err = capfd.readouterr()
    assert out or err
    assert steers(out) == [] and steers(err) == []


def test_erasing_asks_without_obeying(spoilt: str) -> None:
    ran = CliRunner().invoke(group, ["erase", spoilt], input="n\n")
    assert "Pump" in ran.output and steers(ran.output) == []


def test_every_command_prints_through_the_one_way_that_steers_nothing(root: Path) -> None:
    direct = [
        f"{file.name}: {words}"
        for file in sorted((root / "journal" / "cli").glob("*.py"))
        for words in re.findall(r"(?:click\.(?:secho|echo)|(?<![\w.])print)\(.*", file.read_text(encoding="utf-8"))
    ]
    assert direct == [
        "common.py: click.echo(lines(text), err=err)",
        'main.py: click.echo("journal: " + line(" ".join(message.split())), err=True)',
    ]


def test_further_lines_of_what_somebody_wrote_do_not_look_like_lines_of_ours(spoilt: str, folder: Path) -> None:
    with Store.open(folder) as store:
        job, findings = study(store, store.find(spoilt))
    text = job_text(job)
    assert "\nClosed with cause" not in text and "      Closed with cause injector" in text
    assert steers(text) == [] and steers(findings_text(findings)) == []


@pytest.mark.parametrize("form", ["txt", "html", "json", "pdf"])
def test_no_write_up_holds_such_a_sign(spoilt: str, folder: Path, form: str) -> None:
    with Store.open(folder) as store:
        job, findings = study(store, store.find(spoilt))
    assert "\n" not in write_up(job, findings).title
    data = render(job, findings, form, folder)
    if form == "pdf":
        text = said_in_pdf(data, folder).replace("\f", "\n")  # a form feed ends each page
        about = subprocess.run(["pdfinfo", folder / "read.pdf"], capture_output=True, text=True, check=True).stdout
        assert about.startswith("Title:") and "Pump" in about.splitlines()[0] and steers(about) == []
    else:
        text = data.decode("utf-8")
    assert "Pump" in text and steers(text) == []


def test_the_pages_title_and_words_hold_no_such_sign(spoilt: str, folder: Path) -> None:
    from tests.webui.own import own_browser
    from webui import create_app

    app = create_app(folder)
    with Store.open(folder) as store:
        job = store.find(spoilt)
        entry = store.entries(job)[1].id
    client = own_browser(app)
    for place in ("", "/review", "/parts", "/write-up", "/finish", "/photos", "/about", "/live", f"/entry/{entry}"):
        page = client.get(f"/job/{job}{place}")
        assert page.status_code == 200
        assert steers(page.get_data(as_text=True)) == [], place
    assert steers(client.get("/").get_data(as_text=True)) == []
    app.extensions["journal"].close()


def test_the_log_and_the_terminal_of_the_page_hold_no_such_sign(
    folder: Path, capfd: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    from tests.webui.own import own_browser
    from webui import create_app

    app = create_app(folder)
    client = own_browser(app)
    client.open("/%1b]0;owned%07", method="G\x7fT")

    def broken(**_: object) -> None:
        raise ZeroDivisionError(BAD)

    monkeypatch.setitem(app.view_functions, "job.overview", broken)
    client.get("/job/%1b%5b2J%9b31m%7f")
    logging.getLogger("waitress").error("Exception while serving %s", f"/{BAD}")
    out, err = capfd.readouterr()
    assert "ZeroDivisionError" in err and "while serving" in err
    assert steers(out) == [] and steers(err) == []
    log = (folder / "page.log").read_text(encoding="utf-8")
    assert steers(log) == [] and "G\\u007fT" in log
    app.extensions["journal"].close()
