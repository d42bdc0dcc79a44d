"""A job with its runs judged, in; ranked causes, the next check, the order gate and what is not yet put back, out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from journal.analysis import next_check as nxt
from journal.analysis.causes_evidence import Gathered, Item, gather
from journal.analysis.causes_mended import mended_sentence
from journal.analysis.causes_tables import Tables, tables
from journal.analysis.causes_verdict import headline, verdict
from journal.analysis.causes_words import SAYS_LITTLE, capital, cylinders_in_words, percent, weight_in_words
from journal.analysis.findings import (
    Cause,
    Comparison,
    CylinderFinding,
    Evidence,
    Level,
    NextCheck,
    Remark,
    RunFinding,
    Standing,
)
from journal.analysis.gate import gate, missing_checks, part_chance
from journal.analysis.history import History, updated_rates
from journal.analysis.inference import Model, Posterior, build_model, infer, predict
from journal.facts import Restored
from journal.record.job import Job

Done = Mapping[int | None, frozenset[str]]


@dataclass(frozen=True)
class CauseFindings:
    """The part of `Findings` that is about causes; every field is merged into it under the same name."""

    headline: str = ""
    """The most important thing in one or two sentences; empty when no run judges a cylinder yet."""
    cylinders: tuple[CylinderFinding, ...] = ()
    """Cylinders that do not pull, worst first."""
    engine_causes: tuple[Cause, ...] = ()
    """Causes common to all or to several cylinders, most likely first."""
    next_check: NextCheck | None = None
    """What to check next; none when further checks would not change the decision."""
    runners_up: tuple[NextCheck, ...] = ()
    """The two next best."""
    why_no_check: str = ""
    """Why nothing more need be checked."""
    warnings: tuple[Remark, ...] = ()
    """What the reader needs to know about causes, and about what is not yet put back."""
    outstanding: tuple[Restored, ...] = ()
    """What has not been put back."""
    mended: str = ""
    """After a repair run: whether it is mended, in one sentence."""
    cautions: tuple[str, ...] = ()
    """Cautions for the work at hand."""


def cause_keys() -> tuple[str, ...]:
    """Keys of every cause a job can be closed with, cylinders' first; `unknown` is not among them."""
    return tuple(tables().causes)


def rank(
    job: Job,
    runs: tuple[RunFinding, ...],
    comparisons: tuple[Comparison, ...] = (),
    *,
    history: History | None = None,
    using: Tables | None = None,
) -> CauseFindings:
    """Why the engine does not pull as it should, as far as the job tells.

    Args:
        job: the job as it stands.
        runs: its runs, judged, one for each.
        comparisons: runs against each other; their sentences are shown elsewhere, the standings are used here.
        history: the shop's own closed jobs; none for the packaged base rates alone.
        using: tables other than the packaged ones.
    """
    book = using or tables()
    found = gather(book, job, runs)
    mended = mended_sentence(job, runs)
    warnings = [*_outstanding(job), *_history_remark(history), *_unjudged(found)]
    cautions = [book.cautions["always"]]
    judged = [c for c, standing in found.standing.items() if standing is not Standing.UNCLEAR]
    if not judged or (mended and not found.low):
        why = "" if not judged else "The run after the repair found no cylinder low: nothing more need be checked."
        return CauseFindings(
            headline=mended,
            warnings=tuple(warnings),
            outstanding=job.outstanding,
            mended=mended,
            cautions=tuple(cautions),
            why_no_check=why or "No cylinder has been judged yet: finish a cut-out run first.",
        )
    model = _model(book, job, found, judged, history)
    posterior = infer(model, [item.observation for item in found.items])
    done = _done(found)
    without = {
        item: infer(model, [other.observation for other in found.items if other is not item]) for item in found.items
    }
    cylinders = tuple(
        _cylinder(book, job, found, model, posterior, without, done, cylinder, n)
        for n, cylinder in enumerate(model.low)
    )
    engine = _engine(book, job, found, posterior, without, done)
    ranked = nxt.choices(book, posterior, job.engine, done)
    chosen, rest, why_none = _choose(book, job, posterior, ranked, done)
    shown = [nxt.in_words(book, job.engine, c, lambda c: _why(book, posterior, c)) for c in (*chosen, *rest)]
    cautions += [book.cautions[key] for key in ("pressure", "voltage", "rotating", "eyes", "lockout", "air")]
    return CauseFindings(
        headline=headline(mended, cylinders, engine, tuple(found.standing)),
        cylinders=cylinders,
        engine_causes=engine,
        next_check=shown[0] if chosen else None,
        runners_up=tuple(shown[1:3] if chosen else ()),
        why_no_check=why_none,
        warnings=tuple(warnings),
        outstanding=job.outstanding,
        mended=mended,
        cautions=tuple(dict.fromkeys(cautions)),
    )


