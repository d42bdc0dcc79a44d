"""The words of a PDF in, typefaces that have their letters put into it out."""

from __future__ import annotations

import logging
import unicodedata
from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fpdf import FPDF

FAMILY = "words"
"""What the typeface of every word is called in the PDF."""

_MAIN = {"": "figo", "B": "figbo"}
"""FiraGO, regular and bold: Latin, Greek, Cyrillic, Armenian, Georgian, Hebrew, Arabic, Devanagari, Thai."""

_FURTHER = ("notos", "symbol1", "symbol2", "math")
"""Noto faces for what FiraGO lacks; each is put in only where a letter asks for it."""

UNKNOWN = "\N{WHITE SQUARE}"
"""What stands for a letter that none of the typefaces has."""

# It tells of tables of a typeface that printing does without; that is nothing for the person at the terminal.
logging.getLogger("fontTools").setLevel(logging.ERROR)


class Typefaces:
    """The typefaces of one PDF, from the package pymupdf-fonts (SIL Open Font License 1.1)."""

    def __init__(self, pdf: FPDF, folder: Path, words: Iterable[str]) -> None:
        """Put in what these words need.

        Args:
            pdf: where they are put in.
            folder: an empty folder for their files, there until the PDF is put out.
            words: every text that will be shown.
        """
        letters = {letter for text in words for letter in _clean(text)} - {"\n"}
        for style, name in _MAIN.items():
            self._put_in(pdf, folder, FAMILY, style, name)
        missing = letters - _letters_of(pdf, FAMILY)
        if missing:
            missing.add(UNKNOWN)
        further = []
        for name in _FURTHER:
            if missing:
                self._put_in(pdf, folder, name, "", name)
                if found := missing & _letters_of(pdf, name):
                    missing -= found
                    further.append(name)
        pdf.set_fallback_fonts(further, exact_match=False)
        if any(unicodedata.bidirectional(letter) in ("R", "AL") or letter in _JOINED for letter in letters):
            pdf.set_text_shaping(True)
        self.missing = "".join(sorted(missing))
        """Letters that none of them has."""

    @staticmethod
    def _put_in(pdf: FPDF, folder: Path, family: str, style: str, name: str) -> None:
        from pymupdf_fonts import myfont

        file = folder / f"{name}.ttf"
        file.write_bytes(myfont(name))
        pdf.add_font(family, style, str(file))

    def shown(self, text: str) -> str:
        """The text as it can be shown: what the typefaces lack as `UNKNOWN`, what is no letter at all as a space.

        A number and its per cent stay on one line.
        """
        shown = "".join(UNKNOWN if letter in self.missing else letter for letter in _clean(text))
        return shown.replace(" %", "\N{NO-BREAK SPACE}%")


_JOINED = frozenset(map(chr, range(0x0900, 0x0980)))
"""Devanagari, whose letters change shape beside each other (The Unicode Standard, block 0900-097F)."""


def _letters_of(pdf: FPDF, family: str) -> set[str]:
    from fpdf.fonts import TTFFont

    font = pdf.fonts[family]
    return {chr(code) for code in font.cmap} if isinstance(font, TTFFont) else set()


def _clean(text: str) -> str:
    """The text composed (Unicode normalization form C), lines kept, other control signs as spaces."""
    composed = unicodedata.normalize("NFC", text)
    return "".join(" " if unicodedata.category(c) in ("Cc", "Cs") and c != "\n" else c for c in composed)
