"""What to check next: the most information about the causes for each minute, in the order the work allows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from journal.analysis.causes.inference import Posterior, predict, predict_worlds
from journal.analysis.causes.tables import CheckRow, Tables, Vector
from journal.analysis.findings import NextCheck
from journal.analysis.order.gate import fits, missing_checks, part_chance
from journal.analysis.words import cylinders_in_words, listed, percent
from journal.facts import Engine

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
    """Bits for each minute; minutes count more where something is dismantled, bits where gates need the check."""


def entropy(chances: Vector) -> Vector:
    """Shannon entropy over the last axis, in bits (Shannon 1948)."""
    safe = np.where(chances > 0, chances, 1.0)
    found: Vector = -(chances * np.log2(safe)).sum(axis=-1)
    return found


def choices(tables: Tables, posterior: Posterior, engine: Engine, done: Done) -> list[Choice]:
    """Every check that may be made now, the most informative for its time first."""
    low, weights = posterior.model.low, tables.next_check
    before = entropy(posterior.cylinders) if low else entropy(posterior.worlds)
    needed = _needed(tables, posterior, engine, done)
    found = []
    for check in tables.checks.values():
        if not check.do or not fits(check.key, engine):
            continue
        places: Sequence[int | None] = low if check.of_cylinder else (None,)
        for cylinder in places:
            made = done[cylinder]
            if check.key in made or not allowed(check, made):
                continue
            chance, then = predict(posterior, check, cylinder) if low else predict_worlds(posterior, check)
            bits = float((before - chance @ entropy(then)).sum())
            minutes = (check.minutes + weights["setup_minutes"]) * (1 + weights["dismantling"] * check.invasive)
            worth = bits * (1 + weights["needed_anyway"] * needed.get((check.key, cylinder), 0.0)) / minutes
            found.append(Choice(check, cylinder, bits, worth))
    # Processors add up in other orders: what is worth as much but for that is a tie.
    return sorted(found, key=lambda c: (-round(c.worth, 9), c.check.minutes, c.check.key, c.cylinder or 0))


def _needed(tables: Tables, posterior: Posterior, engine: Engine, done: Done) -> dict[tuple[str, int | None], float]:
    """How likely it is that each check must be made in any case before a part is ordered, by check and place."""
    needed: dict[tuple[str, int | None], float] = {}
    for place, chances in _places(posterior):
        for key, chance in chances.items():
            row = tables.causes[key]
            where = place if row.of_cylinder else None
            for group in missing_checks(row, done_for(posterior, done, key, where), engine):
                for name in group:
                    spot = where if tables.checks[name].of_cylinder else None
                    needed[name, spot] = needed.get((name, spot), 0.0) + chance
    return needed


def _places(posterior: Posterior) -> list[tuple[int | None, dict[str, float]]]:
    """Each low cylinder with the chances of its causes; the engine with its own where none is low."""
    states = posterior.model.states
    places: list[tuple[int | None, dict[str, float]]] = [
        (c, dict(zip(states, map(float, posterior.cylinders[n]), strict=True)))
        for n, c in enumerate(posterior.model.low)
    ]
    return places or [(None, posterior.engine)]


def done_for(posterior: Posterior, done: Done, cause: str, cylinder: int | None) -> frozenset[str]:
    """The checks made that count for a cause on a cylinder.

    Where the cause is likelier than not one fault that several cylinders share, a check on any of them counts.
    """
    made = done[cylinder]
    if cylinder is not None:
        for shared, chance in posterior.shared.items():
            if shared.cause == cause and cylinder in shared.cylinders and chance >= 0.5:
                made = made.union(*(done[c] for c in shared.cylinders if c in posterior.model.low))
    return made


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
    """The check to make next, and the two after it, in words."""
    chosen, why = worth_making(tables, posterior, engine, done)
    shown = [_in_words(tables, posterior, engine, choice) for choice in chosen[:3]]
    return Proposal(shown[0] if shown else None, tuple(shown[1:]), why)


def worth_making(tables: Tables, posterior: Posterior, engine: Engine, done: Done) -> tuple[list[Choice], str]:
    """The checks that would change the decision, best first, or why there is none.

    While some low cylinder's cause is open (or, where none is low, the engine's), the check worth most for its
    minutes. Once each stands above the gate's threshold, only what its gate still wants.
    """
    open_question, wanted = _open(tables, posterior, engine, done)
    ranked = choices(tables, posterior, engine, done)
    if open_question:
        chosen = [c for c in ranked if c.bits >= tables.next_check["worth_asking"]]
        why = "No check on the list is expected to tell more: think of causes that are not on it."
    else:
        chosen = [c for c in ranked if (c.check.key, c.cylinder) in wanted]
        why = "The cause stands above the threshold and its rivals are checked: further checks would not change it."
    return chosen, "" if chosen else why


def _open(
    tables: Tables, posterior: Posterior, engine: Engine, done: Done
) -> tuple[bool, frozenset[tuple[str, int | None]]]:
    """Whether some cause is still open, and otherwise the checks that gates still want, with their places."""
    wanted: set[tuple[str, int | None]] = set()
    for cylinder, chances in _places(posterior):
        top = tables.causes[max(chances, key=lambda key: chances[key])]
        if max(chances[top.key], part_chance(tables, top.part, chances)) < tables.gate["threshold"]:
            return True, frozenset()
        place = cylinder if top.of_cylinder else None
        made = done_for(posterior, done, top.key, place)
        for group in missing_checks(top, made, engine):
            for name in group:
                row = _first_needed(tables, tables.checks[name], made)
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
