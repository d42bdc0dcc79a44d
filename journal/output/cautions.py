"""What can hurt whoever works by this: a line for where they look, and the whole of it from the analysis' tables."""

from __future__ import annotations

from journal.analysis.causes_tables import tables

RUNNING = (
    "Where the engine runs, keep hands, sleeves and tools clear of fan, belts and shafts; fuel under pressure goes "
    "through skin, injector wiring can carry a dangerous voltage. The service manual holds."
)
"""Beside an engine that runs."""

REACHING_IN = (
    "Before reaching into the engine, lock out what can start it, relieve pressure as the service manual says, let it "
    "cool and wear eye protection."
)
"""Before parts are changed or put back."""

_WHOLE = {
    RUNNING: ("rotating", "pressure", "voltage", "overspeed", "hot", "always"),
    REACHING_IN: ("lockout", "pressure", "voltage", "air", "eyes", "hot", "always"),
}


def whole(short: str) -> tuple[str, ...]:
    """Each of these cautions in full."""
    return tuple(tables().cautions[key] for key in _WHOLE[short])
