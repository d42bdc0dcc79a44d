"""Runs to what each says: shares with intervals, standings, whether it can be right, and what is odd about it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from journal.analysis.findings import Contribution, Level, Remark, RunFinding, Standing
from journal.analysis.learnt import Learnt
from journal.analysis.run import explain
from journal.analysis.run.display import Array
from journal.analysis.run.doubt import Stray, drop_strays, sum_fits, suspects
from journal.analysis.run.fit import Belief
from journal.analysis.run.leaves import learnt_of
from journal.analysis.run.limits import limit
from journal.analysis.run.model import FORMULAS, Model, model_of
from journal.analysis.run.readings import Taken, take
from journal.analysis.run.standing import Stand, standings
from journal.analysis.run.steady import speed_held, unsteady
from journal.analysis.settings import Settings
from journal.facts import Engine, RunKind
from journal.record.job import Run

LOW = frozenset({Standing.DEAD, Standing.WEAK})
"""Standings of a cylinder that does not pull as its peers do."""

_TORN = "its readings contradict each other: read it again"
_DOUBTED = "the run only adds up if its reading was another: read it again"


def find_run(run: Run, engine: Engine, settings: Settings) -> RunFinding:
    """What one run says."""
    return find_runs((run,), engine, settings)[0]


def find_runs(
    runs: Sequence[Run], engine: Engine, settings: Settings, before: Mapping[str, Learnt] | None = None
) -> tuple[RunFinding, ...]:
    """What each run says; runs of one shape are worked out together.

    Args:
        runs: the runs.
        engine: their engine.
        settings: thresholds.
        before: by run, what an earlier one on the machine showed of it, where there is one.
    """
    every = [take((run,), engine) for run in runs]
    models = [model_of(taken, settings, (before or {}).get(run.id)) for run, taken in zip(runs, every, strict=True)]
    usable = [model for model in models if model is not None]
    believed, left_out = drop_strays(usable, settings) if usable else ([], [])
    of_models = iter(zip(believed, left_out, strict=True))
    found: list[RunFinding] = []
    doubted: list[_Doubted] = []
    for run, taken, model in zip(runs, every, models, strict=True):
        bare = _bare(run, taken)
        remarks = (*taken.remarks, *unsteady(run, taken, settings))
        if model is None:
            found.append(replace(bare, remarks=(*remarks, *_why_nothing(taken))))
            continue
        (now, belief), strays = next(of_models)
        finding, belief, doubts = _doubts(run, settings, replace(bare, remarks=remarks), now, belief, strays)
        doubted.append(_Doubted(len(found), now, belief, doubts))
        found.append(finding)
    stands = standings([one.model for one in doubted], [one.belief for one in doubted], settings)
    for one, of_run in zip(doubted, stands, strict=True):
        found[one.at] = _judged(found[one.at], engine, one, of_run)
    return tuple(found)


@dataclass(frozen=True)
class _Doubted:
    """A run whose readings have been held against each other."""

    at: int
    """Its place among all runs."""
    model: Model
    belief: Belief
    doubts: dict[int, str]
    """Cylinders that cannot be judged, and why."""


def _bare(run: Run, taken: Taken) -> RunFinding:
    cut = {c.cylinder for c in taken.cuts}
    return RunFinding(
        run=run.id,
        number=run.number,
        title=title_of(run),
        formula=FORMULAS[taken.method] if taken.method is not None else "",
        contributions=(),
        missing=tuple(c for c in taken.live if c not in cut),
        total=None,
        total_low=None,
        total_high=None,
        trusted=taken.sound,
    )


def _doubts(
    run: Run, settings: Settings, bare: RunFinding, model: Model, belief: Belief, strays: tuple[Stray, ...]
) -> tuple[RunFinding, Belief, dict[int, str]]:
    """Whether the run can be right: its finding but for the cylinders, what is believed, and whom it leaves open."""
    taken = model.taken
    remarks = [*bare.remarks, *_stray_remarks(model, strays)]
    at_limit = limit(model, settings, held_out=bool(run.start.held_out), speed_held=speed_held(run, settings))
    summed = sum_fits(model, belief, settings, at_limit.odds)
    found, belief = suspects(model, belief, settings, summed[0] if summed else None)
    fits = not found and (summed is None or summed[3])
    if summed is not None and model.by_fuel and not fits:
        u = (summed[2] - summed[0]) / 1.96
        remarks.append(explain.off(model, summed[0], u, found, at_limit.text if summed[0] < 1 else ""))
    elif found:
        remarks += [Remark(Level.WARNING, explain.suspected(one, taken.unit), (one.entry,)) for one in found]
    trusted = bare.trusted and fits and not any(stray.torn for stray in strays)
    remarks += [
        remark
        for remark in (
            explain.drift(model, belief),
            explain.idle_fuel(model, belief) if summed and fits else None,
            explain.efficiency(model, belief, trusted),
        )
        if remark is not None
    ]
    if not taken.baselines:
        remarks.append(_no_baseline(model, belief))
    total, low, high = summed[:3] if summed else (None, None, None)
    finding = replace(
        bare, total=total, total_low=low, total_high=high, trusted=trusted, remarks=tuple(remarks), suspects=found,
        learnt=learnt_of(model, belief) if trusted and summed is not None else None,
    )  # fmt: skip
    doubted = {one.cylinder: _DOUBTED for one in found if one.cylinder is not None}
    doubted |= {c: _TORN for stray in strays if stray.torn and (c := model.said[stray.at].cylinder) is not None}
    return finding, belief, doubted


def _judged(finding: RunFinding, engine: Engine, doubted: _Doubted, stands: dict[int, Stand]) -> RunFinding:
    """The finding with every cylinder's share and standing."""
    model, remarks = doubted.model, finding.remarks
    stands = _left_open(model, stands, doubted.doubts)
    low = tuple(c for c, stand in stands.items() if stand.standing in LOW)
    half_low = low if len(low) * 2 >= len(model.taken.live) > 1 else ()
    if half_low:
        remarks = (*remarks, _half_low(half_low))
        stands = {c: _half(stand) for c, stand in stands.items()}
    contributions = _contributions(model, doubted.belief, stands, engine)
    return replace(finding, contributions=contributions, remarks=remarks, half_low=half_low)


