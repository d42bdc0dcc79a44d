"""The write-up in every form: complaint, cause, correction, what they rest on, and the technician's own words."""

from __future__ import annotations

import io
import json
import re
import shutil
import subprocess
import unicodedata
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from journal.analysis import Findings, diagnose
from journal.errors import BadInput
from journal.facts import (
    Baseline,
    Body,
    Condition,
    Cut,
    GateOverridden,
    JobClosed,
    JobFact,
    Note,
    PartWanted,
    Photo,
    Quantity,
    RepairDone,
    RunKind,
    RunStarted,
    WriteUpEdited,
)
from journal.output.lines import findings_text, job_text
from journal.output.render import FORMS, render
from journal.output.typefaces import UNKNOWN
from journal.output.writeup import write_up
from journal.output.writeup_html import NOT_HERE, sheet_style
from journal.record.job import Job
from journal.record.photos import page_copy_path, take_in
from tests.causes.arrange import ENGINES, check_of, job_of, run_of

SIX = ENGINES["six"]
DEAD_THREE = (1, 1, 0, 1, 1, 1)
CHECKS = ("blow-by light", "wiring sound 3", "air test holds 3", "overhead damaged 3 bridge")


def broken_bridge(*more: Body, complaint: str = "misses at idle") -> tuple[Job, Findings]:
    """The job of a broken bridge on cylinder 3, and its findings."""
    job = job_of([*run_of(SIX, DEAD_THREE), *map(check_of, CHECKS), *more], SIX, complaint)
    return job, diagnose(job)


def as_text(job: Job, findings: Findings, folder: Path) -> str:
    return render(job, findings, "txt", folder).decode("utf-8")


def test_complaint_cause_and_correction_come_first_and_in_that_order(tmp_path: Path) -> None:
    text = as_text(*broken_bridge(), tmp_path)
    places = [text.index(f"\n{word}\n") for word in ("Complaint", "Cause", "Correction", "Cautions", "Cylinder 3")]
    assert places == sorted(places)
    assert "Misses at idle." in text
    assert "valve lash, bridge, rocker or pushrod" in text
    assert "Nothing has been repaired yet." in text


def test_it_says_what_was_ruled_out_and_how_and_who_found_it_when(tmp_path: Path) -> None:
    text = " ".join(as_text(*broken_bridge(), tmp_path).split())
    assert "The injector is not indicated" in text
    assert re.search(r"rings, piston or liner, under 1 %\. Against: [^.]*air test holds", text)
    assert "2026-11-24 09:01; who: A. Tester; check and result: blow-by: light" in text


def test_the_technicians_words_replace_the_generated_ones_and_can_be_taken_back(tmp_path: Path) -> None:
    edited = (WriteUpEdited("cause", "Bridge on three broke."), WriteUpEdited("correction", "Bridge renewed."))
    write = write_up(*broken_bridge(*edited))
    assert (write.cause, write.correction) == ("Bridge on three broke.", "Bridge renewed.")
    back = write_up(*broken_bridge(*edited, WriteUpEdited("cause", "")))
    assert back.cause.startswith("Cylinder 3 is dead")


def test_a_repair_without_its_run_is_not_said_to_be_mended() -> None:
    job, findings = broken_bridge(RepairDone("bridge renewed", 3))
    assert "whether it is mended is not shown" in write_up(job, findings).correction


def test_a_closed_job_states_the_cause_found_and_the_run_after() -> None:
    after = run_of(SIX, (1, 1, 1, 1, 1, 1), after_repair=True)
    job, findings = broken_bridge(RepairDone("bridge renewed", 3), *after, JobClosed("valve-train", 3, "broken bridge"))
    write = write_up(job, findings)
    assert write.cause == "Broken bridge (cylinder 3)."
    assert write.correction.startswith("Bridge renewed, cylinder 3. Mended:")
    assert "Before the repair cylinder 3 was dead" in " ".join(line for s in write.sections for line in s.lines)