def _model(book: Tables, job: Job, found: Gathered, judged: Sequence[int], history: History | None) -> Model:
    rates = book.base_rates[job.engine.injection]
    if history is not None:
        rates = updated_rates(rates, history, job.engine.injection, book.model["history_weight"])
    return build_model(book, job.engine, found.low, judged, rates)


def _done(found: Gathered) -> Done:
    done: dict[int | None, set[str]] = {None: set(), **{c: set() for c in found.low}}
    for item in found.items:
        done[item.observation.cylinder].add(item.observation.check)
    everywhere = frozenset(done[None])
    return {place: frozenset(checks) | everywhere for place, checks in done.items()}


def _odds(chance: float) -> float:
    return chance / max(1 - chance, 1e-12)


def _evidence(
    found: Gathered, without: Mapping[Item, Posterior], posterior: Posterior, n: int, state: int
) -> tuple[Evidence, ...]:
    """How each result moved the odds of one cause of the n-th low cylinder, strongest first."""
    now = _odds(float(posterior.cylinders[n, state]))
    shown = []
    for item in found.items:
        before = _odds(float(without[item].cylinders[n, state]))
        factor = now / before if before > 0 else 1.0
        if max(factor, 1 / max(factor, 1e-12)) >= SAYS_LITTLE:
            where = item.observation.cylinder
            elsewhere = where is not None and where != posterior.model.low[n]
            words = f"{item.words} on cylinder {where}" if elsewhere else item.words
            shown.append(Evidence(f"{words}: {weight_in_words(factor)}", factor, item.entries))
    return tuple(sorted(shown, key=lambda e: -max(e.factor, 1 / e.factor)))


def _cylinder(
    book: Tables,
    job: Job,
    found: Gathered,
    model: Model,
    posterior: Posterior,
    without: Mapping[Item, Posterior],
    done: Done,
    cylinder: int,
    n: int,
) -> CylinderFinding:
    chances = {key: float(p) for key, p in zip(model.states, posterior.cylinders[n], strict=True)}
    turning = _turning_points(book, posterior, job, done, cylinder, n)
    causes = []
    for key, chance in sorted(chances.items(), key=lambda kc: -kc[1]):
        row = book.causes[key]
        causes.append(
            Cause(
                key=key,
                name=row.name,
                cylinder=cylinder if row.of_cylinder else None,
                probability=chance,
                meaning=row.meaning,
                evidence=_evidence(found, without, posterior, n, model.states.index(key)),
                would_change=turning.get(key, ""),
                gate=gate(book, key, cylinder, chances, done[cylinder], job.overrides) if row.of_cylinder else None,
                cautions=tuple(book.cautions[c] for c in row.cautions),
            )
        )
    return CylinderFinding(
        cylinder=cylinder,
        standing=found.standing[cylinder],
        causes=tuple(causes),
        verdict=verdict(book, cylinder, found.standing[cylinder], causes),
        contradictions=(*found.contradictions.get(cylinder, ()), *found.contradictions.get(None, ())),
    )


def _turning_points(book: Tables, posterior: Posterior, job: Job, done: Done, cylinder: int, n: int) -> dict[str, str]:
    """For each cause, the single result not yet had that would change the ranking: for the first, what would put
    another above it; for the others, what would put them first. The likeliest such result is named."""
    states = posterior.model.states
    leader = states[int(posterior.cylinders[n].argmax())]
    best: dict[str, tuple[float, str]] = {}
    for check in book.checks.values():
        place = cylinder if check.of_cylinder else None
        if not check.do or not nxt.fits(check, job.engine) or check.key in done[cylinder]:
            continue
        chance, then = predict(posterior, check, place)
        for o, outcome in enumerate(check.outcomes):
            new = states[int(then[o, n].argmax())]
            if new == leader:
                continue
            said = f"{check.key} {outcome}"
            away, here = f"{said} would put {book.causes[new].name} first", f"{said} would put it first"
            for key, words in ((leader, away), (new, here)):
                if float(chance[o]) > best.get(key, (0.0, ""))[0]:
                    best[key] = (float(chance[o]), words)
    return {key: capital(words) + "." for key, (_, words) in best.items()}


