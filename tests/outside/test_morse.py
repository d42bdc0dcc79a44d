"""Cylinder-by-cylinder cut-out at constant speed, against published worked examples of the Morse test."""

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
        [44.0 / indicated, 48.5 / indicated, 50.8 / indicated, 44.0 / indicated]
    )
    assert run.trusted
