"""What the demo jobs' scripts say must come of each line, and how a made entry is held against it."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

DEMO = Path(__file__).resolve().parents[2] / "demo"
JOBS = ["orchard", "forestry"]


def told(job: str, name: str) -> dict[str, Any]:
    return tomllib.loads((DEMO / job / name).read_text(encoding="utf-8"))


def expected(job: str) -> list[dict[str, Any]]:
    """Every entry the recordings must become, in order."""
    return [entry for part in told(job, "script.toml")["part"] for line in part["line"] for entry in line["entries"]]


def fits(wanted: dict[str, Any], made: dict[str, Any]) -> bool:
    return all(made.get(field) == value for field, value in wanted.items())


def matched(wanted: list[dict[str, Any]], made: list[list[dict[str, Any]]]) -> int:
    """How many of the entries wanted were made, in order (longest common subsequence).

    Args:
        wanted: what the script says must come.
        made: for each entry made, what it may mean: one body, or a question's options.
    """
    best = [0] * (len(made) + 1)
    for want in wanted:
        row = [0]
        for index, meanings in enumerate(made):
            hit = any(fits(want, meaning) for meaning in meanings)
            row.append(best[index] + 1 if hit else max(row[index], best[index + 1]))
        best = row
    return best[-1]
