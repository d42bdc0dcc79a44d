"""Small jobs of every kind, with those before them on the same machine; all readings are invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import cycle
from typing import Any

from journal.facts import (
    Baseline,
    Body,
    Check,
    Condition,
    Cut,
    Engine,
    JobClosed,
    PressureLevel,
    Quantity,
    RepairDone,
    RunKind,
    RunStarted,
    Subject,
)
from journal.record.job import Job
from tests.analysis.arrange import SIX, job_of, readings
from tests.causes.arrange import ENGINES, check_of, run_of

IDLE = RunStarted(RunKind.IDLE)
HALF = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))
WANDER = (0.31, -0.62, 1.17, -0.24, -1.41, 0.85, 0.08, -0.93, 0.55, 1.62, -0.37, 0.12, -1.05)
"""Standard normal numbers, made up."""


def passes(
    strengths: Sequence[float], baseline: float = 30.0, *, times: int = 1, noise: float = 0.004, step: float = 0.1,
    idle: float = 0.0, drift: float = 0.0, live: Sequence[int] = (), last: bool = True,
) -> list[Body]:  # fmt: skip
    """Readings of an engine of these strengths, gone through so often: c = q0 + (b - q0)/(1 - share)."""
    numbers = list(live or range(1, len(strengths) + 1))
    wander, said = cycle(WANDER), []
    count = times * (len(numbers) + 1) + last

    def shown(value: float) -> float:
        moved = value * (1 + drift * len(said) / count) * (1 + noise * next(wander))
        return round(round(moved / step) * step, 3)

    for _ in range(times):
        said.append(Baseline(shown(baseline)))
        for cylinder, strength in zip(numbers, strengths, strict=True):
            said.append(Cut(cylinder, shown(idle + (baseline - idle) / (1 - strength / sum(strengths)))))
    return [*said, Baseline(shown(baseline))] if last else said


def of(start: RunStarted, *bodies: Body, engine: Engine = SIX, seconds: float = 15.0) -> Job:
    """A job of one run or more."""
    return job_of(engine, start, *bodies, seconds=seconds)


EVEN, WEAK, DEAD = [1.02, 0.97, 1.0, 1.04, 0.96, 1.01], [1.0, 1.03, 0.5, 0.98, 1.0, 1.02], [1, 1, 0, 1, 1, 1]
EIGHT = [1.0, 0.98, 1.03, 0.55, 1.0, 0.0, 1.01, 0.99]
SPEED = RunStarted(RunKind.IDLE, Quantity.ENGINE_SPEED, "rpm")
LOAD = RunStarted(RunKind.IDLE, Quantity.LOAD, "N")
RATE = RunStarted(RunKind.IDLE, Quantity.FUEL_RATE, "L/h")
ONE_EIGHT = Engine(8, (1, 8, 4, 3, 6, 5, 7, 2))
VEE = ENGINES["vee-eight"]


def warm(celsius: float) -> Condition:
    """Coolant at so many degrees."""
    return Condition(Quantity.COOLANT_TEMPERATURE, celsius, "degC")


def at(rpm: float) -> Condition:
    """The speed as it was read."""
    return Condition(Quantity.ENGINE_SPEED, rpm, "rpm")


def set_to(mpa: float) -> RunStarted:
    """A run with injection pressure set by hand."""
    return RunStarted(RunKind.IDLE, pressure_value=mpa)


def swapped(one: int, other: int) -> Check:
    """Their injectors changed places."""
    return Check(Subject.INJECTOR_SWAP, "swapped", one, other_cylinder=other)


def misread(bodies: Sequence[Body], cylinder: int | None, value: float) -> list[Body]:
    """The first reading of a cylinder, or the first baseline, entered as another number."""
    out = list(bodies)
    for place, body in enumerate(out):
        if isinstance(body, Baseline) and cylinder is None:
            out[place] = replace(body, value=value)
            break
        if isinstance(body, Cut) and body.cylinder == cylinder:
            out[place] = replace(body, value=value)
            break
    return out


def jobs() -> dict[str, tuple[Job, tuple[tuple[int, Job], ...]]]:
    """Every job by name, with those before it on its machine and how many days before."""
    return {name: (job, ()) for name, job in {**_runs(), **_doubtful(), **_compared(), **_checked()}.items()} | _again()


def _runs() -> dict[str, Job]:
    four = [1.0, 0.45, 0.96, 1.03]
    return {
        "even, once": of(IDLE, *passes(EVEN)),
        "even, three times": of(IDLE, *passes(EVEN, times=3)),
        "weak, once, one baseline": of(IDLE, *passes(WEAK, last=False)),
        "weak, twice, noisy": of(IDLE, *passes(WEAK, times=2, noise=0.015)),
        "weak, whole steps": of(IDLE, *passes(WEAK, 22.0, step=1.0)),
        "weak, whole steps, three times": of(IDLE, *passes(WEAK, 22.0, step=1.0, times=3)),
        "weak, half steps": of(IDLE, *passes(WEAK, 22.0, step=0.5, times=2)),
        "dead": of(IDLE, *passes(DEAD)),
        "nearly dead, whole steps": of(IDLE, *passes([1, 1, 0.2, 1, 1, 1], 16.0, step=1.0, times=2)),
        "dead and weak of eight": of(IDLE, *passes(EIGHT, times=2), engine=ONE_EIGHT),
        "strong": of(IDLE, *passes([1, 1, 1.5, 1, 1, 1], times=2)),
        "four, a weak one": of(IDLE, *passes(four, 40.0), engine=Engine(4, (1, 3, 4, 2))),
        "sixteen on whole steps": of(IDLE, *passes([*EIGHT, *EIGHT[::-1]], 60.0, step=1.0), engine=Engine(16)),
        "idle fuel, found": of(IDLE, *passes(EVEN, idle=6.0, times=3)),
        "idle fuel, said": of(replace(IDLE, idle_fuel=6.0), *passes(WEAK, idle=6.0)),
        "nearly all is idle fuel": of(replace(IDLE, idle_fuel=29.8), *readings(30, dict.fromkeys(range(1, 7), 31))),
        "drift, one baseline": of(IDLE, *passes(EVEN, drift=-0.08, noise=0.001, last=False), seconds=40),
        "drift, three times": of(IDLE, *passes(WEAK, drift=0.05, times=3)),
        "unread ones": of(IDLE, *passes(WEAK)[:4]),
        "no baseline": of(IDLE, *[b for b in passes(WEAK) if isinstance(b, Cut)]),
        "cuts before the baseline": of(IDLE, *passes(WEAK, drift=0.04)[1:3], *passes(WEAK, drift=0.04), seconds=30),
        "no change in words": of(IDLE, Baseline(30.0), Cut(3, no_change=True), *passes(DEAD)[1:3], Cut(4, 37.4)),
        "half engine": of(HALF, *passes([1.0, 0.6, 1.0], 60.0, live=(1, 2, 3))),
        "total rate": of(RATE, *[replace(b, value=round((5 if isinstance(b, Cut) else 6) * (b.value or 0) / 10, 1))
                                 for b in passes(WEAK)]),
        "speed drop": of(SPEED, *readings(700, {1: 655, 2: 652, 3: 690, 4: 656, 5: 653, 6: 654}), Baseline(699)),
        "brake load": of(LOAD, *readings(155, {1: 111, 2: 106.5, 3: 104.2, 4: 111}), engine=Engine(4)),
        "half low": of(IDLE, *passes([1.0, 0.4, 0.45, 1.0], 30.0), engine=Engine(4)),
        "old and far": of(IDLE, *passes(EVEN, last=False), seconds=200),
        "overnight": of(IDLE, *passes(EVEN, last=False), seconds=1500),
        "warming": of(IDLE, warm(20), *passes(EVEN, last=False), warm(45)),
        "speed not held": of(IDLE, at(700), *passes(EVEN), at(640)),
    }  # fmt: skip


def _doubtful() -> dict[str, Job]:
    eight_half = RunStarted(RunKind.HALF_ENGINE, held_out=(5, 6, 7, 8))
    limited = readings(60.0, {1: 75.1, 2: 75.0, 3: 60.2, 4: 75.1})
    rate = RunStarted(RunKind.HALF_ENGINE, Quantity.FUEL_RATE, "L/h", held_out=(5, 6, 7, 8))
    in_rates = readings(60.0, {c: 0.75 * v for c, v in ((1, 75.1), (2, 75.0), (3, 60.2), (4, 75.1))})
    return {
        "a limit, total rate": of(rate, *in_rates, engine=Engine(8)),
        "cuts alike at idle": of(IDLE, *passes([1, 1, 0, 1, 1, 1], noise=0.0001), at(700), at(640)),
        "two strays": of(IDLE, *misread(misread(passes(EVEN, times=3), 5, 63.0), 2, 21.0)),
        "strays on whole steps": of(IDLE, *misread(passes(EVEN, 22.0, times=3, step=1.0), 5, 29.0)),
        "baseline a little off": of(IDLE, *misread(passes(EVEN), None, 31.3)),
        "misheard drop": of(SPEED, *readings(700, {1: 655, 2: 652, 3: 515, 4: 656, 5: 653, 6: 654})),
        "misheard, idle fuel said": of(replace(IDLE, idle_fuel=6.0), *misread(passes(EVEN, idle=6.0), 4, 53.4)),
        "misheard of eight": of(IDLE, *misread(passes(EIGHT), 3, 43.5), engine=ONE_EIGHT),
        "misheard cut": of(IDLE, *misread(passes(EVEN), 2, 53.2)),
        "misheard baseline": of(IDLE, *misread(passes(EVEN, last=False), None, 13.0)),
        "a slip": of(IDLE, *misread(passes(EVEN), 4, 39.4)),
        "a slip that sounds like nothing": of(IDLE, *misread(passes(EVEN, 200.0), 4, 270.0)),
        "a stray of three": of(IDLE, *misread(passes(EVEN, times=3), 5, 63.0)),
        "two that contradict": of(IDLE, *passes(EVEN), Cut(2, 31.0)),
        "a stray baseline": of(IDLE, *misread(passes(EVEN, times=2), None, 50.0)),
        "sum far off": of(IDLE, *readings(30.0, dict.fromkeys(range(1, 7), 37.5))),
        "sum short": of(IDLE, *readings(34.0, dict.fromkeys(range(1, 7), 36.0))),
        "a limit": of(eight_half, *limited, engine=Engine(8)),
        "a limit, speed fell": of(eight_half, *limited, at(1100), at(980), engine=Engine(8)),
        "left out": of(IDLE, *passes(EVEN), Cut(9, 36.0), Cut(2, 36.0, quantity=Quantity.LOAD, unit="N"), Cut(3, 4e7)),
    }


def _compared() -> dict[str, Job]:
    high = replace(IDLE, pressure=PressureLevel.HIGH)
    after = replace(IDLE, after_repair=True)
    sweep = [(8, 0.4), (12, 0.62), (16, 0.83), (20, 0.98)]
    at_pressures = [b for mpa, third in sweep for b in (set_to(mpa), *passes([1, 1.02, third, 0.97, 1, 1], times=2))]
    ours = replace(IDLE, repeat=True)
    moved = [1.0, 1.0, 1.0, 1.02, 0.5, 0.98]
    two = [1.0, 1.0, 0.4, 1.0, 0.45, 1.0, 0.99, 1.01]
    return {
        "sweep": job_of(SIX, *at_pressures),
        "low and high pressure": job_of(SIX, IDLE, *passes(WEAK, times=2), high, *passes(EVEN, times=2)),
        "mended": job_of(SIX, IDLE, *passes(WEAK), RepairDone("x"), after, *passes(EVEN)),
        "not mended": job_of(SIX, IDLE, *passes(WEAK), RepairDone("x"), after, *passes(WEAK, noise=0.002)),
        "another one now": job_of(SIX, IDLE, *passes(WEAK), RepairDone("x"), after, *passes(moved)),
        "in doubt after": job_of(SIX, IDLE, *passes(WEAK), RepairDone("x"), after, *passes(
            [1, 1, 0.8, 1, 1, 1], 22.0, step=1.0)),
        "idle against half": job_of(SIX, IDLE, *passes(EVEN), HALF, *passes([1.0, 0.5, 1.0], 60.0, live=(1, 2, 3))),
        "repeated, the same": job_of(SIX, IDLE, *passes(WEAK), ours, *passes(WEAK, 31.0)),
        "repeated, another": job_of(SIX, IDLE, *passes(WEAK, times=2), ours, *passes(EVEN, times=2)),
        "swapped": job_of(SIX, IDLE, *passes(WEAK), swapped(3, 5), IDLE, *passes(moved)),
        "two in common": job_of(VEE, IDLE, *passes(two)),
    }  # fmt: skip


def _checked() -> dict[str, Job]:
    rail = ENGINES["common rail six"]

    def checked(strengths: Sequence[float], *said: str, engine: Engine = rail, **how: Any) -> Job:
        return job_of(engine, IDLE, *passes(strengths, **how), *map(check_of, said))

    return {
        "weak, nothing checked": checked(WEAK),
        "weak, blow-by heavy": checked(WEAK, "blow-by heavy", "air test leaks 3 crankcase"),
        "dead, wiring rubbed": checked(DEAD, "wiring faulty 3", "code 653 5"),
        "dead, all sound": checked(DEAD, "blow-by light", "overhead sound 3", "wiring sound 3", "air test holds 3"),
        "two low on a branch": checked([1, 1, 0, 1, 0.1, 1, 1, 1], "wiring sound 3", engine=VEE),
        "none low, smoke": checked(EVEN, "smoke white", "fuel supply low"),
        "measured beside others": checked(
            WEAK,
            "injector resistance measured 1 0.42 ohm",
            "injector resistance measured 2 0.4 ohm",
            "injector resistance measured 3 0.3 ohm",
            "port temperature measured 1 210 degC",
            "port temperature measured 2 205 degC",
            "port temperature measured 3 150 degC",
            "leak-down measured 3 20 %",
            "compression measured 1 2400 kPa",
            "compression measured 2 2350 kPa",
            "compression measured 3 2000 kPa",
        ),
        "leak-down by itself": checked(WEAK, "leak-down measured 3 35 %"),
        "said twice": checked(WEAK, "overhead sound 3", "overhead damaged 3", "blow-by light", "blow-by heavy"),
        "said of all, two low": checked([1, 1, 0, 1, 0.1, 1, 1, 1], "wiring sound", "connector faulty", engine=VEE),
        "codes": checked(DEAD, "code 653 6", "code 94 1", "code 164 18", "code 653 3"),
        "low until pressure is raised": job_of(
            rail, *run_of(rail, (0.3, 1, 0.4, 0.3, 1, 0.4), pressure="low"), *run_of(rail, EVEN, pressure="high")
        ),
        "low until pressure is raised, in numbers": job_of(
            rail, set_to(8), *passes([0.3, 1, 0.4, 0.3, 1, 0.4]), set_to(16), *passes(EVEN)
        ),
        "moved, with checks from before": job_of(
            SIX,
            IDLE,
            *passes(DEAD),
            check_of("blow-by light"),
            check_of("overhead sound 3"),
            check_of("wiring sound 3"),
            swapped(3, 5),
            IDLE,
            *passes([1, 1, 1, 1, 0, 1]),
            check_of("air test holds 5"),
        ),
        "stayed": job_of(SIX, IDLE, *passes(DEAD), swapped(3, 5), IDLE, *passes(DEAD, noise=0.002)),
        "gone": job_of(SIX, IDLE, *passes(WEAK), swapped(3, 5), IDLE, *passes(EVEN)),
        "for and against": checked(WEAK, "oil diluted", "smoke white", "relative compression even 3"),
    }


def _again() -> dict[str, tuple[Job, tuple[tuple[int, Job], ...]]]:
    idle = (90, of(IDLE, *passes(EVEN, idle=5.0, times=3)))
    course = [(300 - 100 * k, [1, 1, part, 1, 1, 1]) for k, part in enumerate((1, 0.93, 0.86))]
    speeds = {1: 655, 2: 652, 3: 650, 4: 656, 5: 653, 6: 654}
    return {
        "seen before": (of(IDLE, *passes(EVEN, idle=5.0)), (idle,)),
        "seen before, else": (
            of(IDLE, *passes(WEAK, noise=0.012)),
            (idle, (40, of(IDLE, *passes(WEAK), JobClosed("injector", 3)))),
        ),
        "declines": (
            of(IDLE, *passes([1, 1, 0.79, 1, 1, 1], times=3)),
            tuple((days, of(IDLE, *passes(then, times=3))) for days, then in course),
        ),
        "speed, seen before": (
            of(SPEED, *readings(700, dict.fromkeys(range(1, 7), 655))),
            ((20, of(SPEED, *readings(700, speeds))),),
        ),
    }
