"""What the start of listening takes, imports to listeners that are loaded: `python _start.py CHECKOUT` prints seconds.

It is processor time, the listeners' own processes with it, so that another checkout can be told beside this one on a
machine that has other work; and it ends with one phrase decided, as some of what is needed is loaded when first used.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path

TIMES = 3
"""How often each checkout starts."""


def starts(checkouts: list[Path]) -> list[float]:
    """Seconds for each checkout, medians of starts in turn."""
    from tests.bench._in_turn import in_turn  # not beside it when it is run as a script

    return in_turn(__file__, checkouts, TIMES)


def _seconds() -> float:
    from journal.facts import Engine
    from journal.listening import Ears
    from journal.wording import Context, decide_text

    Ears.open((), None, Path(tempfile.gettempdir()), 6)
    decide_text("cylinder four cut, thirty eight", Context(engine=Engine(6), baseline=31.0))
    mine = time.process_time()
    for child in multiprocessing.active_children():
        child.terminate()
        child.join()
    theirs = resource.getrusage(resource.RUSAGE_CHILDREN)
    return mine + theirs.ru_utime + theirs.ru_stime


if __name__ == "__main__":
    sys.path[:1] = [sys.argv[1]]
    print(f"{_seconds():.2f}")