def test_nothing_is_said_to_be_ready_or_replaced_before_its_checks(tmp_path: Path) -> None:
    job = job_of(run_of(SIX, DEAD_THREE), SIX)
    said = as_text(job, diagnose(job), tmp_path).replace("does not replace the maker", "").lower()
    assert "ready to order" not in said.replace("not ready to order", "")
    assert "replace" not in said


def test_an_order_against_missing_checks_stands_in_the_write_up_with_its_reason(tmp_path: Path) -> None:
    job = job_of([*run_of(SIX, DEAD_THREE), GateOverridden("injector", 3, "spare at hand")], SIX)
    text = " ".join(as_text(job, diagnose(job), tmp_path).split())
    assert "Ordered against missing checks" in text
    assert "Reason given: Spare at hand." in text


def test_what_is_not_put_back_is_a_block_of_its_own(tmp_path: Path) -> None:
    job = job_of(run_of(SIX, DEAD_THREE, pressure="high"), SIX)
    assert "Not yet put back\n  Injection pressure" in as_text(job, diagnose(job), tmp_path)


def with_photo(folder: Path) -> tuple[Job, Findings]:
    """The same job with a photo in the journal's folder."""
    picture = io.BytesIO()
    Image.new("RGB", (640, 480), (90, 120, 60)).save(picture, "JPEG")
    taken = take_in(folder, picture.getvalue(), "bridge.jpg")
    return broken_bridge(Photo(taken.sha256, "bridge.jpg", "overhead", 3), PartWanted("bridge", 1, 3, "broken"))


def test_the_html_stands_alone_and_shows_the_photo_and_the_charts(tmp_path: Path) -> None:
    page = render(*with_photo(tmp_path), "html", tmp_path).decode("utf-8")
    assert page.count("data:image/jpeg;base64,") == 1
    assert "<svg" in page and "Overhead, cylinder 3: bridge.jpg" in page
    assert not re.search(r"""(src|href)=["'](?!data:)""", page), "something would be fetched"
    assert "<script" not in page


def test_what_was_typed_cannot_become_markup(tmp_path: Path) -> None:
    page = render(*broken_bridge(complaint="<script>alert(1)</script> & more"), "html", tmp_path).decode("utf-8")
    assert "<script>" not in page and "&lt;script&gt;" in page


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_the_pdf_says_what_the_text_says(tmp_path: Path, paper: str) -> None:
    """Read back with poppler's pdftotext and pdfinfo."""
    if not (shutil.which("pdftotext") and shutil.which("pdfinfo")):
        pytest.skip("pdftotext and pdfinfo are not installed (Debian: poppler-utils)")
    job, findings = with_photo(tmp_path)
    file = tmp_path / "job.pdf"
    file.write_bytes(render(job, findings, "pdf", tmp_path, paper=paper))
    said = subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout
    words = " ".join(said.split())
    for part in (
        "Complaint",
        "Misses at idle.",
        "The injector is not indicated",
        "bridge.jpg",
        "1 x bridge",
        "Cautions",
    ):
        assert part in words
    about = subprocess.run(["pdfinfo", file], capture_output=True, text=True, check=True).stdout
    assert {"A4": "595", "Letter": "612"}[paper] in about
    images = subprocess.run(["pdfimages", "-list", file], capture_output=True, text=True, check=True).stdout
    assert images.count(" image ") == 1


def said_in_pdf(pdf: bytes, folder: Path) -> str:
    """The PDF's words as poppler's pdftotext reads them; the test is skipped where that is not installed."""
    if not shutil.which("pdftotext"):
        pytest.skip("pdftotext is not installed (Debian: poppler-utils)")
    file = folder / "read.pdf"
    file.write_bytes(pdf)
    return subprocess.run(["pdftotext", "-layout", file, "-"], capture_output=True, text=True, check=True).stdout


MARKS = "\u200e\u200f\u202a\u202b\u202c"
"""The Unicode Standard's marks of direction."""


