"""What can hurt whoever works by this: a line for where they look, and the whole of it from the analysis' tables."""

from __future__ import annotations

from journal.analysis.causes.tables import tables

RUNNING = "Keep clear of fan, belts, shafts, fuel under pressure and injector wiring; the service manual holds."
"""Beside an engine that runs."""

REACHING_IN = "Before reaching in: lock out starting, relieve pressure by the manual, let it cool, cover your eyes."
"""Before parts are changed or put back."""

_WHOLE = {
    RUNNING: ("rotating", "pressure", "voltage", "overspeed", "hot", "always"),
    REACHING_IN: ("lockout", "pressure", "voltage", "air", "eyes", "hot", "always"),
}


def whole(short: str) -> tuple[str, ...]:
    """Each of these cautions in full."""
    return tuple(tables().cautions[key] for key in _WHOLE[short])
