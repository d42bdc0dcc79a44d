"""Small jobs worked out, with what came: `python -m tests.analysis.worked` writes `worked.json` anew.

What is kept is numbers and single words; of a sentence only the numbers in it, so that its wording is free. That the
numbers are right is for the published examples, the sampler and the simulated engines to say; these jobs say that
nothing moves unseen. All readings are invented.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import cycle
from pathlib import Path
from typing import Any

from journal.analysis import diagnose
from journal.analysis.between.machine import Earlier, remembered
from journal.analysis.findings_json import findings_to_json
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
from tests.causes.arrange import ENGINES, check_of

DATA = Path(__file__).with_name("worked.json")
IDLE = RunStarted(RunKind.IDLE)
HALF = RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6))
WANDER = (0.31, -0.62, 1.17, -0.24, -1.41, 0.85, 0.08, -0.93, 0.55, 1.62, -0.37, 0.12, -1.05)
"""Standard normal numbers, made up."""
UNKEPT = frozenset({"run", "entries", "entry", "job", "formula", "title", "cautions", "meaning", "tools"})


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
        "drift, one baseline": of(IDLE, *passes(EVEN, drift=-0.08, noise=0.001, last=False), seconds=40),
        "drift, three times": of(IDLE, *passes(WEAK, drift=0.05, times=3)),
        "unread ones": of(IDLE, *passes(WEAK)[:4]),
        "no baseline": of(IDLE, *[b for b in passes(WEAK) if isinstance(b, Cut)]),
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
    return {
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


def facts(name: str) -> Any:
    """What is stated about one of the jobs, without sentences and identifiers."""
    job, before = jobs()[name]
    return _facts(findings_to_json(diagnose(job, earlier=[_earlier(*one) for one in before])))


def _earlier(days: int, job: Job) -> Earlier:
    found = remembered(job, diagnose(job).runs, "ABCD")
    return replace(found, opened_at=found.opened_at - timedelta(days=days))


def _facts(value: Any) -> Any:
    if isinstance(value, dict):
        # The runs of a comparison are identifiers, those of a job its findings; what is empty is left out.
        of_ids = {key for key, each in value.items() if key == "runs" and each and isinstance(each[0], str)}
        kept = {key: _facts(each) for key, each in value.items() if key not in UNKEPT | of_ids}
        return {key: each for key, each in kept.items() if each not in (None, "", [], {}) and each is not False}
    if isinstance(value, list):
        return [_facts(each) for each in value]
    if isinstance(value, float):
        return float(f"{value:.5g}")
    if isinstance(value, str) and " " in value:
        return [float(number) for number in re.findall(r"\d+(?:\.\d+)?", value)]
    return value


def differences(kept: Any, found: Any, where: str = "") -> list[str]:
    """Where the facts differ by more than one part in 3,000, or 1e-5."""
    if isinstance(kept, dict) and isinstance(found, dict):
        lost = [f"{where}: {sorted(kept.keys() ^ found.keys())}"] if kept.keys() != found.keys() else []
        return lost + [
            d for key in kept.keys() & found.keys() for d in differences(kept[key], found[key], f"{where}.{key}")
        ]
    if isinstance(kept, list) and isinstance(found, list):
        lost = [f"{where}: {len(kept)} to {len(found)}"] if len(kept) != len(found) else []
        pairs = enumerate(zip(kept, found, strict=False))
        return lost + [d for place, (a, b) in pairs for d in differences(a, b, f"{where}[{place}]")]
    if isinstance(kept, float | int) and isinstance(found, float | int):
        same = math.isclose(kept, found, rel_tol=3e-4, abs_tol=1e-5)
    else:
        same = kept == found
    return [] if same else [f"{where}: {kept!r} to {found!r}"]


if __name__ == "__main__":
    text = json.dumps({name: facts(name) for name in jobs()}, separators=(",", ":"))
    DATA.write_text(text.replace('},"', '},\n"') + "\n", encoding="utf-8")
