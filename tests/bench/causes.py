"""Causes: agreement with scenarios, calibration, minutes to the gate, robustness, and the time a sixteen takes."""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import replace
from statistics import mean, median
from time import perf_counter, process_time

import numpy as np
from _pytest.outcomes import Skipped

from journal.analysis import diagnose
from journal.analysis.between.compare import compare
from journal.analysis.causes.inference import infer
from journal.analysis.causes.model import build_model
from journal.analysis.causes.rank import rank
from journal.analysis.causes.tables import Tables, tables
from journal.analysis.settings import default_settings
from journal.facts import Body
from journal.record.job import Job
from tests.bench.table import Row
from tests.causes.arrange import ENGINES, check_of, job_of, run_of, scenario_job
from tests.causes.simulated import Outcome, by_chance, by_list, by_the_tool, run_jobs
from tests.causes.test_scenarios import NEXT_DIFFERS, SCENARIOS, check_key, top_cause
from tests.outside.test_bayes import network, random_case

JOBS = 2000
SHAKES = 20
TIMES = 25


def run() -> list[Row]:
    """Every figure of causes."""
    return [*_scenarios(), *_simulated(), *_shaken(), *_timed()]


def _scenarios() -> list[Row]:
    cause = gate = following = 0
    for scenario in SCENARIOS:
        findings = diagnose(scenario_job(scenario))
        top = top_cause(scenario, findings)
        cause += top.key in scenario["cause"]
        gate += bool(top.gate and top.gate.ready) == scenario["ready"]
        following += check_key(findings.next_check) in (scenario["next"] or [None])
    count = len(SCENARIOS)
    for name in sorted(NEXT_DIFFERS):
        print(f"next check differs: {name}")
    return [
        Row("causes", "scenarios: top cause agrees", 100 * cause / count, "%", note=f"{count} scenarios"),
        Row("causes", "scenarios: gate agrees", 100 * gate / count, "%", note=f"{count} scenarios"),
        Row("causes", "scenarios: next check sensible", 100 * following / count, "%", note=f"{count} scenarios"),
    ]


def _simulated() -> list[Row]:
    ways = {
        "tool": run_jobs(JOBS, 5, lambda book, _: by_the_tool(book)),
        "list": run_jobs(JOBS, 5, lambda _, __: by_list()),
        "chance": run_jobs(JOBS, 5, lambda _, random_: by_chance(random_)),
    }
    _plot(ways["tool"])
    opened = {way: [o for o in found if o.opened] for way, found in ways.items()}
    parts = {way: 100 * mean(o.right_part for o in found) for way, found in opened.items()}
    decided = {way: 100 * len(found) / JOBS for way, found in opened.items()}
    every = [
        n for n in range(JOBS) if all(found[n].opened for found in ways.values())
    ]  # jobs whose gate all three opened
    minutes = {way: mean(found[n].minutes for n in every) for way, found in ways.items()}
    whole = {way: mean(o.minutes for o in found) for way, found in ways.items()}
    note = f"{len(every)} of {JOBS} jobs, those whose gate all three opened"
    rows = _stated(ways["tool"])
    for way, name in (("list", "fixed checklist"), ("chance", "random order")):
        rows += [
            Row("causes", "minutes of checks to the gate", minutes["tool"], "min", minutes[way], name, note),
            Row("causes", "minutes, gate or not", whole["tool"], "min", whole[way], name, f"all {JOBS} jobs"),
            Row("causes", "jobs whose gate opens", decided["tool"], "%", decided[way], name, f"of {JOBS}"),
            Row("causes", "the part then right", parts["tool"], "%", parts[way], name, "of those whose gate opened"),
        ]
    return rows


STATED = ((0.0, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01))
"""Bands of the chance that the first cause has at the end of a job."""


def _stated(outcomes: list[Outcome]) -> list[Row]:
    """How often the first cause is the true one, by how likely it is held. The truth is drawn from the tool's own
    tables: this tests the arithmetic, not the tables."""
    stated = [pair for outcome in outcomes for pair in outcome.stated]
    rows = []
    for low, high in STATED:
        held = [(chance, right) for chance, right in stated if low <= chance < high]
        if held:
            said, right = (100 * mean(each[n] for each in held) for n in (0, 1))
            name = f"first cause held for {100 * low:.0f} % or more" if high > 1 else f"to {100 * high:.0f} %"
            name = name if high > 1 else f"first cause held for {100 * low:.0f} {name}"
            note = f"{len(held)} of {len(stated)} low cylinders in {JOBS} jobs"
            rows.append(Row("causes", f"{name}: right", right, "%", said, "held for, mean", note))
    right = 100 * mean(right for _, right in stated)
    return [*rows, Row("causes", "first cause right, whatever it is held for", right, "%", note=f"{len(stated)}")]


def _plot(outcomes: list[Outcome]) -> None:
    """Share right by stated chance, as text: `o` where it fell, `|` where it should fall."""
    stated = [pair for outcome in outcomes for pair in outcome.stated]
    print("said        right     n   0 %" + " " * 44 + "100 %")
    for low in np.arange(0.1, 1.0, 0.1):
        held = [(chance, right) for chance, right in stated if low <= chance < low + 0.1 + (low > 0.85)]
        if held:
            said, right = mean(chance for chance, _ in held), mean(right for _, right in held)
            scale = [" "] * 51
            scale[round(50 * said)] = "|"
            scale[round(50 * right)] = "o"
            print(f"{100 * said:5.1f} %   {100 * right:5.1f} %  {len(held):5d}   {''.join(scale)}")


