"""Cylinder-by-cylinder cut-out at constant speed, against published worked examples of the Morse test."""

import math
import re

import pytest

from journal.analysis import diagnose
from journal.facts import Baseline, Cut, Engine, Quantity, RunKind, RunStarted
from tests.analysis.arrange import job_of


def morse(unit: str, brake: float, cut: dict[int, float], quantity: Quantity = Quantity.LOAD):
    start = RunStarted(RunKind.IDLE, quantity, unit)
    job = job_of(Engine(len(cut)), start, Baseline(brake), *(Cut(c, v) for c, v in cut.items()))
    return diagnose(job).runs[0]


def efficiency(run) -> float:
    said = [re.search(r"mechanical efficiency by these readings ([\d.]+) %", r.text) for r in run.remarks]
    return float(next(m for m in said if m).group(1))


def test_eastop_and_mcconkey_four_cylinders():
    """Eastop and McConkey, Applied Thermodynamics for Engineering Technologists, the Morse test example (from memory).

    Net brake load 155 N; with 1, 2, 3, 4 cut 111, 106.5, 104.2, 111 N; mechanical efficiency 82.8 %.
    """
    run = morse("N", 155, {1: 111, 2: 106.5, 3: 104.2, 4: 111})
    assert efficiency(run) == pytest.approx(82.8, abs=0.05)
    indicated = 44.0 + 48.5 + 50.8 + 44.0
    assert [c.share for c in run.contributions] == pytest.approx(
        [44.0 / indicated, 48.5 / indicated, 50.8 / indicated, 44.0 / indicated], abs=0.0005
    )
    assert run.trusted


def test_eastop_and_mcconkey_exercise_on_torque():
    """Eastop and McConkey, the exercises of the same chapter (figures from memory, arithmetic consistent).

    Four cylinders, 52 kW at 2000 rev/min; brake torque with 1, 2, 3, 4 cut 177, 170, 168, 174 N m; mechanical
    efficiency 81.6 %.
    """
    torque = 52_000 / (2 * math.pi * 2000 / 60)
    run = morse("N.m", round(torque, 1), {1: 177, 2: 170, 3: 168, 4: 174})
    assert efficiency(run) == pytest.approx(81.6, abs=0.1)


def test_a_published_solution_with_every_cylinders_indicated_power():
    """ques10.com, question 49597, "While performing Morse test on a four cylinder petrol engine" (read 2026-11-26).

    Brake power 32.2 kW; with 1, 2, 3, 4 cut 22, 21.8, 22.2, 22.8 kW; the solution: indicated power of the cylinders
    10.2, 10.4, 10, 9.4 kW, 40 kW together, mechanical efficiency 80.5 %.
    """
    run = morse("kW", 32.2, {1: 22, 2: 21.8, 3: 22.2, 4: 22.8}, Quantity.POWER)
    assert efficiency(run) == pytest.approx(80.5, abs=0.05)
    assert [40 * c.share for c in run.contributions] == pytest.approx([10.2, 10.4, 10.0, 9.4], abs=0.03)


def test_a_published_examination_question_with_its_answer():
    """Thermal Engineering I, a state board's question bank ("TE-I QP FINAL", Scribd document 792666281, Morse test,
    question 7, set from 1994 to 2015; read 2026-11-26).

    Brake power 11.92 kW; with 1, 2, 3, 4 cut 8.46, 8.60, 8.54, 8.50 kW; the answer: mechanical efficiency 87.78 %.
    """
    run = morse("kW", 11.92, {1: 8.46, 2: 8.60, 3: 8.54, 4: 8.50}, Quantity.POWER)
    assert efficiency(run) == pytest.approx(87.78, abs=0.05)
    assert sum(c.share for c in run.contributions) == pytest.approx(1.0)


def test_readings_that_no_engine_can_give_are_said_so():
    """More brake than indicated power: the drops are too small for the load."""
    run = morse("N", 155, {1: 140, 2: 140, 3: 140, 4: 140})
    assert any("no engine can do" in r.text for r in run.remarks)
