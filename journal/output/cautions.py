"""What can hurt whoever works by this: a line for where they look, and the whole of it from the analysis' tables."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.causes.tables import tables
from journal.record.job import Run

RUNNING = "Keep clear of fan, belts, shafts, fuel under pressure and injector wiring; the service manual holds."
"""Beside an engine that runs."""

REACHING_IN = "Before reaching in: lock out starting, relieve pressure by the manual, let it cool, cover your eyes."
"""Before parts are changed or put back."""

_WHOLE = {
    RUNNING: ("rotating", "pressure", "voltage", "overspeed", "hot", "always"),
    REACHING_IN: ("lockout", "pressure", "voltage", "air", "eyes", "hot", "always"),
}


SPOKEN = "Careful, keep clear of fan and belts."
"""What is said of it: few words, as the microphone is deaf while they are spoken."""


def as_it_begins(runs: Sequence[Run], known: int) -> str:
    """What is spoken as a run begins: of a job's first, and of one of another kind than the run before; else nothing.

    Args:
        runs: the job's.
        known: how many of them there were before.
    """
    kinds = [run.start.run for run in runs]
    if len(kinds) <= known or kinds[-2:-1] == kinds[-1:]:
        return ""
    return SPOKEN


def whole(short: str) -> tuple[str, ...]:
    """Each of these cautions in full."""
    return tuple(tables().cautions[key] for key in _WHOLE[short])
