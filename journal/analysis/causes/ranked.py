"""A posterior in; ranked causes with why, what would change them and their gates out."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from journal.analysis.between.swaps import came_from
from journal.analysis.causes.evidence import Gathered
from journal.analysis.causes.inference import ALIKE, Posterior, infer, predict
from journal.analysis.causes.model import Shared
from journal.analysis.causes.runs import Item
from journal.analysis.causes.tables import Tables
from journal.analysis.causes.verdict import verdict
from journal.analysis.findings import Cause, CylinderFinding, Evidence
from journal.analysis.order.gate import fits, gate
from journal.analysis.order.next_check import Done, done_for
from journal.analysis.words import SAYS_LITTLE, STRONG, capital, cylinders_in_words, listed, weight_in_words
from journal.record.job import Job


@dataclass(frozen=True)
class Belief:
    """What is believed, and what would be believed without each result."""

    tables: Tables
    """The tables used."""
    job: Job
    """The job it is about."""
    found: Gathered
    """The results."""
    posterior: Posterior
    """With all results."""
    without: Mapping[Item, Posterior]
    """With all results but one."""
    done: Done
    """Checks made, by place."""


def believe(tables: Tables, job: Job, found: Gathered, posterior: Posterior, done: Done) -> Belief:
    """The posterior with its leave-one-out companions, from which each result's weight is read."""
    items = found.items
    without = {
        item: infer(posterior.model, [other.observation for other in items if other is not item]) for item in items
    }
    return Belief(tables, job, found, posterior, without, done)


def rank_cylinder(belief: Belief, cylinder: int, *, past: bool = False) -> CylinderFinding:
    """One low cylinder's causes, most likely first, with its verdict (as it was, when `past`) and contradictions."""
    book, posterior, found = belief.tables, belief.posterior, belief.found
    n = posterior.model.low.index(cylinder)
    origin = came_from(found.swaps, cylinder)
    chances = {key: float(p) for key, p in zip(posterior.model.states, posterior.cylinders[n], strict=True)}
    turning = _turning_points(belief, cylinder)
    engine = posterior.engine
    causes = []
    for key, chance in sorted(chances.items(), key=lambda kc: -round(kc[1], ALIKE)):
        row, state = book.causes[key], posterior.model.states.index(key)
        own = row.of_cylinder
        causes.append(
            Cause(
                key=key,
                name=row.name,
                cylinder=cylinder if own else None,
                probability=chance,
                meaning=row.meaning,
                evidence=_evidence(belief, cylinder, lambda p, s=state: float(p.cylinders[n, s]), key),  # type: ignore[misc]
                would_change=turning.get(key, ""),
                gate=gate(
                    book, belief.job, key, cylinder, chances, done_for(posterior, belief.done, key, cylinder), origin
                )
                if own
                else gate(book, belief.job, key, None, engine, belief.done[None]),
                cautions=tuple(book.cautions[c] for c in row.cautions),
            )
        )
    return CylinderFinding(
        cylinder=cylinder,
        standing=found.standing[cylinder],
        causes=tuple(causes),
        verdict=verdict(book, cylinder, found.standing[cylinder], causes, past=past, origin=origin),
        contradictions=(
            *found.contradictions.get(cylinder, ()),
            *found.contradictions.get(None, ()),
            *_at_odds(causes[0]),
        ),
        past=past,
        came_from=origin,
    )


def _at_odds(top: Cause) -> tuple[str, ...]:
    """Results that speak strongly for the first cause and against it at once, named rather than averaged away."""
    favour = [e.what for e in top.evidence if e.factor >= STRONG]
    against = [e.what for e in top.evidence if e.factor <= 1 / STRONG]
    if not favour or not against:
        return ()
    return (f"{listed(favour)} for {top.name}, but {listed(against)} against it; make sure of both",)