@pytest.mark.parametrize(
    "words",
    [
        "Größe − 0 °C, “quoted” Žižka, 5 Ω, 10 €, H₂O",
        "Клапан третьего цилиндра сломан",
        "Η βαλβίδα έσπασε",
        "שסתום שבור",
        "الصمام مكسور",
        "वाल्व टूटा हुआ",
        "სარქველი გატეხილია",
        "วาล์วหัก",
        "✓ 90° ⚠",
        "Ǎǧř ḁ ệ",
    ],
)
def test_the_pdf_keeps_the_letters_of_any_of_these_scripts(tmp_path: Path, words: str) -> None:
    job, findings = broken_bridge(Note(words))
    said = said_in_pdf(render(job, findings, "pdf", tmp_path), tmp_path)
    # pdftotext marks the direction it read in, and parts letters that stand apart: only the letters are compared.
    letters = ["".join(c for c in unicodedata.normalize("NFKC", t) if not c.isspace() and c not in MARKS)
               for t in (said, words)]  # fmt: skip
    assert letters[1] in letters[0]
    assert UNKNOWN not in said


def test_a_letter_that_no_typeface_of_the_pdf_has_is_shown_as_missing_and_said(tmp_path: Path) -> None:
    job, findings = broken_bridge(Note("漢字 and\x00\ttext"))
    said = said_in_pdf(render(job, findings, "pdf", tmp_path), tmp_path)
    assert f"{UNKNOWN * 2} and" in said
    assert f"{UNKNOWN} stands for a letter that this PDF's typefaces lack" in said
    assert "漢字" in as_text(job, findings, tmp_path)


@settings(max_examples=20, deadline=None)
@given(words=st.text(st.characters(), min_size=1, max_size=200))
def test_no_words_whatever_stop_the_pdf(words: str) -> None:
    job, findings = broken_bridge(Note(words), complaint=words)
    assert render(job, findings, "pdf", Path()).startswith(b"%PDF")


@pytest.mark.parametrize("spoil", ["gone", "damaged", "copy damaged"])
def test_a_photo_whose_file_is_lost_or_damaged_does_not_stop_the_write_up(tmp_path: Path, spoil: str) -> None:
    job, findings = with_photo(tmp_path)
    page, original = page_copy_path(tmp_path, job.pictures[0].photo.body.sha256), next(tmp_path.glob("photos/**/*.jpg"))
    if spoil == "copy damaged":
        page.write_bytes(b"no picture")
        original.unlink()
    else:
        page.unlink()
        original.unlink() if spoil == "gone" else original.write_bytes(b"no picture")
    html = render(job, findings, "html", tmp_path).decode("utf-8")
    assert NOT_HERE in html and "Overhead, cylinder 3: bridge.jpg" in html and "data:image" not in html
    said = " ".join(said_in_pdf(render(job, findings, "pdf", tmp_path), tmp_path).split())
    assert NOT_HERE in said and "Overhead, cylinder 3: bridge.jpg" in said


def test_the_json_carries_the_findings_it_rests_on(tmp_path: Path) -> None:
    job, findings = broken_bridge()
    plain = json.loads(render(job, findings, "json", tmp_path))
    assert plain["job"] == job.id
    assert plain["findings"]["cylinders"][0]["causes"][0]["key"] == "valve-train"
    assert plain["cause"] == findings.headline


def test_an_unknown_form_is_refused(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="txt, html, pdf, json"):
        render(*broken_bridge(), "doc", tmp_path)


@pytest.mark.parametrize("form", FORMS)
def test_a_job_with_nothing_in_it_can_be_written_up(tmp_path: Path, form: str) -> None:
    job = job_of([], SIX, "")
    assert render(job, diagnose(job), form, tmp_path)


def test_the_terminal_shows_the_job_and_its_findings() -> None:
    job, findings = broken_bridge(PartWanted("bridge", 1, 3, "broken"))
    shown = job_text(job)
    for part in (
        "firing order 1-5-3-6-2-4",
        "cylinder 3 cut: 30 mm3",
        "overhead, cylinder 3: damaged, bridge",
        "1 x bridge",
    ):
        assert part in shown
    said = findings_text(findings)
    assert said.startswith("Cylinder 3 is dead: valve lash, bridge, rocker or pushrod")
    assert "+ overhead damaged (bridge):" in said and "times likelier" in said