def _engine(
    book: Tables,
    job: Job,
    found: Gathered,
    posterior: Posterior,
    without: Mapping[Item, Posterior],
    done: Done,
) -> tuple[Cause, ...]:
    """Engine-wide causes and faults that cylinders share, most likely first."""
    causes = []
    chances = posterior.engine()
    before = {item: other.engine() for item, other in without.items()}
    for key, chance in chances.items():
        if chance <= 0:
            continue
        row = book.causes[key]
        evidence = [
            Evidence(f"{item.words}: {weight_in_words(factor)}", factor, item.entries)
            for item in found.items
            for factor in [_odds(chance) / _odds(before[item][key])]
            if max(factor, 1 / factor) >= SAYS_LITTLE
        ]
        causes.append(
            Cause(
                key=key,
                name=row.name,
                cylinder=None,
                probability=chance,
                meaning=row.meaning,
                evidence=tuple(sorted(evidence, key=lambda e: -max(e.factor, 1 / e.factor))),
                gate=gate(book, key, None, chances, done[None], job.overrides),
                cautions=tuple(book.cautions[c] for c in row.cautions),
            )
        )
    for shared, chance in posterior.shared().items():
        row = book.causes[shared.cause]
        together = [c for c in shared.cylinders if c in found.low]
        name = f"{cylinders_in_words(together)} in common: {shared.words}"
        causes.append(
            Cause(
                key=row.key,
                name=capital(name),
                cylinder=None,
                probability=chance,
                meaning=row.meaning,
                cautions=tuple(book.cautions[c] for c in row.cautions),
            )
        )
    return tuple(sorted(causes, key=lambda c: -c.probability))


def _choose(
    book: Tables, job: Job, posterior: Posterior, ranked: Sequence[nxt.Choice], done: Done
) -> tuple[list[nxt.Choice], list[nxt.Choice], str]:
    """The check to make next, the two after it, and why there is none when there is none.

    While some cylinder's cause is open, the check worth most for its minutes. Once every low cylinder's part stands
    above the gate's threshold, only what its gate still wants.
    """
    wanted: set[tuple[str, int | None]] = set()
    open_question = not posterior.model.low
    for n, cylinder in enumerate(posterior.model.low):
        chances = {k: float(p) for k, p in zip(posterior.model.states, posterior.cylinders[n], strict=True)}
        top = book.causes[max(chances, key=lambda key: chances[key])]
        settled = chances[top.key] >= book.gate["threshold"] or (
            part_chance(book, top.part, chances) >= book.gate["threshold"]
        )
        if not settled:
            open_question = True
            continue
        place = cylinder if top.of_cylinder else None
        for group in missing_checks(top, done[place]):
            for name in group:
                row = nxt.first_needed(book, book.checks[name], done[place])
                wanted.add((row.key, cylinder if row.of_cylinder else None))
    candidates = [c for c in ranked if c.bits >= nxt.WORTH_ASKING] if open_question else []
    if not open_question:
        candidates = [c for c in ranked if (c.check.key, c.cylinder) in wanted]
    if candidates:
        return candidates[:1], candidates[1:3], ""
    if open_question:
        return [], [], "No check on the list is expected to tell more: think of causes that are not on it."
    return [], [], "The cause stands above the threshold and its rivals are checked: more checks would not change it."


def _why(book: Tables, posterior: Posterior, choice: nxt.Choice) -> str:
    chance, then = predict(posterior, choice.check, choice.cylinder)
    n = posterior.model.low.index(choice.cylinder) if choice.cylinder is not None else 0
    sentence = f"It tells {choice.check.tells}."
    if not posterior.model.low:
        return sentence
    now = posterior.cylinders[n]
    parts = []
    for o, outcome in enumerate(choice.check.outcomes):
        state = int((then[o, n] - now).argmax())
        if chance[o] >= 0.02 and then[o, n, state] - now[state] >= 0.05:
            name = book.causes[posterior.model.states[state]].name
            parts.append(f"{outcome}: {name} {percent(float(then[o, n, state]))}")
    return f"{sentence} {capital('; '.join(parts))}." if parts else sentence


def _outstanding(job: Job) -> list[Remark]:
    words = {
        Restored.CYLINDERS: "Cylinders were held out for a run and have not been said to be back in: "
        "say `all cylinders back in` once they are.",
        Restored.PRESSURE: "Injection pressure was overridden for a run and has not been said to be back: "
        "say `pressure override off` once it is.",
    }
    return [Remark(Level.WARNING, words[what]) for what in job.outstanding]


def _history_remark(history: History | None) -> list[Remark]:
    if history is None or not history.jobs:
        return []
    return [Remark(Level.REMARK, f"Base rates include {history.jobs} closed jobs of this shop; they can be left out.")]


def _unjudged(found: Gathered) -> list[Remark]:
    return [
        Remark(
            Level.REMARK,
            f"{capital(words)} was measured but not judged: compare it with the service manual and say the outcome.",
        )
        for words in found.unjudged
    ]
