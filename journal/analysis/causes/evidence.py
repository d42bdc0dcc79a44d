"""A job and its judged runs in; the results that enter inference out, one for each check and cylinder."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from statistics import median

from journal.analysis.between.compare import Between
from journal.analysis.between.swaps import Swap, Went, miss_now
from journal.analysis.causes.codes import code_text, engine_outcome, injector_of, injector_outcome
from journal.analysis.causes.inference import Observation
from journal.analysis.causes.moved import Remarks, not_settled, said_against_shown, swap_items
from journal.analysis.causes.runs import Item, as_it_is_now, followed, paired, run_items, standings_over
from journal.analysis.causes.tables import CheckRow, Tables
from journal.analysis.findings import RunFinding, Standing
from journal.analysis.run.find import LOW
from journal.analysis.words import capital
from journal.facts import MEASURED, Check, Quantity, Subject
from journal.record.job import Fact, Job


@dataclass(frozen=True)
class Gathered:
    """Everything a job holds about its low cylinders."""

    low: tuple[int, ...]
    """The low cylinders, worst first."""
    standing: Mapping[int, Standing]
    """Standing over the runs that count now, by cylinder, of every cylinder with a reading."""
    items: tuple[Item, ...]
    """Results that enter inference."""
    contradictions: Mapping[int | None, tuple[str, ...]]
    """Results that contradict earlier ones, in words, by cylinder; none for the whole engine."""
    swaps: tuple[Swap, ...]
    """Injectors that changed places, in order."""
    remarks: tuple[tuple[str, tuple[str, ...]], ...]
    """What could not be used and why, one sentence each, with the entries it is about."""


@dataclass(frozen=True)
class _Result:
    """The result of one check that counts, judged."""

    fact: Fact[Check]
    outcomes: tuple[int, ...]
    words: str
    place: int | None = None
    """Where the miss it was about sits now."""
    rank: int = 0
    """Of results about one place the highest counts, of equals the last."""


def gather(tables: Tables, job: Job, runs: Sequence[RunFinding], between: Between) -> Gathered:
    """What a job's runs, codes and checks say; of several results of one check on one cylinder the last counts."""
    swaps = between.swaps
    pairs = followed(paired(job, runs), swaps)
    standing = standings_over(as_it_is_now(pairs))
    low = tuple(sorted((c for c, s in standing.items() if s in LOW), key=lambda c: (standing[c] is Standing.WEAK, c)))
    ever_low = [c for c, s in standings_over(pairs).items() if s in LOW]
    latest, contradictions, remarks = _results(tables, job, swaps)
    items = [
        *run_items(pairs, low, standing, between),
        *_code_items(tables, job, low, swaps),
        *_check_items(tables, latest, low),
        *swap_items(tables, swaps, low),
    ]
    for place, words in said_against_shown(swaps).items():
        contradictions[place] = (*contradictions.get(place, ()), *words)
    remarks += [*_elsewhere(latest, ever_low), *_crankcase(job, latest), *not_settled(job, swaps)]
    return Gathered(low, standing, tuple(items), contradictions, swaps, tuple(remarks))


def _results(
    tables: Tables, job: Job, swaps: Sequence[Swap]
) -> tuple[dict[tuple[Subject, int | None], _Result], dict[int | None, tuple[str, ...]], Remarks]:
    """The last result of each check and cylinder, what contradicts it, and what could not be judged."""
    latest: dict[tuple[Subject, int | None], _Result] = {}
    contradictions: dict[int | None, tuple[str, ...]] = {}
    remarks: Remarks = []
    for fact in job.checks:
        check, row = fact.body, tables.checks[fact.body.subject]
        if check.subject is Subject.INJECTOR_SWAP and check.other_cylinder is not None:
            continue  # Told by `swap_items`, with the runs before and after.
        if check.outcome == MEASURED:
            judged = _by_comparison(row, fact, job)
            if judged is None:
                remarks.append((_not_judged(check), (fact.entry.id,)))
                continue
            result = judged
        else:
            result = _Result(fact, outcomes_of(row, check), f"{check.subject} {describe(check)}")
        result = _where_it_is_now(result, row, swaps)
        cylinder = result.place
        before = latest.get((check.subject, cylinder))
        if before is not None and before.rank > result.rank:
            continue
        same = before is not None and before.fact.body.cylinder == check.cylinder
        if before is not None and same and not set(before.outcomes) & set(result.outcomes):
            repaired = any(before.fact.entry.at_utc <= r.entry.at_utc <= fact.entry.at_utc for r in job.repairs)
            if not repaired:
                said = f"first {before.words}, later {result.words}; the later counts, make sure of it"
                contradictions[cylinder] = (*contradictions.get(cylinder, ()), said)
        latest[check.subject, cylinder] = result
    return latest, contradictions, remarks


def _where_it_is_now(result: _Result, row: CheckRow, swaps: Sequence[Swap]) -> _Result:
    """The result with where the miss it was about sits now."""
    cylinder, at_utc = result.fact.body.cylinder, result.fact.entry.at_utc
    if cylinder is None or not row.of_cylinder:
        return result
    place = miss_now(swaps, cylinder, at_utc)
    if place != cylinder:
        words = f"{result.words} on cylinder {cylinder}, before its injector went to cylinder {place}"
        return replace(result, place=place, rank=1, words=words)
    before = any(s.went is Went.MOVED and s.at_utc > at_utc and cylinder in s.pair for s in swaps)
    return replace(result, place=cylinder, rank=0 if before else 2)


