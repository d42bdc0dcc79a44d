"""A job's judged runs to everything they say when put side by side."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from journal.analysis.between.conditions import Judged
from journal.analysis.between.judged import judged_runs
from journal.analysis.between.machine import Earlier, Machine, machine_of
from journal.analysis.between.pressure import Pressed, pressed, series_of
from journal.analysis.between.repair import Repair, difference, repair_of
from journal.analysis.between.shared import shared_by, telling
from journal.analysis.between.swaps import Swap, swaps_of
from journal.analysis.between.words import (
    decline_sentence,
    earlier_sentence,
    now_sentence,
    pressed_sentence,
    repaired_cylinder,
    standing_in_words,
    start_sentence,
    swap_sentence,
)
from journal.analysis.findings import Comparison, Contribution, Level, Remark, RunFinding, Standing
from journal.analysis.run.find import LOW
from journal.analysis.settings import Settings
from journal.analysis.words import cylinders_in_words
from journal.facts import RunKind
from journal.record.job import Job


@dataclass(frozen=True)
class Between:
    """What the runs say of each other."""

    settings: Settings
    """The thresholds used."""
    judged: tuple[Judged, ...] = ()
    """The runs that judged a cylinder."""
    comparisons: tuple[Comparison, ...] = ()
    """In words, for people."""
    pressed: tuple[Pressed, ...] = ()
    """How each cylinder takes injection pressure."""
    repair: Repair | None = None
    """What the run after the repair shows; none without one."""
    swaps: tuple[Swap, ...] = ()
    """Injectors that changed places, in order."""
    machine: Machine | None = None
    """The machine in earlier jobs and now; none without any."""


def compare(job: Job, runs: Sequence[RunFinding], settings: Settings, earlier: Sequence[Earlier] = ()) -> Between:
    """What the runs say when put side by side, beside earlier jobs on the machine, and what the low cylinders share."""
    judged = judged_runs(job, runs)
    repair = repair_of(judged, settings)
    by_pressure, under = _by_pressure(judged, settings)
    swaps = swaps_of(job, judged)
    machine = machine_of(job, judged, earlier, settings)
    found = [
        *_under_load(judged, settings),
        *by_pressure,
        *_after_repair(repair),
        *_after_swaps(judged, swaps),
        *_repeated(judged, settings),
        *_in_common(job, judged),
        *_before(machine),
    ]
    return Between(settings, tuple(judged), tuple(found), tuple(under), repair, swaps, machine)


def _remark(text: str, *contributions: Contribution | None) -> Remark:
    entries = dict.fromkeys(e for c in contributions if c is not None for e in c.entries)
    return Remark(Level.REMARK, text, tuple(entries))


def _comparison(
    title: str, judged: Iterable[Judged], remarks: Sequence[Remark], cylinders: Iterable[int]
) -> Comparison:
    return Comparison(title, tuple(j.finding.run for j in judged), tuple(remarks), tuple(sorted(set(cylinders))))


def _under_load(judged: Sequence[Judged], settings: Settings) -> list[Comparison]:
    """The last plain run of the whole engine against the half-engine runs of the same state of repair."""
    found = []
    states = dict.fromkeys((j.conditions.after_repair, j.conditions.swapped) for j in judged)
    for repaired, swapped in states:
        plain = [j for j in judged if (j.conditions.after_repair, j.conditions.swapped) == (repaired, swapped)]
        plain = [j for j in plain if j.plain]
        whole = [j for j in plain if j.conditions.kind is not RunKind.HALF_ENGINE]
        halves = [j for j in plain if j.conditions.kind is RunKind.HALF_ENGINE]
        if not whole or not halves:
            continue
        at_idle = whole[-1]
        pairs = {}
        for half in halves:
            for loaded in half.finding.contributions:
                idle = at_idle.of(loaded.cylinder)
                if idle is not None:
                    pairs[loaded.cylinder] = (idle, loaded)
        remarks, about = [], []
        for cylinder, (idle, loaded) in sorted(pairs.items()):
            text = _load_sentence(idle, loaded, settings)
            if text:
                about.append(cylinder)
                remarks.append(_remark(f"cylinder {cylinder} {text}", idle, loaded))
        if not remarks:
            remarks.append(_remark("no cylinder is low at idle or under load"))
        title = "Idle against half engine" + (", after the repair" if repaired else "")
        title += ", with injectors changed round" if swapped else ""
        found.append(_comparison(title, (at_idle, *halves), remarks, about))
    return found


def _load_sentence(idle: Contribution, loaded: Contribution, settings: Settings) -> str:
    both = f"is {standing_in_words(idle)} at idle and {standing_in_words(loaded)} with half the engine held out"
    if loaded.standing in LOW and idle.standing in LOW:
        return f"{both}: low in both"
    if loaded.standing in LOW:
        clearly = difference(idle, loaded) < -settings.changed_z
        return f"{both}: weak only under load" if clearly else f"{both}, a difference the readings do not settle"
    if idle.standing in LOW:
        return f"{both}: low at idle only"
    if Standing.UNCLEAR in (idle.standing, loaded.standing) and idle.standing != loaded.standing:
        return both
    return ""


def _by_pressure(judged: Sequence[Judged], settings: Settings) -> tuple[list[Comparison], list[Pressed]]:
    found, under = [], []
    for series in series_of(judged, settings):
        first, last = series[0].conditions.pressure, series[-1].conditions.pressure
        read = sorted({c.cylinder for j in series for c in j.finding.contributions})
        taken = [one for cylinder in read if (one := pressed(cylinder, series, settings)) is not None]
        numbers = [one.cylinder for one in taken if one.low]
        remarks = [_remark(pressed_sentence(one), *(lv.found for lv in one.levels)) for one in taken if one.low]
        if not remarks:
            remarks.append(_remark("no cylinder is low at any of these injection pressures"))
        under += taken
        found.append(_comparison(f"Injection pressure: {first.words} against {last.words}", series, remarks, numbers))
    return found, under


def _after_repair(repair: Repair | None) -> list[Comparison]:
    if repair is None or repair.before is None:
        return []
    about = sorted((*repair.back, *repair.still_low, *repair.new_low, *repair.unsettled))
    remarks = [
        _remark(text, repair.before.of(cylinder), repair.after.of(cylinder))
        for cylinder in about
        if (text := repaired_cylinder(repair, cylinder))
    ]
    if not remarks:
        remarks.append(_remark("no cylinder is low before or after"))
    return [_comparison("Before against after the repair", (repair.before, repair.after), remarks, about)]


def _after_swaps(judged: Sequence[Judged], swaps: Sequence[Swap]) -> list[Comparison]:
    """The run before two injectors changed places against the one after it that shows what became of the miss."""
    by_id = {j.finding.run: j for j in judged}
    found = []
    for swap in swaps:
        if swap.runs is None:
            continue
        was, now = (by_id[run] for run in swap.runs)
        about = sorted(swap.pair)
        remark = _remark(swap_sentence(swap, was, now), *(j.of(c) for j in (was, now) for c in about))
        title = f"Before against after the injectors of {cylinders_in_words(about)} changed places"
        found.append(_comparison(title, (was, now), [remark], about))
    return found


def _before(machine: Machine | None) -> list[Comparison]:
    """The machine in earlier jobs beside today's run."""
    if machine is None:
        return []
    remarks = [_remark(earlier_sentence(one)) for one in machine.before]
    remarks.append(_remark(now_sentence(machine.now), *machine.now.contributions))
    if machine.start is not None:
        remarks.append(_remark(start_sentence(machine.start)))
    remarks += [_remark(decline_sentence(one)) for one in machine.declines]
    about = tuple(sorted(one.cylinder for one in machine.declines))
    return [Comparison("The same machine before", (machine.run,), tuple(remarks), about)]


