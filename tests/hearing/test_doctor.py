"""The doctor's word on a microphone comes from its sound."""

from __future__ import annotations

import numpy as np

from journal.hearing.doctor import level_line
from journal.hearing.types import RATE


def test_the_doctor_knows_a_silent_a_noisy_a_loud_and_a_good_microphone() -> None:
    rng = np.random.default_rng(1)
    hiss = (0.001 * rng.standard_normal(3 * RATE)).astype(np.float32)
    speech = hiss.copy()
    speech[RATE : 2 * RATE] += (0.1 * rng.standard_normal(RATE)).astype(np.float32)
    assert "silent" in level_line(np.zeros(3 * RATE, dtype=np.float32)).text
    assert "speak while" in level_line(hiss * 20).text
    assert level_line(speech).good
    assert "too loud" in level_line(speech * 20).text