def rank_engine(belief: Belief) -> tuple[Cause, ...]:
    """Engine-wide causes and faults that low cylinders share, most likely first."""
    book, posterior = belief.tables, belief.posterior
    chances = posterior.engine
    causes = []
    for key, chance in chances.items():
        row = book.causes[key]
        causes.append(
            Cause(
                key=key,
                name=row.name,
                cylinder=None,
                probability=chance,
                meaning=row.meaning,
                evidence=_evidence(belief, None, lambda p, k=key: p.engine[k]),  # type: ignore[misc]
                gate=gate(book, belief.job, key, None, chances, belief.done[None]),
                cautions=tuple(book.cautions[c] for c in row.cautions),
            )
        )
    for shared, chance in posterior.shared.items():
        row = book.causes[shared.cause]
        causes.append(
            Cause(
                key=row.key,
                name=shared_name(belief.found, shared),
                cylinder=None,
                probability=chance,
                meaning=row.meaning,
                evidence=_evidence(belief, None, lambda p, s=shared: p.shared[s]),  # type: ignore[misc]
                cautions=tuple(book.cautions[c] for c in row.cautions),
            )
        )
    return tuple(sorted((c for c in causes if c.probability > 0), key=lambda c: -round(c.probability, ALIKE)))


def shared_name(found: Gathered, shared: Shared) -> str:
    """What low cylinders have in common, e.g. `Cylinders 3 and 5 in common: their driver …`."""
    together = [cylinder for cylinder in shared.cylinders if cylinder in found.low]
    return capital(f"{cylinders_in_words(together)} in common: {shared.words}")


def _odds(chance: float) -> float:
    return max(chance, 1e-12) / max(1 - chance, 1e-12)


def _evidence(
    belief: Belief, cylinder: int | None, chance: Callable[[Posterior], float], key: str = ""
) -> tuple[Evidence, ...]:
    """How many times each result multiplied the odds of a cause against its rivals, strongest first.

    Where a result is to be expected of the cause (`key`, one of a cylinder's) and yet speaks against it, or the other
    way about, the rival that makes it so is named.
    """
    now = _odds(chance(belief.posterior))
    shown = []
    for item, before in belief.without.items():
        factor = now / _odds(chance(before))
        if max(factor, 1 / factor) < SAYS_LITTLE:
            continue
        where = item.observation.cylinder
        words = f"{item.words} on cylinder {where}" if where not in (None, cylinder) else item.words
        why = _both_ways(belief, cylinder, key, item, factor) if cylinder is not None else ""
        shown.append(Evidence(f"{words}: {weight_in_words(factor)}{why}", factor, item.entries, words))
    return tuple(sorted(shown, key=lambda e: -max(e.factor, 1 / e.factor)))


def _both_ways(belief: Belief, cylinder: int, key: str, item: Item, factor: float) -> str:
    """Why a result that is likelier under a cause than without it makes it less likely, or the reverse; else empty."""
    posterior, seen = belief.posterior, item.observation
    check = belief.tables.checks[seen.check]
    if seen.cylinder not in (None, cylinder):
        return ""
    outcomes = list(seen.outcomes)
    direct = float(check.given(key)[outcomes].sum() / check.given("otherwise")[outcomes].sum())
    but_for, but_against = direct >= SAYS_LITTLE and factor < 1, direct <= 1 / SAYS_LITTLE and factor > 1
    if not but_for and not but_against:
        return ""
    n = posterior.model.low.index(cylinder)
    moved = posterior.cylinders[n] - belief.without[item].cylinders[n]
    rival = belief.tables.causes[posterior.model.states[int(moved.argmax() if but_for else moved.argmin())]].name
    says = "for" if but_for else "against"
    return f", though it speaks {says} it: it speaks more {says} {rival}"


def _turning_points(belief: Belief, cylinder: int) -> dict[str, str]:
    """For each cause, the single result not yet had that would change the ranking.

    For the first cause, what would put another above it; for any other, what would put it first. Of several, the
    likeliest is named.
    """
    book, posterior = belief.tables, belief.posterior
    n = posterior.model.low.index(cylinder)
    states = posterior.model.states
    leader = states[int(posterior.cylinders[n].argmax())]
    best: dict[str, tuple[float, str]] = {}
    for check in book.checks.values():
        if not check.do or not fits(check.key, belief.job.engine) or check.key in belief.done[cylinder]:
            continue
        chance, then = predict(posterior, check, cylinder if check.of_cylinder else None)
        for o, outcome in enumerate(check.outcomes):
            new = states[int(then[o, n].argmax())]
            if new == leader:
                continue
            said = f"{check.key} {outcome}"
            away, here = f"{said} would put {book.causes[new].name} first", f"{said} would put it first"
            for key, words in ((leader, away), (new, here)):
                if float(chance[o]) > best.get(key, (0.0, ""))[0]:
                    best[key] = (float(chance[o]), words)
    return {key: f"{capital(words)}." for key, (_, words) in best.items()}
