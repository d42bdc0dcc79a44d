"""A run's readings to numbers in one unit with their display steps, and remarks on those that cannot be used."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from enum import StrEnum

from journal.analysis.findings import Level, Remark
from journal.analysis.run.display import display_steps
from journal.errors import BadInput
from journal.facts import UNITS, Engine, Quantity, RunKind
from journal.facts.units import convert, step_factor
from journal.record.job import Reading, Run

_LEAST, _MOST = 1e-3, 1e6
"""No display of what is watched shows less or more on a running engine."""


class Method(StrEnum):
    """What was watched and held, which decides the formula."""

    FUEL = "fuel per stroke, speed governed"
    FUEL_RATE = "total fuel rate, speed governed"
    SPEED = "speed drop, fuel held"
    BRAKE = "brake load or power, speed held"


@dataclass(frozen=True, slots=True)
class Measured:
    """One usable reading."""

    value: float
    """The number in the run's unit; for `no_change` it is not used."""
    step: float
    """The display's step behind it, in the run's unit."""
    seconds: float
    """When it was said, seconds from the first of the run's baselines, or of its cuts where it has none."""
    entry: str
    """Identifier of the entry it rests on."""
    cylinder: int | None = None
    """The cylinder that was cut; none for a baseline."""
    no_change: bool = False
    """True when the words were that it did not change."""


@dataclass(frozen=True)
class Taken:
    """A run's usable readings."""

    method: Method | None
    """Which formula fits; none when what was watched cannot be judged."""
    quantity: Quantity
    """What was watched."""
    unit: str
    """The unit the values are in."""
    live: tuple[int, ...]
    """Cylinders that were not held out."""
    baselines: tuple[Measured, ...]
    """Readings with no further cylinder cut."""
    cuts: tuple[Measured, ...]
    """Readings with one cylinder cut."""
    remarks: tuple[Remark, ...]
    """What could not be used and why."""
    sound: bool
    """False when a reading contradicts the run it is in."""
    idle_fuel: float = 0.0
    """Fuel that makes no torque, for each cylinder in the run's unit, as it was said of the run."""


def take(runs: tuple[Run, ...], engine: Engine) -> Taken:
    """The usable readings of a run, or of a run and its repeats taken together; the first one's conditions count."""
    run = runs[0]
    baselines = [r for one in runs for r in one.baselines]
    cuts = [r for one in runs for r in one.cuts]
    remarks: list[Remark] = []
    quantity = _watched(run, baselines, cuts)
    unit = _unit(run, quantity, baselines, cuts)
    live = _live(run, engine, cuts, remarks)
    said = baselines + cuts
    start = said[0].at_utc if said else run.started_at
    steps = _steps([r for r in said if r.quantity == quantity])
    good: dict[bool, list[Measured]] = {True: [], False: []}
    sound = True
    for reading in said:
        cylinder, value = reading.cylinder, reading.value
        reason = _unusable(reading, quantity, unit, engine, live)
        if reason:
            sound = False
            remarks.append(Remark(Level.WARNING, reason, (reading.entry,)))
            continue
        step = steps[reading.entry]
        if reading.unit != unit:
            step *= step_factor(reading.unit, unit)
            value = None if value is None else convert(value, reading.unit, unit)
        # Whole seconds: how long an entry took to write is no matter of the engine.
        seconds = float(round((reading.at_utc - start).total_seconds()))
        good[cylinder is not None].append(
            Measured(0.0 if value is None else value, step, seconds, reading.entry, cylinder, reading.no_change)
        )
    method = method_of(quantity, unit)
    if method is None and said:
        remarks.append(
            Remark(
                Level.WARNING,
                f"{quantity} does not tell how cylinders pull: watch fuel per stroke, fuel rate, engine speed, load or "
                "power",
                tuple(r.entry for r in said),
            )
        )
    taken = Taken(method, quantity, unit, live, tuple(good[False]), tuple(good[True]), tuple(remarks), sound)
    return _with_idle_fuel(taken, run)


def _with_idle_fuel(taken: Taken, run: Run) -> Taken:
    """The readings with the fuel that makes no torque, where it was said of this run and can be."""
    q0 = run.start.idle_fuel
    if not q0:
        return taken
    said = f"fuel that makes no torque, {q0:g} {taken.unit}"
    values = [r.value for r in (*taken.baselines, *taken.cuts) if not r.no_change]
    enabled = len(taken.live) if taken.method == Method.FUEL_RATE else 1
    if taken.method not in (Method.FUEL, Method.FUEL_RATE):
        text = f"{said}: shares by {taken.quantity} do not use it; it is left out"
    elif q0 * enabled >= min(values, default=math.inf):
        text = f"{said} a cylinder: that is all of a reading or more; it is left out, say it again"
    else:
        text = f"the shares allow for {said} a cylinder, as was said of this run"
        return replace(taken, idle_fuel=q0, remarks=(*taken.remarks, Remark(Level.REMARK, text, (run.id,))))
    return replace(taken, remarks=(*taken.remarks, Remark(Level.WARNING, text, (run.id,))))


