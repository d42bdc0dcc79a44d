"""What it takes to load the vocabulary and understand a first phrase: `python _loads.py CHECKOUT` prints milliseconds.

It is processor time, so that another checkout can be told beside this one on a machine that has other work; the phrase
is one that no sentence of the vocabulary holds, so that what is loaded when it is first used counts too.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path

TIMES = 7
"""How often each checkout loads it."""


def loads(checkouts: list[Path]) -> list[float]:
    """Milliseconds for each checkout, medians of loads in turn."""
    from tests.bench._in_turn import in_turn  # not beside it when it is run as a script

    return in_turn(__file__, checkouts, TIMES)


def _milliseconds() -> float:
    from journal.wording.parse import parse

    parse("thirty eight with four killed", 6)
    return 1000 * time.process_time()


if __name__ == "__main__":
    sys.path[:1] = [sys.argv[1]]
    print(f"{_milliseconds():.1f}")
