"""What a benchmark hands over: rows of a measured figure beside the baseline measured in the same run."""

from __future__ import annotations

import os
import platform
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, datetime


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    room: str
    """Hearing, wording, record, analysis, causes, page or ground."""
    what: str
    """What was measured, e.g. `parse one utterance, median`."""
    measured: float
    """The figure, in `unit`."""
    unit: str
    """Its unit, e.g. `ms`, `%`, `MB`."""
    baseline: float | None = None
    """The figure it is compared with, measured in the same run, in the same unit; none where nothing compares."""
    against: str = ""
    """What the baseline is, e.g. `fuzzy match over all sentences`."""
    note: str = ""
    """How many were measured, or what the figure does not say."""

    @property
    def ratio(self) -> float | None:
        """Baseline over measured; above 1 means the baseline's figure is the larger."""
        return self.baseline / self.measured if self.baseline is not None and self.measured else None


def machine() -> str:
    """Date, Python and machine in one line."""
    when = datetime.now(UTC).strftime("%Y-%m-%d %H:%M UTC")
    return f"{when}, Python {platform.python_version()}, {platform.machine()}, {os.cpu_count()} cores"


def lines(rows: Iterable[Row]) -> list[str]:
    """The rows as a table in plain text, with a heading."""
    cells = [("room", "what", "measured", "baseline", "ratio", "against", "note")]
    for row in rows:
        cells.append(
            (
                row.room,
                row.what,
                f"{row.measured:.4g} {row.unit}",
                "" if row.baseline is None else f"{row.baseline:.4g} {row.unit}",
                "" if row.ratio is None else f"{row.ratio:.3g}",
                row.against,
                row.note,
            )
        )
    widths = [max(len(row[column]) for row in cells) for column in range(len(cells[0]))]
    return ["  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip() for row in cells]
