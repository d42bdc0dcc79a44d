"""An order sheet in, a PDF of one sheet out: for a parts desk that no link can reach."""

from __future__ import annotations

import io
import tempfile
from collections.abc import Iterator
from pathlib import Path

from PIL import Image

from journal.output.order_sheet import ASKED, OrderSheet, gate_line
from journal.output.pdf_pages import Pages
from journal.output.typefaces import FAMILY
from journal.output.writeup_html import Photos

MOST_PHOTOS = 4
"""Photos on the sheet, side by side."""

_PHOTO_MM = 40.0
_TRIES = ((10.0, True), (9.0, True), (8.0, True), (8.0, False), (7.0, False), (6.0, False))
"""Letters, points, and whether photos have room: the first that fits on one sheet is taken."""


def as_order_pdf(sheet: OrderSheet, photos: Photos, *, paper: str = "A4") -> bytes:
    """The sheet as a PDF of one page on A4 or Letter, with empty cells for the answers.

    What does not fit in the smallest letters is left out from the end, and it is said how many parts were.
    """
    pictures = [(data, words) for picture, words in sheet.photos if (data := photos(picture.photo.body.sha256))]
    parts = len(sheet.parts)
    for size, shown in _TRIES:
        if (made := _made(sheet, pictures[:MOST_PHOTOS] if shown else [], size, parts, paper)) is not None:
            return made
    while parts > 1:
        parts = parts * 3 // 4
        if (made := _made(sheet, [], _TRIES[-1][0], parts, paper)) is not None:
            return made
    made = _made(sheet, [], _TRIES[-1][0], 0, paper)
    assert made is not None  # the job's own fields are bounded
    return made


def _made(sheet: OrderSheet, pictures: list[tuple[bytes, str]], size: float, parts: int, paper: str) -> bytes | None:
    """The sheet in letters of that size with so many parts; none when it takes more than one page."""
    with tempfile.TemporaryDirectory() as folder:
        pdf = Pages(f"Parts wanted: {sheet.title}", _words(sheet), paper, Path(folder))
        pdf.add_page()
        pdf.heading("Parts wanted", 15)
        half = (len(sheet.facts) + 1) // 2
        for left, right in zip(sheet.facts[:half], [*sheet.facts[half:], ("", "")], strict=False):
            pdf.side_by_side(": ".join(left), ": ".join(right) if any(right) else "", size)
        pdf.heading("Verdict", size + 1)
        pdf.said(sheet.verdict, size)
        for wanted in sheet.parts[:parts]:
            pdf.heading(f"{wanted.title} ({wanted.state})", size + 1)
            for name, value in wanted.facts:
                pdf.said(f"{name}: {value}", size)
            if wanted.gate is not None:
                pdf.said(gate_line(wanted.gate), size)
            if wanted.known:
                pdf.said(f"Known so far: {', '.join(wanted.known)}", size)
            pdf.boxes(ASKED, size)
        if parts < len(sheet.parts):
            pdf.said(f"{len(sheet.parts) - parts} more parts have no room here: they stand in the message.", size)
        if pictures:
            _photos(pdf, pictures)
        pdf.said(f"{sheet.ask} The maker's service manual, local codes and licensed practice come first.", size)
        return bytes(pdf.output()) if pdf.page_no() == 1 else None


def _photos(pdf: Pages, pictures: list[tuple[bytes, str]]) -> None:
    if pdf.will_page_break(_PHOTO_MM + 14):
        pdf.add_page()
    pdf.ln(3)
    top, gap = pdf.get_y(), 3.0
    wide = (pdf.epw - gap * (MOST_PHOTOS - 1)) / MOST_PHOTOS
    bottom = top
    for place, (data, words) in enumerate(pictures):
        x = pdf.l_margin + place * (wide + gap)
        with Image.open(io.BytesIO(data), formats=["JPEG"]) as image:
            scale = min(wide / image.width, _PHOTO_MM / image.height)
            pdf.image(image, x=x, y=top, w=image.width * scale, h=image.height * scale)
        pdf.set_xy(x, top + _PHOTO_MM + 1)
        pdf.set_font(FAMILY, size=7)
        pdf.multi_cell(wide, 3, pdf.faces.shown(words), align="L")
        bottom = max(bottom, pdf.get_y())
    pdf.set_y(bottom + 1)


def _words(sheet: OrderSheet) -> Iterator[str]:
    """Everything the sheet says in words."""
    yield from (sheet.title, sheet.verdict, sheet.ask, *ASKED)
    yield from (text for fact in sheet.facts for text in fact)
    yield from (words for _, words in sheet.photos)
    for wanted in sheet.parts:
        yield from (wanted.title, *wanted.known, *(text for fact in wanted.facts for text in fact))
        if wanted.gate is not None:
            yield gate_line(wanted.gate)
