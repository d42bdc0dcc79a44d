"""Jobs drawn from the tables: what the tool says as sure is so as often as it says, and its order of checks is short.

The long form, with 2,000 jobs, is the benchmark `causes`.
"""

from __future__ import annotations

from statistics import mean

import pytest

from journal.analysis.order.next_check import entropy
from tests.causes.simulated import Outcome, by_chance, by_list, by_the_tool, run_jobs

JOBS = 120


@pytest.fixture(scope="module")
def outcomes() -> dict[str, list[Outcome]]:
    """The same jobs worked through in three ways."""
    return {
        "tool": run_jobs(JOBS, 11, lambda book, _: by_the_tool(book)),
        "list": run_jobs(JOBS, 11, lambda _, __: by_list()),
        "chance": run_jobs(JOBS, 11, lambda _, random_: by_chance(random_)),
    }


def test_what_is_said_with_ninety_per_cent_is_true_at_least_as_often(outcomes: dict[str, list[Outcome]]) -> None:
    sure = [right for outcome in outcomes["tool"] for chance, right in outcome.stated if chance >= 0.9]
    assert len(sure) >= 50
    assert mean(sure) >= 0.88


def test_what_is_said_is_true_as_often_as_it_is_said(outcomes: dict[str, list[Outcome]]) -> None:
    """Mean stated chance against share right; four standard errors of a share of so many."""
    stated = [pair for way in outcomes.values() for outcome in way for pair in outcome.stated]
    said, right = mean(chance for chance, _ in stated), mean(right for _, right in stated)
    spread = (sum(chance * (1 - chance) for chance, _ in stated)) ** 0.5 / len(stated)
    assert abs(said - right) < 4 * spread


def test_the_tools_order_reaches_the_gate_in_fewer_minutes(outcomes: dict[str, list[Outcome]]) -> None:
    minutes = {way: mean(outcome.minutes for outcome in found) for way, found in outcomes.items()}
    opened = {way: mean(outcome.opened for outcome in found) for way, found in outcomes.items()}
    assert minutes["tool"] < 0.8 * min(minutes["list"], minutes["chance"])
    assert opened["tool"] > 0.9 * max(opened["list"], opened["chance"])


def test_entropy_is_shannons() -> None:
    """Against `scipy.stats.entropy` with base 2."""
    numpy = pytest.importorskip("numpy")
    stats = pytest.importorskip("scipy.stats")
    chances = numpy.array([[0.5, 0.25, 0.25, 0.0], [0.97, 0.01, 0.01, 0.01]])
    assert entropy(chances) == pytest.approx(stats.entropy(chances, base=2, axis=1))