def test_a_next_check_is_shown_with_its_cautions_and_how_to_say_it() -> None:
    job = job_of(run_of(SIX, DEAD_THREE), SIX)
    said = findings_text(diagnose(job))
    assert "Next: " in said and "say, for example: " in said
    assert re.search(r"^  ! ", said, re.MULTILINE)
    assert said.count("  or: ") == 2


def test_a_part_wanted_stands_with_its_reason_and_the_evidence(tmp_path: Path) -> None:
    text = " ".join(as_text(*broken_bridge(PartWanted("bridge", 1, 3, "broken")), tmp_path).split())
    assert "1 x bridge, cylinder 3: wanted; why: broken; evidence: overhead damaged (bridge):" in text


def test_the_evidence_for_a_bridge_is_none_for_an_injector() -> None:
    write = write_up(*broken_bridge(PartWanted("injector", 1, 3, "to be sure")))
    rows = next(s.rows for s in write.sections if s.title == "Parts")
    assert rows[0][0].startswith("1 x injector") and "overhead damaged" not in rows[0][2]


def test_cautions_are_not_torn_between_two_sheets_and_take_none_of_their_own(tmp_path: Path) -> None:
    for more in range(0, 32, 4):
        job, findings = broken_bridge(
            *[check_of("wiring sound 3")] * more, WriteUpEdited("cause", "So it is. " * more**2)
        )
        pages = said_in_pdf(render(job, findings, "pdf", tmp_path), tmp_path).split("\f")
        assert [("Wear eye protection" in page) for page in pages] == [("Cautions" in page) for page in pages]
        assert sum("Cautions" in page for page in pages) == 1
        sheet = next(page for page in pages if "Cautions" in page)
        assert len(sheet.split()) > 2 * len(" ".join(findings.cautions).split())


def figures_of(job: Job, findings: Findings, run: int = 1) -> list[dict[str, str]]:
    """A run's table in the write-up, each row by its headings."""
    section = next(s for s in write_up(job, findings).sections if s.title.startswith(f"Run {run}:"))
    return [dict(zip(section.head, row, strict=True)) for row in section.rows]


def test_a_run_has_one_table_of_baseline_cut_rise_share_and_standing() -> None:
    """The worked example: 30 mm3 by six, five of them even; each of five makes 6 of 30, so a cut takes it to 37.5."""
    rows = figures_of(*broken_bridge())
    assert [row["Cylinder"] for row in rows] == ["1", "2", "3", "4", "5", "6"]
    assert (rows[0]["Baseline, mm³"], rows[0]["Cut, mm³"], rows[0]["Rise, mm³"]) == ("30", "37.5", "7.5")
    assert (rows[2]["Cut, mm³"], rows[2]["Rise, mm³"], rows[2]["Standing"]) == ("30", "0", "dead")
    assert all(re.fullmatch(r"\d+\.\d %", row["Share of work"]) for row in rows)
    assert all(re.fullmatch(r"\d+ to \d+ %", row["95 % interval"]) for row in rows)


def test_every_reading_of_a_run_stands_in_its_table_with_the_baseline_it_rises_from() -> None:
    speed, warm = (
        (Condition(Quantity.ENGINE_SPEED, rpm) for rpm in (700, 705)),
        Condition(Quantity.COOLANT_TEMPERATURE, 82),
    )
    cuts = [Cut(n, 37.1) for n in (1, 2, 4)]
    later = (Baseline(30.4), Cut(4, 37.3), Cut(5, no_change=True), Cut(1, 37.0, unit="mg"))
    job = job_of([RunStarted(RunKind.IDLE), *speed, warm, Baseline(30.0), *cuts, *later], SIX)
    rows = figures_of(job, diagnose(job))
    assert (rows[3]["Baseline, mm³"], rows[3]["Cut, mm³"], rows[3]["Rise, mm³"]) == (
        "30; 30.4",
        "37.1; 37.3",
        "7.1; 6.9",
    )
    assert (rows[4]["Cut, mm³"], rows[4]["Rise, mm³"]) == ("no change", "0")
    assert rows[0]["Cut, mm³"] == "37.1; 37 mg (left out)" and rows[0]["Rise, mm³"] == "7.1; -"
    assert (rows[5]["Cut, mm³"], rows[5]["Share of work"]) == ("not read", "-")
    lines = next(s.lines for s in write_up(job, diagnose(job)).sections if s.title == "Run 1: Idle")
    assert "Readings: fuel per stroke, mm³." in lines
    assert "Conditions: engine speed 700 rpm, then 705 rpm; coolant temperature 82 °C." in lines
    assert "Baseline, in the order read: 30 mm³, 30.4 mm³." in lines