def _by_comparison(row: CheckRow, fact: Fact[Check], job: Job) -> _Result | None:
    """A bare number judged against the middle of other cylinders' numbers, or against the tables' own figures.

    None when the tables have no bands for it, it falls between two bands, or fewer than two others were measured.
    """
    check, how = fact.body, row.judge.get("against")
    if how is None or check.value is None:
        return None
    if how == "value":
        size, words = check.value, f"{check.subject} {check.value:g} {check.unit}".strip()
    else:
        others = {
            other.body.cylinder: other.body.value
            for other in job.checks
            if other.body.subject is check.subject
            and other.body.cylinder not in (None, check.cylinder)
            and other.body.value is not None
            and other.body.unit == check.unit
        }
        if len(others) < 2:
            return None
        middle = median(value for value in others.values() if value is not None)
        if how == "ratio" and middle <= 0:
            return None
        size = check.value / middle if how == "ratio" else check.value - middle
        words = f"{check.subject} {check.value:g} {check.unit} where the others' middle is {middle:g}"
    for outcome, band in row.judge["bands"].items():
        if band.get("above", size - 1) < size < band.get("below", size + 1):
            return _Result(fact, (row.outcomes.index(outcome),), f"{words} ({outcome})")
    return None


def _check_items(
    tables: Tables, latest: Mapping[tuple[Subject, int | None], _Result], low: Sequence[int]
) -> list[Item]:
    items = []
    for (subject, cylinder), result in latest.items():
        of_cylinder = tables.checks[subject].of_cylinder
        places: list[int | None] = [cylinder] if cylinder in low or not of_cylinder else []
        if of_cylinder and cylinder is None:
            unsaid = [c for c in low if (subject, c) not in latest]
            # Said of the whole engine: nothing found holds for every low cylinder; something found is pinned on the
            # only low one, and stays with the engine where there are several.
            places = list(unsaid) if result.outcomes == (0,) or len(low) == 1 else [None]
        items += [
            Item(Observation(subject, result.outcomes, place), result.words, (result.fact.entry.id,))
            for place in places
        ]
    return items


def _code_items(tables: Tables, job: Job, low: Sequence[int], swaps: Sequence[Swap]) -> list[Item]:
    found: dict[tuple[str, int | None], Item] = {}
    for fact in job.codes:
        injector = injector_of(fact.body)
        where = miss_now(swaps, injector, fact.entry.at_utc) if injector is not None else None
        for key, outcome, place in (
            ("trouble code", injector_outcome(fact.body), where),
            ("engine trouble code", engine_outcome(fact.body), None),
        ):
            if outcome is None or (key == "trouble code" and place not in low):
                continue
            which = tables.checks[key].outcomes.index(outcome)
            words = code_text(fact.body)
            entries: tuple[str, ...] = (fact.entry.id,)
            before = found.get((key, place))
            if before is not None:
                which = max(which, before.observation.outcomes[0])
                words, entries = f"{before.words}; {words}", (*before.entries, *entries)
            found[key, place] = Item(Observation(key, (which,), place), words, entries)
    return list(found.values())


def _elsewhere(
    latest: Mapping[tuple[Subject, int | None], _Result], low: Sequence[int]
) -> list[tuple[str, tuple[str, ...]]]:
    """Something found on a cylinder that no run shows low, worth a remark."""
    return [
        (
            f"{capital(result.words)} on cylinder {cylinder}, which no run shows low.",
            (result.fact.entry.id,),
        )
        for (subject, cylinder), result in latest.items()
        if cylinder is not None and cylinder not in low and 0 not in result.outcomes
    ]


def _crankcase(job: Job, latest: Mapping[tuple[Subject, int | None], _Result]) -> Remarks:
    """A crankcase pressure that nobody has judged as blow-by yet."""
    readings = [*job.conditions, *(reading for run in job.runs for reading in run.conditions)]
    noted = [reading for reading in readings if reading.quantity is Quantity.CRANKCASE_PRESSURE]
    if not noted or any(subject is Subject.BLOW_BY for subject, _ in latest):
        return []
    said = f"Crankcase pressure {noted[-1].value:g} {noted[-1].unit} is noted but not judged"
    return [(f"{said}: compare it with the service manual, then say blow-by and the outcome.", (noted[-1].entry,))]


def outcomes_of(row: CheckRow, check: Check) -> tuple[int, ...]:
    """Which of a check's outcomes a result may be, as places in `row.outcomes`."""
    if check.outcome in row.waits:
        return tuple(range(len(row.outcomes)))
    refined = row.refine.get(check.outcome)
    if refined is None:
        return (row.outcomes.index(check.outcome),)
    detail = check.part or check.place or ""
    if detail in refined:
        return (row.outcomes.index(refined[detail]),)
    return tuple(sorted({row.outcomes.index(name) for name in refined.values()}))


def describe(check: Check) -> str:
    """A result in words: outcome, part, place and number."""
    words = [check.outcome]
    if check.part:
        words.append(f"({check.part})")
    if check.place:
        words.append(f"to the {check.place}")
    if check.other_cylinder is not None:
        words.append(f"with cylinder {check.other_cylinder}")
    if check.value is not None and check.outcome != MEASURED:
        words.append(f"at {check.value:g} {check.unit}".strip())
    return " ".join(words)


def _not_judged(check: Check) -> str:
    where = f" on cylinder {check.cylinder}" if check.cylinder is not None else ""
    said = f"{check.subject} {check.value:g} {check.unit}".strip()
    return f"{capital(said)}{where} is noted but not judged: compare it with the service manual and say the outcome."
