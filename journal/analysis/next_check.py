"""What to check next: the most information about the causes for each minute, in the order the work allows."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from journal.analysis.causes_tables import CheckRow, Tables, Vector
from journal.analysis.causes_words import cylinders_in_words, listed
from journal.analysis.findings import NextCheck
from journal.analysis.inference import Posterior, predict
from journal.facts import Engine, Injection

DISMANTLING = 0.75
"""How much of its minutes each step of dismantling adds again, so that what needs none comes first."""

WORTH_ASKING = 0.01
"""Bits; a check expected to tell less than this about the causes is not proposed."""

Done = Mapping[int | None, frozenset[str]]
"""Checks made, by low cylinder; none for the whole engine."""


@dataclass(frozen=True)
class Choice:
    """A check that could be made, and what it is expected to be worth."""

    check: CheckRow
    """Which."""
    cylinder: int | None
    """On which low cylinder; none for the whole engine."""
    bits: float
    """Expected information about the causes of all low cylinders, in bits."""
    worth: float
    """Bits for each minute, minutes counted more where something is dismantled."""


def entropy(chances: Vector) -> Vector:
    """Shannon entropy over the last axis, in bits (Shannon 1948)."""
    safe = np.where(chances > 0, chances, 1.0)
    found: Vector = -(chances * np.log2(safe)).sum(axis=-1)
    return found


def choices(tables: Tables, posterior: Posterior, engine: Engine, done: Done) -> list[Choice]:
    """Every check that may be made now, the most informative for its time first."""
    before = entropy(posterior.cylinders)
    found = []
    for check in tables.checks.values():
        if not check.do or not fits(check, engine):
            continue
        places: Sequence[int | None] = posterior.model.low if check.of_cylinder else (None,)
        for cylinder in places:
            made = done.get(cylinder, frozenset()) | done.get(None, frozenset())
            if check.key in made or not allowed(check, made):
                continue
            chance, then = predict(posterior, check, cylinder)
            bits = float((before - chance @ entropy(then)).sum())
            minutes = check.minutes * (1 + DISMANTLING * check.invasive)
            found.append(Choice(check, cylinder, bits, bits / minutes))
    return sorted(found, key=lambda c: (-c.worth, c.check.minutes, c.check.key, c.cylinder or 0))


def fits(check: CheckRow, engine: Engine) -> bool:
    """Whether a check makes sense on this engine at all."""
    electric = {"wiring", "connector", "injector resistance", "driver signal"}
    mechanical = engine.injection is Injection.MECHANICAL
    adjustable = engine.injection in (Injection.HYDRAULIC, Injection.COMMON_RAIL)
    if check.key == "injection pressure":
        return adjustable
    if check.key == "under load" and engine.cylinders < 4:
        return False
    return not (mechanical and check.key in electric)


def allowed(check: CheckRow, made: frozenset[str]) -> bool:
    """Whether what must come first has been done."""
    return all(set(group) & made for group in check.first)


def first_needed(tables: Tables, check: CheckRow, made: frozenset[str]) -> CheckRow:
    """The check itself, or what must still come before it."""
    for group in check.first:
        if not set(group) & made:
            return first_needed(tables, tables.checks[group[0]], made)
    return check


def in_words(tables: Tables, engine: Engine, choice: Choice, why: Callable[[Choice], str]) -> NextCheck:
    """A choice as it is shown."""
    check, cylinder = choice.check, choice.cylinder
    others = listed([str(c) for c in engine.numbers if c != cylinder][: engine.cylinders // 2])
    where = f", {cylinders_in_words([cylinder])}" if cylinder is not None else ""
    return NextCheck(
        subject="cut-out run" if check.kind == "run" else check.key,
        cylinder=cylinder,
        name=check.do + where,
        why=why(choice),
        minutes=check.minutes,
        cautions=tuple(tables.cautions[key] for key in check.cautions),
        say=check.say.format(cylinder=cylinder, others=others),
    )