def test_a_speed_that_falls_is_said_to_fall_by_so_much() -> None:
    start = RunStarted(RunKind.IDLE, Quantity.ENGINE_SPEED)
    job = job_of([start, Baseline(1500), *(Cut(n, 1420) for n in range(1, 7))], SIX)
    assert figures_of(job, diagnose(job))[0]["Fall, rpm"] == "80"


def test_a_run_held_to_half_the_engine_has_rows_for_the_others_only() -> None:
    job = job_of(run_of(SIX, (1, 1, 1), kind="half", out=(4, 5, 6)), SIX)
    assert [row["Cylinder"] for row in figures_of(job, diagnose(job))] == ["1", "2", "3"]


@pytest.mark.parametrize("form", ["txt", "html", "pdf"])
def test_the_readings_stand_in_every_form_of_the_write_up(tmp_path: Path, form: str) -> None:
    data = render(*broken_bridge(), form, tmp_path)
    said = said_in_pdf(data, tmp_path) if form == "pdf" else data.decode("utf-8")
    words = " ".join(re.sub(r"<[^>]+>", " ", said).replace("\N{NO-BREAK SPACE}", " ").split())
    assert re.search(
        r"Cylinder Baseline, mm³ Cut, mm³ Rise, mm³ Share of work 95 % interval Standing 1 30 37\.5 7\.5", words
    )
    assert re.search(r" 3 30 30 0 0\.\d % 0 to \d+ % dead", words)


def test_every_sheet_tells_which_job_and_which_machine(tmp_path: Path) -> None:
    job, findings = broken_bridge(*[check_of("wiring sound 3")] * 60)
    pages = said_in_pdf(render(job, findings, "pdf", tmp_path, reference="BCDF"), tmp_path).split("\f")[:-1]
    assert len(pages) > 2
    assert all(
        "Job BCDF, test bench" in page and f"sheet {n} of {len(pages)}" in page for n, page in enumerate(pages, 1)
    )
    html = render(job, findings, "html", tmp_path, reference="BCDF").decode("utf-8")
    assert '@bottom-left { content: "Job\\20 BCDF\\2c \\20 test\\20 bench"' in html
    assert as_text(job, findings, tmp_path).rstrip().endswith("test bench")


def test_a_machine_with_a_long_name_leaves_room_for_the_number_of_its_sheets(tmp_path: Path) -> None:
    job = job_of([JobFact("unit", "Pump of the upper orchard " * 8)], SIX)
    page = said_in_pdf(render(job, diagnose(job), "pdf", tmp_path, reference="BCDF"), tmp_path)
    assert re.search(r"Job BCDF, Pump of the upper orchard.*…\s+sheet 1 of 1", page)


def test_no_name_of_a_machine_ends_the_rule_that_prints_it() -> None:
    style = sheet_style('x"; } body { display: none } @page { content: "\\')
    assert style.count("{") == style.count("}") == 3 and "display" in style and "display: none" not in style


@pytest.mark.parametrize("form", ["txt", "html", "pdf"])
def test_there_is_a_line_to_sign_on(tmp_path: Path, form: str) -> None:
    data = render(*broken_bridge(), form, tmp_path)
    said = said_in_pdf(data, tmp_path) if form == "pdf" else data.decode("utf-8")
    assert said.index("Technician (A. Tester)") < said.rindex("Date")