def method_of(quantity: Quantity, unit: str) -> Method | None:
    """The formula that goes with a quantity; a load in per cent is how a scanner shows fuel demand."""
    if quantity == Quantity.FUEL_PER_STROKE or (quantity == Quantity.LOAD and unit == "%"):
        return Method.FUEL
    if quantity == Quantity.FUEL_RATE:
        return Method.FUEL_RATE
    if quantity == Quantity.ENGINE_SPEED:
        return Method.SPEED
    return Method.BRAKE if quantity in (Quantity.LOAD, Quantity.POWER) else None


def _watched(run: Run, baselines: list[Reading], cuts: list[Reading]) -> Quantity:
    if all(r.quantity is run.start.quantity for r in (*cuts, *baselines)):
        return run.start.quantity
    counts = Counter(r.quantity for r in (*cuts, *baselines))
    if counts[run.start.quantity] == max(counts.values()):
        return run.start.quantity
    return max(counts, key=counts.__getitem__)


def _unit(run: Run, quantity: Quantity, baselines: list[Reading], cuts: list[Reading]) -> str:
    if run.start.unit and run.start.unit in UNITS[quantity]:
        return run.start.unit
    counts = Counter(r.unit for r in (*cuts, *baselines) if r.quantity == quantity)
    return max(counts, key=counts.__getitem__) if counts else UNITS[quantity][0]


def _live(run: Run, engine: Engine, cuts: list[Reading], remarks: list[Remark]) -> tuple[int, ...]:
    held = set(run.start.held_out)
    strange = sorted(held - set(engine.numbers))
    if strange:
        remarks.append(
            Remark(
                Level.WARNING,
                f"cylinder {_words(strange)} was said to be held out, but this engine has 1 to {engine.cylinders}",
                (run.id,),
            )
        )
    live = tuple(c for c in engine.numbers if c not in held)
    if run.start.run == RunKind.HALF_ENGINE and not held:
        cut = sorted({r.cylinder for r in cuts if r.cylinder is not None and r.cylinder in engine.numbers})
        remarks.append(
            Remark(
                Level.WARNING,
                "half engine, but it was not said which cylinders were held out: those with a reading are taken as the "
                "live ones; say which were held out",
                (run.id,),
            )
        )
        live = tuple(cut)
    return live


def _steps(said: list[Reading]) -> dict[str, float]:
    """The display's step behind each reading, by entry, in the unit it was said in."""
    by_unit: dict[str, list[Reading]] = {}
    for reading in said:
        if reading.value is not None:
            by_unit.setdefault(reading.unit, []).append(reading)
    steps: dict[str, float] = {}
    coarsest: dict[str, float] = {}
    for unit, readings in by_unit.items():
        inferred = display_steps([r.value for r in readings if r.value is not None])
        steps.update((r.entry, step) for r, step in zip(readings, inferred, strict=True))
        coarsest[unit] = max(inferred)
    steps.update((r.entry, coarsest.get(r.unit, 1.0)) for r in said if r.value is None)
    return steps


def _unusable(reading: Reading, quantity: Quantity, unit: str, engine: Engine, live: tuple[int, ...]) -> str | None:
    cylinder, value = reading.cylinder, reading.value
    possible = value is None or _LEAST <= value <= _MOST
    if possible and reading.quantity is quantity and reading.unit == unit and (cylinder is None or cylinder in live):
        return None
    what = "baseline" if cylinder is None else f"cylinder {cylinder} cut"
    said = "no change" if value is None else f"{value:g}"
    if cylinder is not None and cylinder not in engine.numbers:
        return f"{what}, {said}: this engine has cylinders 1 to {engine.cylinders}; the reading is left out"
    if cylinder is not None and cylinder not in live:
        return f"{what}, {said}: that cylinder was held out, so cutting it can change nothing; the reading is left out"
    if reading.quantity != quantity:
        return f"{what}, {said}: {reading.quantity} was read where the run watches {quantity}; the reading is left out"
    try:
        convert(1.0, reading.unit, unit)
    except BadInput as error:
        return f"{what}, {said} {reading.unit}: {error}; the reading is left out"
    if not possible:
        return f"{what}, {said} {reading.unit}: a running engine cannot read that; the reading is left out"
    return None


def _words(numbers: Iterable[int]) -> str:
    return " ".join(str(n) for n in numbers)