def shaken(random_: random.Random, book: Tables) -> Tables:
    """Every likelihood times or divided by up to two, at random, rows brought back to one."""
    checks = {}
    for key, row in book.checks.items():
        rows = {}
        for cause, chances in row.likelihood.items():
            moved = chances * np.array([2 ** random_.uniform(-1, 1) for _ in chances])
            rows[cause] = moved / moved.sum()
        checks[key] = replace(row, likelihood=rows)
    return replace(book, checks=checks)


def _shaken() -> list[Row]:
    """How often the first cause of a scenario changes, and how often to one that the scenario does not allow."""
    random_ = random.Random(3)
    jobs: list[Job] = [scenario_job(s) for s in SCENARIOS]
    plain = [diagnose(job) for job in jobs]
    changed = wrong = lost = 0
    for _ in range(SHAKES):
        book = shaken(random_, tables())
        for scenario, job, before in zip(SCENARIOS, jobs, plain, strict=True):
            found = rank(job, before.runs, compare(job, before.runs, default_settings()), using=book)
            after = top_cause(scenario, replace(before, cylinders=found.cylinders, engine_causes=found.engine_causes))
            first = top_cause(scenario, before)
            changed += after.key != first.key
            wrong += after.key not in scenario["cause"]
            lost += bool(after.gate and after.gate.ready) and after.key not in scenario["cause"]
    count = SHAKES * len(SCENARIOS)
    note = f"{SHAKES} random sets of tables, {len(SCENARIOS)} scenarios"
    return [
        Row("causes", "likelihoods off by up to two: first cause changes", 100 * changed / count, "%", note=note),
        Row("causes", "the same: first cause not one expected", 100 * wrong / count, "%", note=note),
        Row("causes", "the same: gate open for a wrong part", 100 * lost / count, "%", note=note),
    ]


def sixteen() -> Job:
    """A vee-sixteen with four low cylinders, three runs and a dozen checks."""
    engine = ENGINES["vee-sixteen"]
    pulls = [1.0] * 16
    for cylinder, pull in ((2, 0.0), (5, 0.1), (10, 0.1), (13, 0.0)):
        pulls[cylinder - 1] = pull
    bodies: list[Body] = [*run_of(engine, pulls), *run_of(engine, pulls, pressure="low")]
    bodies += run_of(engine, pulls, pressure="high")
    bodies += [
        check_of(words)
        for words in (
            "blow-by heavy", "overhead sound", "wiring sound 2", "wiring sound 10", "injector resistance in limits 2",
            "air test holds 2", "air test leaks 13 crankcase", "smoke white", "oil diluted", "coolant gas in it",
            "air in fuel present", "connector sound 5",
        )
    ]  # fmt: skip
    return job_of(bodies, engine)


def _timed() -> list[Row]:
    job = sixteen()
    findings = diagnose(job)
    between = compare(job, findings.runs, default_settings())
    whole, clock = _medians(lambda: diagnose(job))
    causes, _ = _medians(lambda: rank(job, findings.runs, between))
    six = scenario_job(SCENARIOS[0])
    small, _ = _medians(lambda: diagnose(six))
    note = f"{TIMES} times, {len(findings.cylinders)} low cylinders, 12 checks, 3 runs"
    against = f"{six.engine.cylinders} cylinders: {SCENARIOS[0]['name']}"
    return [
        Row(
            "causes",
            "full diagnosis of a sixteen, median",
            whole,
            "ms of processor",
            small,
            against,
            f"{note}; on the clock {clock:.0f} ms",
        ),
        Row("causes", "causes alone, median", causes, "ms of processor", whole, "the full diagnosis", note),
        *_against_the_library(),
    ]


def _medians(work: Callable[[], object]) -> tuple[float, float]:
    """Median of the processor time of every thread, and of the time on the clock with what else the machine did, ms."""
    worked, waited = [], []
    for _ in range(TIMES):
        start, clock = process_time(), perf_counter()
        work()
        worked.append(1000 * (process_time() - start))
        waited.append(1000 * (perf_counter() - clock))
    return median(worked), median(waited)


def _against_the_library() -> list[Row]:
    """One posterior by the tool and by pyAgrum's lazy propagation, network building included in both."""
    random_ = random.Random(8)
    mine, theirs = [], []
    for _ in range(40):
        engine, low, tested, seen = random_case(random_)
        start = perf_counter()
        infer(build_model(tables(), engine, low, tested), seen)
        mine.append(perf_counter() - start)
        start = perf_counter()
        try:
            network(tables(), engine, low, tested, seen)
        except Skipped as why:
            print(why)
            return []
        theirs.append(perf_counter() - start)
    note = "40 random sets of evidence"
    return [Row("causes", "one posterior, mean", 1000 * mean(mine), "ms", 1000 * mean(theirs), "pyAgrum", note)]
