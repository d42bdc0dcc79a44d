"""The README's charts are what the demo jobs' scripts give today."""

from __future__ import annotations

import re
import runpy
from pathlib import Path

import pytest

from tests.ground.script import DEMO

_FIGURE = re.compile(r"\d+(?:\.\d+)?")
ROUNDED = 0.11
"""How far a coordinate, rounded to a tenth, may be from the kept one: processors add up in other orders."""


def test_every_chart_is_as_it_would_be_made_today() -> None:
    made = runpy.run_path(str(DEMO / "make_pictures.py"))["pictures"]()
    assert {path.name for path in (DEMO / "pictures").glob("*.svg")} == set(made)
    for name, svg in made.items():
        kept = (DEMO / "pictures" / name).read_text(encoding="utf-8")
        assert _FIGURE.sub("#", kept) == _FIGURE.sub("#", svg + "\n"), "run python demo/make_pictures.py"
        figures = [[float(figure) for figure in _FIGURE.findall(drawn)] for drawn in (kept, svg)]
        assert figures[0] == pytest.approx(figures[1], abs=ROUNDED, rel=0), "run python demo/make_pictures.py"


def test_every_picture_in_the_readme_is_there_small_and_says_what_it_shows(root: Path) -> None:
    shown = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", (root / "README.md").read_text(encoding="utf-8"))
    assert {Path(place).name for _, place in shown} == {path.name for path in (DEMO / "pictures").iterdir()}
    for words, place in shown:
        assert len(words) > 15
        assert (root / place).stat().st_size < 100_000
