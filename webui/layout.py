"""An engine's layout to where each cylinder is drawn: inline in a row, a vee in two rows by its banks."""

from __future__ import annotations

from dataclasses import dataclass

from journal.facts import Arrangement, Engine

STEP = 46
"""From one bore's middle to the next, in the drawing's units."""


@dataclass(frozen=True)
class Place:
    """One bore in the drawing."""

    cylinder: int
    """Its number."""
    x: int
    """Its middle."""
    y: int
    """The same, downwards."""
    fires: int
    """Its place in the firing order, from 1; 0 when the order is not given."""


def places(engine: Engine) -> list[Place]:
    """Where each cylinder stands, seen from above with the front of the engine to the left."""
    fires = {cylinder: place for place, cylinder in enumerate(engine.firing_order, 1)}
    banks = rows(engine)
    return [
        Place(cylinder, 34 + STEP * column, 34 + 58 * row, fires.get(cylinder, 0))
        for row, members in enumerate(banks)
        for column, cylinder in enumerate(members)
    ]


def rows(engine: Engine) -> list[list[int]]:
    """The cylinders of each row, front first: one row inline, one for each bank of a vee."""
    if engine.arrangement is not Arrangement.VEE:
        return [list(engine.numbers)]
    if engine.banks:
        placed = {cylinder for bank in engine.banks for cylinder in bank}
        rest = [cylinder for cylinder in engine.numbers if cylinder not in placed]
        return [*(sorted(bank) for bank in engine.banks), *([rest] if rest else [])]
    half = (engine.cylinders + 1) // 2
    return [list(range(1, half + 1)), list(range(half + 1, engine.cylinders + 1))]
