"""A run and what was found of it in, its table for the write-up out: baseline, cut, rise, share and standing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from journal.analysis.findings import Contribution, RunFinding
from journal.analysis.run.readings import Measured, Method, Taken, take
from journal.analysis.words import capital, cylinders_in_words
from journal.facts import Engine
from journal.facts.quantities import PRINTED_UNITS
from journal.output.words import amount
from journal.record.job import Reading, Run

NOTHING = "-"
"""What stands in a cell that there is nothing for."""

_FALLS = (Method.SPEED, Method.BRAKE)
"""What is watched that falls where the cylinder that was cut had pulled (the Morse test)."""


def printed(unit: str) -> str:
    """A unit as it is printed."""
    return PRINTED_UNITS.get(unit, unit)


def run_lines(run: Run, engine: Engine) -> tuple[str, ...]:
    """What was watched and in which unit, the conditions that were read, and the baseline with its later readings."""
    taken = take((run,), engine)
    lines = [f"Readings: {taken.quantity}, {printed(taken.unit)}."]
    conditions: dict[str, list[str]] = {}
    for reading in run.conditions:
        conditions.setdefault(str(reading.quantity), []).append(_with_unit(reading))
    said = "; ".join(f"{quantity} {', then '.join(values)}" for quantity, values in conditions.items())
    lines.append(f"Conditions: {said}." if said else "Conditions: no speed, pressure or temperature was noted.")
    if len(run.baselines) > 1:
        lines.append(f"Baseline, in the order read: {', '.join(_with_unit(r) for r in run.baselines)}.")
    if not run.cuts and run.baselines:
        lines.append(f"Baseline {_with_unit(run.baselines[0])}; no cylinder was cut.")
    held = run.start.held_out
    if held:
        lines.append(f"{capital(cylinders_in_words(held))} held out throughout.")
    return tuple(lines)


def run_table(
    run: Run, finding: RunFinding | None, engine: Engine
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    """Head and rows of a run's table, a row for each cylinder that was not held out; no rows before one was cut.

    A cylinder that was cut more than once has its readings in one row, in the order read. The rise is against the last
    baseline read before it, else the first after it; for speed, load or power it is a fall.
    """
    taken = take((run,), engine)
    unit = printed(taken.unit)
    change = "Fall" if taken.method in _FALLS else "Rise"
    head = ("Cylinder", f"Baseline, {unit}", f"Cut, {unit}", f"{change}, {unit}", "Share of work", "95 % interval",
            "Standing")  # fmt: skip
    shares = {c.cylinder: c for c in finding.contributions} if finding is not None else {}
    usable = {m.entry: m for m in (*taken.baselines, *taken.cuts)}
    cuts: dict[int, list[Reading]] = {}
    for reading in run.cuts:
        if reading.cylinder is not None:
            cuts.setdefault(reading.cylinder, []).append(reading)
    if not cuts:
        return head, ()
    numbers = sorted({*cuts, *(n for n in engine.numbers if n in taken.live)})
    return head, tuple(
        (str(n), *_readings(run, cuts.get(n, ()), taken, usable), *_found(shares.get(n))) for n in numbers
    )


def _readings(run: Run, cuts: Sequence[Reading], taken: Taken, usable: Mapping[str, Measured]) -> tuple[str, str, str]:
    """Baseline, cut and rise of one cylinder, each reading after the other."""
    if not cuts:
        return NOTHING, "not read", NOTHING
    baselines, values, rises = [], [], []
    for cut in cuts:
        measured, base = usable.get(cut.entry), _baseline(run, cut, usable)
        baselines.append(NOTHING if base is None else _number(base.value))
        if measured is None:
            values.append(f"{'no change' if cut.value is None else _with_unit(cut)} (left out)")
            rises.append(NOTHING)
        elif measured.no_change:
            values.append("no change")
            rises.append("0")
        else:
            values.append(_number(measured.value))
            sign = -1 if taken.method in _FALLS else 1
            rises.append(NOTHING if base is None else _difference(measured.value, base.value, sign))
    return "; ".join(dict.fromkeys(baselines)), "; ".join(values), "; ".join(rises)


def _baseline(run: Run, cut: Reading, usable: Mapping[str, Measured]) -> Measured | None:
    read = [(r.at_utc, usable[r.entry]) for r in run.baselines if r.entry in usable]
    before = [measured for at, measured in read if at <= cut.at_utc]
    return before[-1] if before else read[0][1] if read else None


def _found(share: Contribution | None) -> tuple[str, str, str]:
    """Share, its interval and the standing."""
    if share is None:
        return NOTHING, NOTHING, NOTHING
    interval = f"{100 * share.low:.0f} to {100 * share.high:.0f} %"
    return f"{100 * share.share:.1f} %", interval, str(share.standing)


def _with_unit(reading: Reading) -> str:
    return "no change" if reading.value is None else amount(reading.value, printed(reading.unit))


def _difference(value: float, base: float, sign: int) -> str:
    """What lies between two readings, with as many decimals as the finer of them was read with."""
    decimals = max(len(_number(each).partition(".")[2]) for each in (value, base))
    return f"{sign * (value - base):.{decimals}f}".replace("-", "\N{MINUS SIGN}")


def _number(value: float) -> str:
    """A number with every digit that was said; what a conversion or a difference adds in binary is no digit."""
    return amount(round(value, 6)).replace("-", "\N{MINUS SIGN}")
