"""A job and its findings in, the engine as tiles out: each cylinder where it sits, with how it stands."""

from __future__ import annotations

from dataclasses import dataclass

from journal.analysis.findings import Contribution
from webui.layout import rows
from webui.shop import State

LONG_BANK = 6
"""So many cylinders in a row leave room for their words on a screen of middling width."""


@dataclass(frozen=True)
class Tile:
    """One cylinder."""

    number: int
    """Which."""
    share: Contribution | None
    """Its share and standing in the latest run in which it was judged; none where it was in none."""
    run: int
    """Number of that run; 0 for none."""


@dataclass(frozen=True)
class Tiles:
    """The engine, seen from above with its front to the left."""

    banks: tuple[tuple[Tile, ...], ...]
    """Its rows of cylinders."""
    runs: tuple[int, ...]
    """The runs that the tiles are from, in order."""
    long: bool
    """Whether a row is too long for a screen of middling width."""


def tiles(state: State) -> Tiles:
    """Every cylinder with its latest standing."""
    latest: dict[int, tuple[Contribution, int]] = {}
    for finding in state.findings.runs:
        latest.update({share.cylinder: (share, finding.number) for share in finding.contributions})
    banks = tuple(
        tuple(Tile(number, *latest.get(number, (None, 0))) for number in row) for row in rows(state.job.engine)
    )
    runs = sorted({number for _, number in latest.values()})
    return Tiles(banks, tuple(runs), any(len(bank) > LONG_BANK for bank in banks))
