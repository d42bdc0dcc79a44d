"""What is believed of a run against an independent sampler of the same model, `emcee` (Foreman-Mackey et al. 2013).

`sampler` makes the kept results; a short chain here sees that it still does.
"""

from __future__ import annotations

import json

import numpy as np
import pytest

from journal.analysis.run.find import shares_of
from journal.analysis.run.fit import believe
from journal.analysis.run.model import model_of
from journal.analysis.run.readings import take
from journal.analysis.settings import default_settings
from journal.facts import Baseline, Cut, Engine, RunKind, RunStarted
from tests.analysis.arrange import job_of
from tests.outside.sampler import DATA, Read, sampled

KEPT = json.loads(DATA.read_text(encoding="utf-8"))


def ours(kept: dict) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Means and ends of the intervals of the shares, as the analysis has them."""
    said = [Cut(c, v) if c else Baseline(v) for v, c in zip(kept["values"], kept["cut"], strict=True)]
    job = job_of(Engine(kept["cylinders"]), RunStarted(RunKind.IDLE), *said)
    model = model_of(take(job.runs, job.engine), default_settings())
    assert model is not None
    share, u = shares_of(model, believe([model.data], model.priors)[0])
    return share, share - 1.96 * u, share + 1.96 * u


def apart(kept: dict) -> np.ndarray:
    """How far means and lower and upper ends lie from the sampler's, in its intervals, shape (3, n)."""
    theirs = [np.array(kept["shares"][name]) for name in ("mean", "low", "high")]
    width = theirs[2] - theirs[1]
    return np.stack([(mine - other) / width for mine, other in zip(ours(kept), theirs, strict=True)])


def test_forty_runs_were_sampled():
    assert len(KEPT) == 40
    assert {kept["step"] for kept in KEPT} == {0.1, 1.0}


@pytest.mark.parametrize("number", range(40))
def test_means_and_intervals_are_the_samplers(number):
    """Means within a tenth of an interval, ends within a fifth."""
    mean, low, high = np.abs(apart(KEPT[number]))
    assert mean.max() < 0.1
    assert max(low.max(), high.max()) < 0.2


def test_intervals_are_no_wider_than_the_samplers():
    wider = []
    for kept in KEPT:
        _, low, high = ours(kept)
        wider += ((high - low) / (np.array(kept["shares"]["high"]) - np.array(kept["shares"]["low"]))).tolist()
    assert np.median(wider) < 1.15


def test_a_short_chain_finds_what_was_kept():
    pytest.importorskip("emcee", reason="emcee is not installed: the kept results are not sampled anew")
    kept = KEPT[1]
    seconds = tuple(15.0 * k for k in range(len(kept["values"])))
    read = Read(kept["cylinders"], kept["step"], tuple(kept["values"]), seconds, tuple(kept["cut"]))
    found = sampled(read, 700, 250, 5)
    width = np.array(kept["shares"]["high"]) - np.array(kept["shares"]["low"])
    assert np.abs(np.array(found["mean"]) - kept["shares"]["mean"]) / width == pytest.approx(0, abs=0.15)