def title_of(run: Run) -> str:
    """Kind and conditions in words."""
    start = run.start
    words = [
        {RunKind.IDLE: "Idle", RunKind.HALF_ENGINE: "Half engine", RunKind.SCANNER_RESULT: "Scanner's own test"}[
            start.run
        ]
    ]
    if start.held_out:
        words.append(" ".join(map(str, sorted(start.held_out))) + " held out")
    if start.pressure is not None:
        words.append(f"{start.pressure} injection pressure")
    if start.pressure_value is not None:
        words.append(f"injection pressure {start.pressure_value:g} {start.pressure_unit}")
    if start.after_repair:
        words.append("after the repair")
    if start.repeat:
        words.append("repeated")
    return ", ".join(words)


def _left_open(model: Model, stands: dict[int, Stand], why: dict[int, str]) -> dict[int, Stand]:
    """The standings, with those cylinders left open whose own readings are in doubt."""
    return {
        c: Stand(Standing.UNCLEAR, s.strength, s.uncertainty, why[c], model.count(c) + 1) if c in why else s
        for c, s in stands.items()
    }


def _half(stand: Stand) -> Stand:
    if stand.standing is not Standing.WEAK:
        return stand
    return replace(
        stand,
        standing=Standing.UNCLEAR,
        why=f"{stand.why}; but half the live cylinders or more are low, so comparing them says little",
    )


def shares_of(model: Model, belief: Belief) -> tuple[Array, Array]:
    """Each live cylinder's share and its standard uncertainty, shapes (n,), over all nodes."""
    mean, covariance = belief.share, belief.covariance
    if not model.by_fuel:
        total = np.maximum(mean.sum(axis=1), 1e-9)[:, None]
        mean = mean / total
        slope = (np.eye(mean.shape[1]) - mean[:, :, None]) / total[:, :, None]
        covariance = slope @ covariance @ np.swapaxes(slope, 1, 2)
    share = belief.weight @ mean
    variance = np.einsum("gii->gi", covariance) + (mean - share) ** 2
    return share, np.sqrt(np.maximum(belief.weight @ variance, 1e-12))


