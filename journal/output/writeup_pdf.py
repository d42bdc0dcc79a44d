"""A write-up in, a PDF out, made by fpdf2."""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import cast

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, TableBordersLayout, XPos, YPos

from journal.output.typefaces import FAMILY, UNKNOWN, Typefaces
from journal.output.writeup import Section, WriteUp
from journal.output.writeup_html import NOT_HERE, Photos

_MARGIN_MM = 16.0
_CHART_MM = 84.0
_FRAME_MM = 24.0
_NUMBER_MM = 28.0
"""Room for the number of a sheet."""
_SMALL = 8.5
"""Letters of the small print, points."""


def as_pdf(write: WriteUp, charts: Sequence[str], photos: Photos, *, paper: str = "A4") -> bytes:
    """The write-up as a PDF on A4 or Letter; `charts` are SVG texts, shown in order."""
    with tempfile.TemporaryDirectory() as folder:
        return _made(write, charts, photos, _Pages(write, paper, Path(folder)))


def _made(write: WriteUp, charts: Sequence[str], photos: Photos, pdf: _Pages) -> bytes:
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


def _sections(pdf: _Pages, sections: Sequence[Section]) -> None:
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


class _Pages(FPDF):
    """Pages with a running foot, and the few things a write-up is made of."""

    def __init__(self, write: WriteUp, paper: str, folder: Path) -> None:
        super().__init__(format=paper)
        self.faces = Typefaces(self, folder, _words(write))
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(True, 18)
        self.set_title(write.sheet)
        self.sheet = write.sheet
        self.alias_nb_pages()

    def footer(self) -> None:
        """Which job this sheet belongs to, as much of it as fits, and which sheet of how many it is."""
        self.set_y(-13)
        self.set_font(FAMILY, size=8)
        words, room = self.faces.shown(self.sheet), self.epw - _NUMBER_MM
        while self.get_string_width(words) > room:
            words = words[:-2].rstrip() + "…"
        self.cell(room, 5, words)
        self.cell(_NUMBER_MM, 5, f"sheet {self.page_no()} of {{nb}}", align="R")

    def heading(self, text: str, size: float = 12, keep_mm: float = 24) -> None:
        """A heading that is not left alone at the foot of a page: `keep_mm` of what follows stay with it."""
        if self.will_page_break(keep_mm):
            self.add_page()
        self.set_font(FAMILY, style="B", size=size)
        self.ln(2)
        self.multi_cell(0, size * 0.45, self.faces.shown(text), new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(0.6)

    def said(self, text: str, size: float = 10) -> None:
        """A paragraph."""
        self.set_font(FAMILY, size=size)
        self.multi_cell(0, size * 0.46, self.faces.shown(text), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.ln(0.7)

    def cautions(self, cautions: Sequence[str]) -> None:
        """All of them in one small paragraph on the sheet that they fall on, so that they take none of their own."""
        if not cautions:
            return
        words = f"Cautions: {' '.join(cautions)}"
        if self.will_page_break(self.high(words, _SMALL)):
            self.add_page()
        self.ln(1)
        self.said(words, _SMALL)

    def to_sign(self, fields: Sequence[str]) -> None:
        """A line to write on for each field, side by side, with its words below."""
        if self.will_page_break(22):
            self.add_page()
        self.ln(14)
        wide = self.epw / len(fields)
        self.set_font(FAMILY, size=_SMALL)
        for place, words in enumerate(fields):
            x = self.l_margin + place * wide
            self.line(x, self.get_y(), x + wide - 8, self.get_y())
            self.text(x, self.get_y() + 4, self.faces.shown(words))

    def high(self, text: str, size: float = 10) -> float:
        """How high that paragraph would stand, mm."""
        self.set_font(FAMILY, size=size)
        shown = self.faces.shown(text)
        high = self.multi_cell(0, size * 0.46, shown, align="L", dry_run=True, output=MethodReturnValue.HEIGHT)
        return cast(float, high) + 0.7

    def rows(self, head: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """A table with lines between its rows."""
        self.set_font(FAMILY, size=8.5)
        with self.table(
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            text_align="LEFT",
            line_height=4.2,
            padding=0.8,
            col_widths=_widths((head, *rows)),
        ) as table:
            for cells in (head, *rows):
                table.row([self.faces.shown(cell) for cell in cells])

    def pictures(self, images: Sequence[bytes | None], captions: Sequence[str] = ()) -> None:
        """Images two to a row, each with its caption under it; words in a frame where there is none."""
        gap = self.epw - 2 * _CHART_MM
        for start in range(0, len(images), 2):
            bottom = self.get_y()
            heights = [_height(data, _CHART_MM) for data in images[start : start + 2]]
            if self.will_page_break(max(heights) + 8):
                self.add_page()
            top = self.get_y()
            for place, data in enumerate(images[start : start + 2]):
                x = self.l_margin + place * (_CHART_MM + gap)
                if data is None:
                    self._frame(x, top)
                else:
                    self.image(io.BytesIO(data), x=x, y=top, w=_CHART_MM)
                bottom = top + heights[place] + 1
                if captions:
                    self.set_xy(x, bottom)
                    self.set_font(FAMILY, size=8.5)
                    self.multi_cell(_CHART_MM, 4, self.faces.shown(captions[start + place]))
            self.set_y(max(top + max(heights) + 1, self.get_y()) + 2)

    def _frame(self, x: float, top: float) -> None:
        self.rect(x, top, _CHART_MM, _FRAME_MM)
        self.set_xy(x + 4, top + 7)
        self.set_font(FAMILY, size=8.5)
        self.multi_cell(_CHART_MM - 8, 4, NOT_HERE, align="C")


def _widths(rows: Sequence[Sequence[str]]) -> tuple[int, ...]:
    """Column widths in proportion to what the fullest cell holds, so that a short column leaves room for a long one."""
    return tuple(min(max(max(len(cell) for cell in column), 11) + 3, 44) for column in zip(*rows, strict=True))


def _height(data: bytes | None, width_mm: float) -> float:
    """How high an image stands at this width."""
    if data is None:
        return _FRAME_MM
    if data.lstrip().startswith(b"<svg"):
        box = re.search(rb'viewBox="0 0 ([\d.]+) ([\d.]+)"', data)
        assert box is not None
        return width_mm * float(box[2]) / float(box[1])
    from PIL import Image

    with Image.open(io.BytesIO(data), formats=["JPEG"]) as image:
        return width_mm * image.height / image.width


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
