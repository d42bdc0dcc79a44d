"""The order gate: whether the causes that mean a part stand high enough, and their rivals have been checked."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence

from journal.analysis.causes.tables import CauseRow, Tables
from journal.analysis.findings import Gate
from journal.analysis.words import percent
from journal.facts import Engine, Injection
from journal.record.job import Job

_ELECTRIC = frozenset({"wiring", "connector", "injector resistance", "driver signal", "injector circuit test"})
"""Checks of an injector's circuit; a mechanical injector has none."""


def fits(check: str, engine: Engine) -> bool:
    """Whether a check makes sense on this engine at all."""
    if check in ("injection pressure", "pressure as desired"):
        return engine.injection in (Injection.HYDRAULIC, Injection.COMMON_RAIL)
    if check == "injector return flow":
        return engine.injection is Injection.COMMON_RAIL
    if check == "under load":
        return engine.cylinders >= 4
    return not (engine.injection is Injection.MECHANICAL and check in _ELECTRIC)


def missing_checks(row: CauseRow, done: Collection[str], engine: Engine) -> tuple[tuple[str, ...], ...]:
    """The sets of checks of which one must still be made before the cause's part is ordered.

    A set about an injector's circuit asks for nothing where injectors are mechanical.
    """
    wanted = []
    for group in row.needs:
        electrical = any(check in _ELECTRIC for check in group)
        if not set(group) & set(done) and not (electrical and engine.injection is Injection.MECHANICAL):
            wanted.append(group)
    return tuple(wanted)


def part_chance(tables: Tables, part: str, chances: Mapping[str, float]) -> float:
    """How likely it is that this part is what is needed: all causes that mean it together."""
    return sum(chance for key, chance in chances.items() if part and tables.causes[key].part == part)


def gate(
    tables: Tables,
    job: Job,
    cause: str,
    cylinder: int | None,
    chances: Mapping[str, float],
    done: Collection[str],
    came_from: int | None = None,
) -> Gate | None:
    """Whether the cause's part may be ordered; none when it means no part.

    `chances` are the causes of this cylinder (or of the engine) by key, `done` the checks made there, `came_from` the
    cylinder where its injector missed before: an order for that one is one for this.
    """
    row = tables.causes[cause]
    if not row.part:
        return None
    missing = [_in_words(group, cylinder) for group in missing_checks(row, done, job.engine)]
    chance, threshold = part_chance(tables, row.part, chances), tables.gate["threshold"]
    if chance < threshold:
        # Rounded down, so that what falls short never reads as if it did not.
        stands = percent(math.floor(100 * chance) / 100)
        missing.append(f"the part stands at {stands}, and {percent(threshold)} is wanted before ordering")
    places = {cylinder} if cylinder is None or came_from is None else {cylinder, came_from}
    reasons = [o.body.reason for o in job.overrides if o.body.cause == cause and o.body.cylinder in places]
    return Gate(not missing, row.part, tuple(missing), reasons[-1] if reasons else "", chance)


def _in_words(group: Sequence[str], cylinder: int | None) -> str:
    where = f" (cylinder {cylinder})" if cylinder is not None else ""
    return " or ".join(group) + where