def _contributions(model: Model, belief: Belief, stands: dict[int, Stand], engine: Engine) -> tuple[Contribution, ...]:
    taken = model.taken
    share, u = shares_of(model, belief)
    dead = {c for c, stand in stands.items() if stand.standing is Standing.DEAD}
    after = _after(dead, taken.live, engine)
    of_baselines = tuple(b.entry for b in taken.baselines)
    of_cuts: dict[int | None, list[str]] = defaultdict(list)
    for cut in taken.cuts:
        of_cuts[cut.cylinder].append(cut.entry)
    out = []
    for i, cylinder in enumerate(taken.live):
        if cylinder not in stands:
            continue
        stand = stands[cylinder]
        middle, reach = min(max(float(share[i]), 0.0), 1.0), 1.96 * float(u[i])
        why = stand.why
        if cylinder in after and stand.standing in (Standing.WEAK, Standing.UNCLEAR):
            why += "; it fires right after a dead one, which can make it read low"
        out.append(
            Contribution(
                cylinder=cylinder,
                share=middle,
                low=max(float(share[i]) - reach, 0.0) if middle > 0 else 0.0,
                high=max(min(float(share[i]) + reach, 1.0), middle),
                strength=max(stand.strength, 0.0),
                standing=stand.standing,
                why=why,
                repeats_needed=stand.repeats_needed,
                strength_u=stand.uncertainty,
                after_dead=cylinder in after,
                entries=(*of_cuts[cylinder], *of_baselines),
            )
        )
    return tuple(out)


def _after(dead: set[int], live: tuple[int, ...], engine: Engine) -> set[int]:
    order = [c for c in engine.firing_order if c in live]
    return {c for before, c in zip(order[-1:] + order[:-1], order, strict=True) if before in dead and c not in dead}


def _stray_remarks(model: Model, strays: tuple[Stray, ...]) -> list[Remark]:
    out = []
    for stray in strays:
        reading = model.said[stray.at]
        what = "the baseline" if reading.cylinder is None else f"cylinder {reading.cylinder}"
        said = ", ".join(f"{r.value:g}" for r in model.said if r.cylinder == reading.cylinder and not r.no_change)
        text = (
            f"{what} read {said}, which contradict each other: read it again"
            if stray.torn
            else f"{what} read {said}: {reading.value:g} stands apart and is left out until it is read again"
        )
        out.append(Remark(Level.WARNING, text, (reading.entry,)))
    return out


def _no_baseline(model: Model, belief: Belief) -> Remark:
    level = float(belief.weight @ (belief.level[:, 0]))
    base = model.off_scale(replace(model.said[0], cylinder=None), level)
    return Remark(
        Level.REMARK,
        f"no baseline was said: {base:.3g} {model.taken.unit} is what makes the shares add up to one, so the sum "
        "cannot check the readings",
    )


def _why_nothing(taken: Taken) -> list[Remark]:
    if taken.method is None:
        return []
    if not taken.cuts and not taken.baselines:
        return [Remark(Level.REMARK, "no readings yet")]
    if not taken.cuts:
        return [Remark(Level.REMARK, "no cylinder has been cut yet")]
    if len(taken.live) < 2:
        return [Remark(Level.WARNING, "a single live cylinder carries everything: there is nothing to compare it with")]
    if not taken.baselines:
        return [Remark(Level.WARNING, "no baseline: say what the display shows with no further cylinder cut")]
    return [Remark(Level.WARNING, "these readings cannot belong together: take the run again")]


def _half_low(low: tuple[int, ...]) -> Remark:
    words = " ".join(map(str, low))
    return Remark(
        Level.WARNING,
        f"half the live cylinders or more ({words}) pull less than the rest: comparing cylinders cannot judge that; "
        "look at what is common to all first: fuel supply, injection pressure, oil, air",
    )


__all__ = ["LOW", "find_run", "find_runs", "shares_of", "title_of"]
