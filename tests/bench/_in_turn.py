"""A figure that a script prints, for several checkouts in turn, so that what else the machine does meets all alike."""

from __future__ import annotations

import statistics
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path


def in_turn(script: str, checkouts: Sequence[Path], times: int) -> list[float]:
    """For each checkout the median of what `python SCRIPT CHECKOUT` prints.

    Args:
        script: the script's file; it puts the checkout it is given first on its path.
        checkouts: the checkouts.
        times: how often each is run.
    """
    told: list[list[float]] = [[] for _ in checkouts]
    for _ in range(times):
        for at, checkout in enumerate(checkouts):
            said = subprocess.run([sys.executable, script, str(checkout)], check=True, capture_output=True, text=True)
            told[at].append(float(said.stdout))
    return [statistics.median(figures) for figures in told]