def _repeated(judged: Sequence[Judged], settings: Settings) -> list[Comparison]:
    """Runs made twice under the same conditions: whether they agree."""
    found = []
    for place, run in enumerate(judged):
        earlier = [j for j in judged[:place] if j.conditions.like(run.conditions, settings)]
        if not earlier:
            continue
        before = earlier[-1]
        remarks, about = [], []
        for now in run.finding.contributions:
            was = before.of(now.cylinder)
            if was is not None and abs(difference(was, now)) > settings.changed_z:
                about.append(now.cylinder)
                text = f"cylinder {now.cylinder} was {standing_in_words(was)} and is {standing_in_words(now)}"
                remarks.append(_remark(f"{text}: the two runs disagree", was, now))
        if not remarks:
            remarks.append(_remark("the two runs agree within their uncertainty"))
        title = f"Run {before.finding.number} against its repeat, run {run.finding.number}"
        found.append(_comparison(title, (before, run), remarks, about))
    return found


def _in_common(job: Job, judged: Sequence[Judged]) -> list[Comparison]:
    """What the cylinders low in the latest run of the whole engine share."""
    whole = [j for j in judged if not j.conditions.held_out]
    if not whole:
        return []
    low = [c for c in whole[-1].finding.contributions if c.standing in LOW]
    numbers = tuple(c.cylinder for c in low)
    if len(low) < 2:
        return []
    shared = telling(shared_by(numbers, job.engine))
    remarks = []
    for one in shared:
        names = " and ".join(map(str, one.cylinders))
        verb = "stand side by side" if one.what == "neighbouring bores" else f"share a {one.what}"
        remarks.append(
            _remark(
                f"cylinders {names} {verb}: of {len(low)} low cylinders by chance {100 * one.chance:.0f} % would", *low
            )
        )
    if not remarks:
        remarks.append(
            _remark("they share no bank, driver, harness branch or bore wall that chance would not explain", *low)
        )
    return [_comparison("What the low cylinders share", whole[-1:], remarks, numbers)]
