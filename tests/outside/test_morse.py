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
    """Eastop and McConkey, Applied Thermodynamics for Engineering Technologists, the Morse test example.

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


def test_rajput_four_cylinders_in_kilowatts():
    """R. K. Rajput, Thermal Engineering, a Morse test example (figures from memory, arithmetic consistent).

    Brake power 15.24 kW; with 1, 2, 3, 4 cut 10.45, 10.38, 10.23, 10.45 kW; indicated power 19.45 kW, mechanical
    efficiency 78.4 %.
    """
    run = morse("kW", 15.24, {1: 10.45, 2: 10.38, 3: 10.23, 4: 10.45}, Quantity.POWER)
    assert efficiency(run) == pytest.approx(78.4, abs=0.05)
    assert run.contributions[2].share * 19.45 == pytest.approx(15.24 - 10.23, abs=0.01)


def test_ganesan_four_cylinders_in_kilowatts():
    """V. Ganesan, Internal Combustion Engines, a Morse test example (figures from memory, arithmetic consistent).

    Brake power 16.25 kW; with 1, 2, 3, 4 cut 11.55, 11.65, 11.70, 11.50 kW; indicated power 18.6 kW, mechanical
    efficiency 87.4 %.
    """
    run = morse("kW", 16.25, {1: 11.55, 2: 11.65, 3: 11.70, 4: 11.50}, Quantity.POWER)
    assert efficiency(run) == pytest.approx(87.4, abs=0.05)
    assert sum(c.share for c in run.contributions) == pytest.approx(1.0)


def test_readings_that_no_engine_can_give_are_said_so():
    """More brake than indicated power: the drops are too small for the load."""
    run = morse("N", 155, {1: 140, 2: 140, 3: 140, 4: 140})
    assert any("no engine can do" in r.text for r in run.remarks)
