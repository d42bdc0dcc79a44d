"""What to check next: the most information about the causes for each minute, in the order the work allows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from journal.analysis.causes_tables import CheckRow, Tables, Vector
from journal.analysis.causes_words import cylinders_in_words, listed, percent
from journal.analysis.findings import NextCheck
from journal.analysis.gate import fits, missing_checks, part_chance
from journal.analysis.inference import Posterior, predict, predict_worlds
from journal.facts import Engine

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
    """Expected information about the causes of all low cylinders, or of the engine where none is low, in bits."""
    worth: float
    """Bits for each minute, minutes counted more where something is dismantled."""


def entropy(chances: Vector) -> Vector:
    """Shannon entropy over the last axis, in bits (Shannon 1948)."""
    safe = np.where(chances > 0, chances, 1.0)
    found: Vector = -(chances * np.log2(safe)).sum(axis=-1)
    return found


def choices(tables: Tables, posterior: Posterior, engine: Engine, done: Done) -> list[Choice]:
    """Every check that may be made now, the most informative for its time first."""
    low = posterior.model.low
    before = entropy(posterior.cylinders) if low else entropy(posterior.worlds)
    found = []
    for check in tables.checks.values():
        if not check.do or not fits(check.key, engine):
            continue
        places: Sequence[int | None] = low if check.of_cylinder else (None,)
        for cylinder in places:
            made = done.get(cylinder, frozenset()) | done.get(None, frozenset())
            if check.key in made or not allowed(check, made):
                continue
            chance, then = predict(posterior, check, cylinder) if low else predict_worlds(posterior, check)
            bits = float((before - chance @ entropy(then)).sum())
            minutes = check.minutes * (1 + DISMANTLING * check.invasive)
            found.append(Choice(check, cylinder, bits, bits / minutes))
    return sorted(found, key=lambda c: (-c.worth, c.check.minutes, c.check.key, c.cylinder or 0))


def first_needed(tables: Tables, check: CheckRow, made: frozenset[str]) -> CheckRow:
    """The check itself, or what must still come before it."""
    for group in check.first:
        if not set(group) & made:
            return first_needed(tables, tables.checks[group[0]], made)
    return check


@dataclass(frozen=True)
class Proposal:
    """What to check next, or why nothing."""

    next_check: NextCheck | None
    """The check to make; none when further checks would not change the decision."""
    runners_up: tuple[NextCheck, ...]
    """The two next best."""
    why_none: str
    """Why nothing more need be checked; empty when there is a check to make."""


def propose(tables: Tables, posterior: Posterior, engine: Engine, done: Done) -> Proposal:
    """The check to make next, and the two after it.

    While some low cylinder's cause is open (or, where none is low, the engine's), the check worth most for its
    minutes. Once each stands above the gate's threshold, only what its gate still wants.
    """
    open_question, wanted = _open(tables, posterior, engine, done)
    ranked = choices(tables, posterior, engine, done)
    if open_question:
        chosen = [c for c in ranked if c.bits >= WORTH_ASKING]
        why = "No check on the list is expected to tell more: think of causes that are not on it."
    else:
        chosen = [c for c in ranked if (c.check.key, c.cylinder) in wanted]
        why = "The cause stands above the threshold and its rivals are checked: further checks would not change it."
    shown = [_in_words(tables, posterior, engine, choice) for choice in chosen[:3]]
    return Proposal(shown[0] if shown else None, tuple(shown[1:]), "" if shown else why)


def _open(
    tables: Tables, posterior: Posterior, engine: Engine, done: Done
) -> tuple[bool, frozenset[tuple[str, int | None]]]:
    """Whether some cause is still open, and otherwise the checks that gates still want, with their places."""
    states, threshold = posterior.model.states, tables.gate["threshold"]
    low = posterior.model.low
    places: list[tuple[int | None, dict[str, float]]] = [
        (c, dict(zip(states, map(float, posterior.cylinders[n]), strict=True))) for n, c in enumerate(low)
    ]
    wanted: set[tuple[str, int | None]] = set()
    for cylinder, chances in places or [(None, posterior.engine())]:
        top = tables.causes[max(chances, key=lambda key: chances[key])]
        if max(chances[top.key], part_chance(tables, top.part, chances)) < threshold:
            return True, frozenset()
        place = cylinder if top.of_cylinder else None
        for group in missing_checks(top, done[place], engine):
            for name in group:
                row = _first_needed(tables, tables.checks[name], done[place])
                wanted.add((row.key, cylinder if row.of_cylinder else None))
    return False, frozenset(wanted)


def allowed(check: CheckRow, made: frozenset[str]) -> bool:
    """Whether what must come first has been done."""
    return all(set(group) & made for group in check.first)


def _first_needed(tables: Tables, check: CheckRow, made: frozenset[str]) -> CheckRow:
    """The check itself, or what must still come before it."""
    for group in check.first:
        if not set(group) & made:
            return _first_needed(tables, tables.checks[group[0]], made)
    return check


def _in_words(tables: Tables, posterior: Posterior, engine: Engine, choice: Choice) -> NextCheck:
    """A choice as it is shown."""
    check, cylinder = choice.check, choice.cylinder
    others = listed([str(c) for c in engine.numbers if c != cylinder][: engine.cylinders // 2])
    where = f", {cylinders_in_words([cylinder])}" if cylinder is not None else ""
    return NextCheck(
        subject="cut-out run" if check.kind == "run" else check.key,
        cylinder=cylinder,
        name=check.do + where,
        why=_why(tables, posterior, choice),
        minutes=check.minutes,
        cautions=tuple(tables.cautions[key] for key in check.cautions),
        say=check.say.format(cylinder=cylinder, others=others),
    )


def _why(tables: Tables, posterior: Posterior, choice: Choice) -> str:
    """What a check would tell, and the causes its outcomes would raise."""
    sentence = f"It tells {choice.check.tells}."
    low = posterior.model.low
    if not low:
        return sentence
    chance, then = predict(posterior, choice.check, choice.cylinder)
    gains = np.abs(then - posterior.cylinders[None]).sum(axis=2)
    n = low.index(choice.cylinder) if choice.cylinder is not None else int((chance @ gains).argmax())
    now = posterior.cylinders[n]
    parts = []
    for o, outcome in enumerate(choice.check.outcomes):
        state = int((then[o, n] - now).argmax())
        if chance[o] >= 0.02 and then[o, n, state] - now[state] >= 0.03:
            name = tables.causes[posterior.model.states[state]].name
            parts.append(f"{outcome}: {name} {percent(float(now[state]))} to {percent(float(then[o, n, state]))}")
    return f"{sentence} If {'; if '.join(parts)}." if parts else sentence
