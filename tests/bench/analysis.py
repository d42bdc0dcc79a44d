"""The cut-out analysis on simulated engines with the truth known, and how long it takes on a long job."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from itertools import pairwise

from journal.analysis import diagnose
from journal.analysis.run.find import find_run
from journal.analysis.settings import default_settings
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
from tests.analysis.coverage import Cell, Covered, cells, cover
from tests.analysis.limits import limit_study
from tests.analysis.misheard import Misheard, misheard_study
from tests.analysis.study import BANDS, KINDS, SIZES, Study, coarse_study, settling_study, study
from tests.bench._bands import LOW, table
from tests.bench.table import Row

RUNS = 1_400
ENGINES = 12
"""Of each size, in each cell of the coverage."""


def run() -> list[Row]:
    """Every row of the room's table; the README's rows are printed as they stand there."""
    return [
        *_study_rows(), *_coverage_rows(), *_misheard_rows(), *_limit_rows(), *_timing_rows(),
    ]  # fmt: skip


def _study_rows() -> list[Row]:
    found = study(RUNS // len(SIZES))
    once = study(RUNS // len(SIZES), seed=2, passes=1)
    _print_counts("three passes", found)
    _print_counts("one pass", once)
    coarse = {passes: coarse_study(200, passes=passes) for passes in (3, 1)}
    _print("README, bands", table(found, once, coarse[3], coarse[1]))
    rows = [
        Row("analysis", "runs of three passes", found.runs, "runs", note=f"{found.cylinders} cylinders"),
        *_found(found, ("clear",), "clear", "rise at least five times a reading's 95 % uncertainty"),
        *_found(found, ("fair",), "fair", "rise five to ten times a reading's standard uncertainty"),
        *_found(found, ("coarse",), "coarse", "rise under five times a reading's standard uncertainty"),
        *_found(found, BANDS, "all bands", "clear, fair and coarse together; half of the displays have whole steps"),
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
    rows += _against_the_rule(found, faulty, healthy)
    unclear = sum(row.get("unclear", 0) for group, row in found.ours.of.items() if "half low" not in group)
    settling = settling_study(100)
    rows += [
        _row("unclear ones told what would settle it", 100 * found.settled_by / max(unclear, 1), note=f"{unclear}"),
        _row(
            "unclear after one pass, settled by as many readings as said",
            100 * settling.settled / max(settling.told, 1),
            note=f"{settling.told} told, {settling.wrong} settled wrongly",
        ),
    ]
    return [*rows, *_coarse_rows(coarse)]


def _against_the_rule(found: Study, faulty: list[str], healthy: list[str]) -> list[Row]:
    """How many cylinders the rule of thumb misses and accuses; what is unclear is neither."""

    def count(groups: list[str], *called: str) -> float:
        return sum(found.ours.of.get(g, {}).get(c, 0) for g in groups for c in called)

    def by_rule(groups: list[str], called: str) -> float:
        return sum(found.rule.of.get(g, {}).get(called, 0) for g in groups)

    rows = []
    for bands, name in ((("clear",), "clear"), (BANDS, "all bands")):
        low = [g for g in faulty if g.endswith(bands)]
        good = [g for g in healthy if g.endswith(bands)]
        for what, ours, rule, groups in (
            ("dead or to 60 % missed", count(low, "even", "strong"), by_rule(low, "not low"), low),
            ("healthy accused", count(good, *LOW), by_rule(good, "low"), good),
        ):
            note = f"of {sum(map(found.ours.all, groups))}; {count(groups, 'unclear'):.0f} left unclear"
            rows.append(Row("analysis", f"{name}: {what}", ours, "cylinders", rule, "rule of thumb", note=note))
    return rows


def _print_counts(name: str, found: Study) -> None:
    for kind in KINDS:
        for band in (*BANDS, "half low"):
            row = found.ours.of.get(f"{kind} {band}", {})
            print(
                f"{name}, {kind} {band}: {dict(sorted(row.items()))}; rule of thumb: "
                f"{dict(sorted(found.rule.of.get(f'{kind} {band}', {}).items()))}"
            )


def _print(title: str, text: Sequence[str]) -> None:
    print("\n".join(("", f"{title}:", *text, "")))


def _coarse_rows(studies: Mapping[int, Study]) -> list[Row]:
    """Whole steps, little fuel, 8 to 16 cylinders, one or two faults of 30 to 60 %: where even must not be said."""
    rows = []
    for passes, found in studies.items():
        weak, healthy = ([f"{kind} {band}" for band in BANDS] for kind in ("to 60 %", "healthy"))
        name, note = f"too coarse, {passes} passes", f"{sum(map(found.ours.all, weak))} faulty"
        rows += [
            _row(f"{name}: to 60 % called even or strong", found.ours.share(weak, "even", "strong"), note=note),
            _row(f"{name}: to 60 % found", found.ours.share(weak, *LOW)),
            _row(f"{name}: to 60 % called unclear", found.ours.share(weak, "unclear")),
            _row(f"{name}: healthy called low", found.ours.share(healthy, *LOW)),
            _row(f"{name}: share inside its 95 % interval", 100 * found.covered / found.cylinders),
        ]
    return rows


def _coverage_rows() -> list[Row]:
    """95 % intervals where one thing of the engine or of its reading is changed at a time."""
    found = {cell: cover(cell, ENGINES, 1) for cell in cells()}
    for cell, covered in found.items():
        print(
            f"{cell.name}: {covered.share:.1f} % inside, mean width {100 * covered.width / covered.cylinders:.1f} % of "
            f"an even share; {covered.found} of {covered.low} of 60 % or less found, {covered.missed} called even; "
            f"{covered.accused} of {covered.healthy} healthy called low; {covered.distrusted} of {covered.runs} runs "
            "not trusted"
        )
    groups: dict[str, list[Covered]] = {}
    for cell, covered in found.items():
        for name in cell.name.split(", "):
            groups.setdefault(name, []).append(covered)
    rows = []
    for name, cells_ in groups.items():
        inside = 100 * sum(c.inside for c in cells_) / sum(c.cylinders for c in cells_)
        note = f"{len(cells_)} cells, the least {min(c.share for c in cells_):.1f}"
        rows.append(_row(f"inside the 95 % interval, {name}", inside, note=note))
    plain = [covered for cell, covered in found.items() if cell.idle == 0 and cell.power == 1]
    rest = [covered for cell, covered in found.items() if cell.idle or cell.power != 1]
    _print("README, intervals and runs that are not trusted", _readme_coverage(found, plain, rest))
    rows += [
        _row("nothing but noise and drift: runs not trusted", 100 * _part(plain, "distrusted", "runs")),
        _row("coverage cells: healthy called low", 100 * _part(list(found.values()), "accused", "healthy")),
        _row("coverage cells: to 60 % found", 100 * _part(list(found.values()), "found", "low")),
    ]
    return rows


def _readme_coverage(found: Mapping[Cell, Covered], plain: Sequence[Covered], rest: Sequence[Covered]) -> list[str]:
    every = list(found.values())
    least = min(found, key=lambda cell: found[cell].share)
    worst = max(found, key=lambda cell: found[cell].accused / found[cell].healthy)
    some, of = found[worst].accused, found[worst].healthy
    text = [
        f"| true shares inside their 95 % interval, over {len(every)} ways for an engine to run and be read (passes, "
        "display, noise, drift, hunting, fuel that makes no torque, fuel to a power) | "
        f"{100 * _part(every, 'inside', 'cylinders'):.1f} % | the least: {found[least].share:.0f} %, {least.name} |",
        f"| healthy cylinders called low, over the same | {_of(every, 'accused', 'healthy')} | the most: {some} of "
        f"{of}, {worst.name} |",
        f"| runs with nothing but noise and drift called not to be trusted | {_of(plain, 'distrusted', 'runs')} | with "
        f"fuel that makes no torque or to a power: {_of(rest, 'distrusted', 'runs')} |",
    ]
    return [line.replace("1 passes", "one pass") for line in text]


def _of(cells_: Sequence[Covered], some: str, of: str) -> str:
    return f"{sum(getattr(c, some) for c in cells_):,} of {sum(getattr(c, of) for c in cells_):,}"


def _part(cells_: Sequence[Covered], some: str, of: str) -> float:
    return sum(getattr(c, some) for c in cells_) / max(sum(getattr(c, of) for c in cells_), 1)


def _limit_rows() -> list[Row]:
    rows = []
    for speeds in (False, True):
        limited, free = limit_study(200, seed=3, speeds=speeds)
        said = "with the speed said" if speeds else "fuel alone"
        named = (100 * found.named / max(found.short, 1) for found in (limited, free))
        note = f"{limited.short} and {free.short} runs whose sum is short"
        rows.append(_row(f"governor at its limit named, {said}", *named, "no limit, baseline too high", note))
    return rows


def _found(found: Study, bands: Sequence[str], band: str, note: str) -> list[Row]:
    dead, weak, healthy = ([f"{kind} {each}" for each in bands] for kind in ("dead", "to 60 %", "healthy"))
    rule = "rule of thumb"
    return [
        _row(f"{band}: dead found", found.ours.share(dead, *LOW), found.rule.share(dead, "low"), rule, note),
        _row(
            f"{band}: dead called dead", found.ours.share(dead, "dead"), note=f"{sum(map(found.ours.all, dead))} dead"
        ),
        _row(f"{band}: to 60 % found", found.ours.share(weak, *LOW), found.rule.share(weak, "low"), rule, note),
        _row(f"{band}: dead or to 60 % called even", found.ours.share(dead + weak, "even")),
        _row(f"{band}: dead or to 60 % called unclear", found.ours.share(dead + weak, "unclear")),
        _row(f"{band}: healthy called low", found.ours.share(healthy, *LOW), found.rule.share(healthy, "low"), rule),
        _row(f"{band}: healthy called unclear", found.ours.share(healthy, "unclear")),
    ]


def _row(what: str, measured: float, baseline: float | None = None, against: str = "", note: str = "") -> Row:
    return Row("analysis", what, measured, "%", baseline, against, note)


def _misheard_rows() -> list[Row]:
    bands, clean = misheard_study(200)
    rows = []
    for name, found in bands.items():
        note = f"{found.planted} runs of one pass"
        rows += [
            _row(f"misheard, {name}: noticed", _per(found, found.noticed), note=note),
            _row(f"misheard, {name}: right reading named first", _per(found, found.named)),
            _row(f"misheard, {name}: and the right number", _per(found, found.right)),
        ]
    counts = "; ".join(f"{name} ({found.planted})" for name, found in bands.items())
    noticed = "; ".join(f"{_per(found, found.noticed):.0f} %" for found in bands.values())
    alarms = 100 * clean.false_alarms / clean.runs
    beside = f"nothing misheard: {clean.false_alarms} of {clean.runs} runs"
    _print("README, misheard readings", [f"| a misheard reading asked about: {counts} | {noticed} | {beside} |"])
    return [*rows, _row("nothing misheard: false alarms", alarms, note=f"{clean.runs} runs")]


def _per(found: Misheard, count: int) -> float:
    return 100 * count / max(found.planted, 1)


def long_job(entries: int, step: float = 0.1) -> list[Entry]:
    """Entries of a job on a sixteen-cylinder engine with twelve runs, read on a display of this step."""
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
                value = level if cylinder == 3 else good + step * (k % 3)
                bodies.append(Cut(cylinder, round(round(value / step) * step, 1)))
    bodies += [Condition(Quantity.ENGINE_SPEED, 700.0)] * (entries - len(bodies))
    moments = [START + timedelta(seconds=12 * k) for k in range(len(bodies))]
    return [Entry(new_id(at), "job", at, body) for at, body in zip(moments, bodies, strict=True)]


def _timing_rows() -> list[Row]:
    """CPU time, so that what else the machine does counts little; the machine's state still does."""
    sizes = (500, 1000, 2000, 4000)
    times = {count: _median_ms(long_job(count)) for count in sizes}
    alone = _alone_ms(long_job(1000))
    more = {b: 1000 * (times[b] - times[a]) / (b - a) for a, b in pairwise(sizes)}
    return [
        Row("analysis", "replay and diagnose, 16 cylinders, 12 runs, 1,000 entries, median CPU", times[1000], "ms",
            alone, "the twelve runs worked out one by one", note="causes included; steps of 0.1"),
        Row("analysis", "the same on a display of whole steps", _median_ms(long_job(1000, 1.0)), "ms"),
        *(
            Row("analysis", f"each entry more, up to {count:,}", more[count], "us", more[1000], "500 to 1,000",
                note=f"{times[count]:.1f} ms for {count:,}")
            for count in sizes[2:]
        ),
    ]  # fmt: skip


def _median_ms(entries: list[Entry]) -> float:
    return _median_of(lambda: diagnose(replay(entries)))


def _alone_ms(entries: list[Entry]) -> float:
    job = replay(entries)
    return _median_of(lambda: [find_run(run, job.engine, default_settings()) for run in job.runs])


def _median_of(work: Callable[[], object], repeats: int = 31) -> float:
    """CPU milliseconds."""
    times = []
    for _ in range(repeats):
        start = time.process_time()
        work()
        times.append(time.process_time() - start)
    return 1000 * statistics.median(times[2:])
