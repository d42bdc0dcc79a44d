"""A run's conditions to remarks on what did not hold still: speed, warmth, a baseline too old."""

from __future__ import annotations

import numpy as np

from journal.analysis.findings import Level, Remark
from journal.analysis.run.readings import Method, Taken
from journal.analysis.settings import Settings
from journal.facts import Quantity
from journal.facts.units import convert
from journal.record.job import Reading, Run

_WARMING = (Quantity.COOLANT_TEMPERATURE, Quantity.OIL_TEMPERATURE)


def unsteady(run: Run, taken: Taken, settings: Settings) -> list[Remark]:
    """What did not hold still during the run, a sentence each."""
    remarks = [_speed(run, taken, settings), *(_warming(run, quantity, settings) for quantity in _WARMING)]
    remarks += [_long_apart(taken, settings), _old_baseline(taken, settings)]
    return [remark for remark in remarks if remark is not None]


def speed_held(run: Run, settings: Settings) -> bool:
    """False where the speeds that were said during the run differ by more than `held.speed`."""
    values = [r.value for r in _speeds(run) if r.value is not None]
    return len(values) < 2 or max(values) - min(values) <= settings.held_speed * max(values)


def _speeds(run: Run) -> list[Reading]:
    return [r for r in run.conditions if r.quantity == Quantity.ENGINE_SPEED and r.value is not None and r.value > 0]


def _speed(run: Run, taken: Taken, settings: Settings) -> Remark | None:
    if taken.method in (Method.SPEED, None) or speed_held(run, settings):
        return None
    speeds = _speeds(run)
    values = [r.value for r in speeds if r.value is not None]
    return Remark(
        Level.WARNING,
        f"the speed did not hold, {min(values):g} to {max(values):g} rpm: shares are only right at one speed",
        tuple(r.entry for r in speeds),
    )


def _warming(run: Run, quantity: Quantity, settings: Settings) -> Remark | None:
    said: list[tuple[float, Reading]] = []
    for reading in run.conditions:
        if reading.quantity == quantity and reading.value is not None:
            said.append((convert(reading.value, reading.unit, "degC"), reading))
    if len(said) < 2 or len(run.baselines) > 1:
        return None
    first, last = said[0][0], said[-1][0]
    if abs(last - first) <= settings.held_warming_c:
        return None
    return Remark(
        Level.WARNING,
        f"{quantity} went from {first:.0f} to {last:.0f} degC on a single baseline: read the baseline again",
        tuple(reading.entry for _, reading in said),
    )


def _apart(taken: Taken) -> float:
    """How many minutes the cut that lies furthest from a baseline lies from the nearest one."""
    if not taken.baselines or not taken.cuts:
        return 0.0
    return max(_from_baselines(taken)) / 60


def _from_baselines(taken: Taken) -> list[float]:
    """How many seconds each cut lies from the nearest baseline."""
    cuts, bases = (np.array([r.seconds for r in said]) for said in (taken.cuts, taken.baselines))
    found: list[float] = np.abs(cuts[:, None] - bases).min(axis=1).tolist()
    return found


def _long_apart(taken: Taken, settings: Settings) -> Remark | None:
    """Cuts so long from any baseline that the engine was another one: cold, or under another load."""
    minutes = _apart(taken)
    if minutes <= settings.held_apart_minutes:
        return None
    far = [c for c, away in zip(taken.cuts, _from_baselines(taken), strict=True) if away / 60 > minutes / 2]
    return Remark(
        Level.WARNING,
        f"cuts lie up to {minutes:.0f} minutes from any baseline: read a new baseline and cut them again",
        tuple(c.entry for c in far),
    )


def _old_baseline(taken: Taken, settings: Settings) -> Remark | None:
    if len(taken.baselines) != 1 or not taken.cuts:
        return None
    baseline = taken.baselines[0]
    minutes = max(abs(c.seconds - baseline.seconds) for c in taken.cuts) / 60
    if minutes <= settings.held_baseline_minutes or _apart(taken) > settings.held_apart_minutes:
        return None
    return Remark(
        Level.REMARK,
        f"one baseline only, and cuts up to {minutes:.0f} minutes from it: say it again at the end of a run, and a "
        "drift is allowed for",
        (baseline.entry,),
    )
