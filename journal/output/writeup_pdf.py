"""A write-up in, a PDF out, made by fpdf2."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path

from journal.output.pdf_pages import Pages
from journal.output.typefaces import UNKNOWN
from journal.output.writeup import Section, WriteUp
from journal.output.writeup_html import Photos


def as_pdf(write: WriteUp, charts: Sequence[str], photos: Photos, *, paper: str = "A4") -> bytes:
    """The write-up as a PDF on A4 or Letter; `charts` are SVG texts, shown in order."""
    with tempfile.TemporaryDirectory() as folder:
        return _made(write, charts, photos, Pages(write.sheet, _words(write), paper, Path(folder)))


def _made(write: WriteUp, charts: Sequence[str], photos: Photos, pdf: Pages) -> bytes:
    pdf.add_page()
    pdf.heading(write.title, 17)
    for name, value in write.facts:
        pdf.said(f"{name}: {value}", 9.5)
    for title, text in (("Complaint", write.complaint), ("Cause", write.cause), ("Correction", write.correction)):
        pdf.heading(title)
        pdf.said(text, 11)
    _sections(pdf, [s for s in write.sections if s.warning])
    pdf.cautions(write.cautions)
    if charts:
        pdf.heading("How much each cylinder pulls", keep_mm=60)
        pdf.pictures([_plain(svg).encode() for svg in charts])
    _sections(pdf, [s for s in write.sections if not s.warning])
    if write.photos:
        pdf.heading("Photos", keep_mm=80)
        pdf.pictures([photos(sha256) for sha256, _ in write.photos], [caption for _, caption in write.photos])
    if pdf.faces.missing:
        pdf.said(f"{UNKNOWN} stands for a letter that this PDF's typefaces lack; the HTML write-up has it.", 9)
    pdf.to_sign(write.signed)
    return bytes(pdf.output())


def _sections(pdf: Pages, sections: Sequence[Section]) -> None:
    for section in sections:
        pdf.heading(section.title, keep_mm=_kept_together(section))
        for line in section.lines:
            pdf.said(line)
        if section.rows:
            pdf.rows(section.head, section.rows)


def _kept_together(section: Section) -> float:
    """How much of a section stays with its heading, mm: all of a table of figures that a sheet has room for."""
    whole = 12 + 5.5 * len(section.lines) + 6 * (len(section.rows) + 1)
    return whole if section.figures and whole < 200 else 44 if section.rows else 24


def _plain(svg: str) -> str:
    """The chart without its text alternative, which fpdf2 does not take in; the PDF says the same in its tables."""
    return re.sub(r"<(title|desc)\b.*?</\1>", "", svg, flags=re.DOTALL)


def _words(write: WriteUp) -> Iterator[str]:
    """Everything a write-up says in words."""
    yield from (
        write.title,
        write.sheet,
        "…",
        *write.signed,
        write.complaint,
        write.cause,
        write.correction,
        *write.cautions,
    )
    yield from (text for fact in write.facts for text in fact)
    yield from (caption for _, caption in write.photos)
    for section in write.sections:
        yield from (section.title, *section.lines, *section.head)
        yield from (cell for row in section.rows for cell in row)
