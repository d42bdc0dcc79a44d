"""The sheets of the journal's PDFs, made by fpdf2: headings, paragraphs, tables, pictures, a foot and lines to sign."""

from __future__ import annotations

import io
import logging
import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import cast

from fpdf import FPDF
from fpdf.enums import MethodReturnValue, TableBordersLayout, XPos, YPos

from journal.output.typefaces import FAMILY, Typefaces
from journal.output.writeup_html import NOT_HERE

logging.getLogger("fpdf").setLevel(logging.ERROR)
# The write-up itself says which letters the typefaces lack; the library's own line would come between.

_MARGIN_MM = 16.0
_CHART_MM = 84.0
_FRAME_MM = 24.0
_NUMBER_MM = 28.0
"""Room for the number of a sheet."""
_SMALL = 8.5
"""Letters of the small print, points."""


class Pages(FPDF):
    """Sheets with a running foot, and the few things that the journal's papers are made of."""

    def __init__(self, sheet: str, words: Iterable[str], paper: str, folder: Path) -> None:
        """Blank paper.

        Args:
            sheet: what stands on every sheet.
            words: everything that will be said in words, for the typefaces.
            paper: `A4` or `Letter`.
            folder: an empty folder, there until the PDF is put out.
        """
        super().__init__(format=paper)
        self.faces = Typefaces(self, folder, (sheet, "…", *words))
        self.set_margin(_MARGIN_MM)
        self.set_auto_page_break(True, 18)
        self.set_title(sheet)
        self.sheet = sheet
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

    def side_by_side(self, left: str, right: str, size: float) -> None:
        """Two short paragraphs beside each other."""
        self.set_font(FAMILY, size=size)
        top, wide = self.get_y(), self.epw / 2
        self.multi_cell(wide - 3, size * 0.46, self.faces.shown(left), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        bottom = self.get_y()
        self.set_xy(self.l_margin + wide, top)
        self.multi_cell(wide, size * 0.46, self.faces.shown(right), align="L", new_x=XPos.LMARGIN, new_y=YPos.NEXT)
        self.set_y(max(bottom, self.get_y()) + 0.7)

    def boxes(self, names: Sequence[str], size: float) -> None:
        """A row of empty boxes to write in, each with its name above."""
        if self.will_page_break(size * 1.3):
            self.add_page()
        self.ln(0.6)
        top, wide = self.get_y(), self.epw / len(names)
        self.set_font(FAMILY, size=min(size, 7.5))
        for place, name in enumerate(names):
            x = self.l_margin + place * wide
            self.rect(x, top, wide, size)
            self.text(x + 0.8, top + 2.8, self.faces.shown(name))
        self.set_y(top + size + 1)

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
