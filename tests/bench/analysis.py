"""The cut-out analysis on simulated engines with the truth known, and how long it takes on a long job."""

from __future__ import annotations

import statistics
import time
from datetime import timedelta

from journal.analysis import diagnose
from journal.facts import (
    Baseline,
    Body,
    Condition,
    Cut,
    Engine,
    Entry,
    JobOpened,
    Quantity,
    RunKind,
    RunStarted,
    new_id,
)
from journal.record.replay import replay
from tests.analysis.arrange import START
from tests.analysis.misheard import Misheard, misheard_study
from tests.analysis.study import BANDS, KINDS, SIZES, Study, study
from tests.bench.table import Row

RUNS = 20_000
LOW = ("dead", "weak")


def run() -> list[Row]:
    """Every row of the room's table."""
    return [*_study_rows(), *_misheard_rows(), *_timing_rows()]


def _study_rows() -> list[Row]:
    found = study(-(-RUNS // len(SIZES)))
    once = study(300, seed=2, passes=1)
    for kind in KINDS:
        for band in (*BANDS, "half low"):
            print(f"{kind} {band}: {found.ours.of.get(f'{kind} {band}', {})}")
    rows = [
        *_found(found, "clear", "rise at least five times a reading's 95 % uncertainty"),
        *_found(found, "fair", "rise five to ten times a reading's standard uncertainty"),
        *_found(found, "coarse", "rise under five times a reading's standard uncertainty"),
    ]
    healthy = [f"healthy {band}" for band in BANDS]
    faulty = [f"{kind} {band}" for kind in ("dead", "to 60 %") for band in BANDS]
    rule = "rule of thumb: rise under half the average rise"
    rows += [
        _row("healthy cylinders called low", found.ours.share(healthy, *LOW), found.rule.share(healthy, "low"), rule),
        _row(
            "dead or to 60 % called even", found.ours.share(faulty, "even"), found.rule.share(faulty, "not low"), rule
        ),
        _row("share inside its 95 % interval", 100 * found.covered / found.cylinders),
        _row("runs whose sum is called wrong", 100 * found.distrusted / found.runs),
        _row("single pass: dead or to 60 % called even", once.ours.share(faulty, "even")),
        _row("single pass: healthy cylinders called low", once.ours.share(healthy, *LOW)),
        _row("single pass: share inside its 95 % interval", 100 * once.covered / once.cylinders),
    ]
    unclear = sum(row.get("unclear", 0) for group, row in found.ours.of.items() if "half low" not in group)
    rows.append(
        _row("unclear ones told what would settle it", 100 * found.settled_by / max(unclear, 1), note=f"{unclear}")
    )
    return rows


def _found(found: Study, band: str, note: str) -> list[Row]:
    dead, weak, healthy = ([f"{kind} {band}"] for kind in ("dead", "to 60 %", "healthy"))
    rule = "rule of thumb"
    return [
        _row(f"{band}: dead found", found.ours.share(dead, *LOW), found.rule.share(dead, "low"), rule, note),
        _row(f"{band}: dead called dead", found.ours.share(dead, "dead"), note=f"{found.ours.all(dead[0])} dead"),
        _row(f"{band}: to 60 % found", found.ours.share(weak, *LOW), found.rule.share(weak, "low"), rule, note),
        _row(f"{band}: dead or to 60 % called even", found.ours.share(dead + weak, "even")),
        _row(f"{band}: dead or to 60 % called unclear", found.ours.share(dead + weak, "unclear")),
        _row(f"{band}: healthy called low", found.ours.share(healthy, *LOW), found.rule.share(healthy, "low"), rule),
        _row(f"{band}: healthy called unclear", found.ours.share(healthy, "unclear")),
    ]


def _row(what: str, measured: float, baseline: float | None = None, against: str = "", note: str = "") -> Row:
    return Row("analysis", what, measured, "%", baseline, against, note)


def _misheard_rows() -> list[Row]:
    large, small = misheard_study(700)
    rows = []
    for name, found in (("a tenth or more off", large), ("under a tenth off", small)):
        note = f"{found.planted} runs of one pass"
        rows += [
            _row(f"misheard, {name}: noticed", _per(found, found.noticed), note=note),
            _row(f"misheard, {name}: right reading named first", _per(found, found.named)),
            _row(f"misheard, {name}: and the right number", _per(found, found.right)),
        ]
    rows.append(
        _row("nothing misheard: false alarms", 100 * large.false_alarms / large.clean, note=f"{large.clean} runs")
    )
    return rows


def _per(found: Misheard, count: int) -> float:
    return 100 * count / max(found.planted, 1)


def long_job(entries: int) -> list[Entry]:
    """Entries of a job on a sixteen-cylinder engine with twelve runs."""
    bodies: list[Body] = [JobOpened("ship's generator", Engine(16, tuple(range(1, 17))))]
    each = (entries - 1) // 12
    for number in range(12):
        held = () if number % 3 else tuple(range(9, 17))
        kind = RunKind.HALF_ENGINE if held else RunKind.IDLE
        live = [c for c in range(1, 17) if c not in held]
        bodies.append(RunStarted(kind, held_out=held))
        level = 60.0 if held else 30.0
        good = level * len(live) / (len(live) - 1)
        for k in range(each - 1):
            cylinder = live[k % len(live)]
            if k % (len(live) + 1) == 0:
                bodies.append(Baseline(level))
            elif k % 40 == 39:
                bodies.append(Condition(Quantity.ENGINE_SPEED, 700.0))
            else:
                bodies.append(Cut(cylinder, level if cylinder == 3 else round(good + 0.1 * (k % 3), 1)))
    bodies += [Condition(Quantity.ENGINE_SPEED, 700.0)] * (entries - len(bodies))
    moments = [START + timedelta(seconds=12 * k) for k in range(len(bodies))]
    return [Entry(new_id(at), "job", at, body) for at, body in zip(moments, bodies, strict=True)]


def _timing_rows() -> list[Row]:
    times = {count: _median_ms(long_job(count)) for count in (500, 1000, 2000)}
    return [
        Row("analysis", "replay and diagnose, 16 cylinders, 12 runs, 1,000 entries, median", times[1000], "ms",
            note="causes included"),
        Row("analysis", "the same, per entry, at 1,000", times[1000] / 1.0, "us", times[500] / 0.5, "per entry at 500"),
        Row("analysis", "the same, per entry, at 2,000", times[2000] / 2.0, "us", times[500] / 0.5, "per entry at 500"),
    ]  # fmt: skip


def _median_ms(entries: list[Entry], repeats: int = 15) -> float:
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        diagnose(replay(entries))
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times[2:])
