"""A voice- and photo-assisted job journal for cylinder cut-out tests: the library a program would use."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from journal.analysis import Findings, diagnose
    from journal.errors import JournalError
    from journal.facts import Engine, Entry
    from journal.outcome import Outcome
    from journal.record.job import Job
    from journal.record.replay import replay
    from journal.record.store import Store
    from journal.session import Session, open_job
    from journal.wording import decide, decide_text

__all__ = [
    "Engine",
    "Entry",
    "Findings",
    "Job",
    "JournalError",
    "Outcome",
    "Session",
    "Store",
    "decide",
    "decide_text",
    "diagnose",
    "open_job",
    "replay",
]

_HOMES = {
    "journal.analysis": ("Findings", "diagnose"),
    "journal.errors": ("JournalError",),
    "journal.facts": ("Engine", "Entry"),
    "journal.outcome": ("Outcome",),
    "journal.record.job": ("Job",),
    "journal.record.replay": ("replay",),
    "journal.record.store": ("Store",),
    "journal.session": ("Session", "open_job"),
    "journal.wording": ("decide", "decide_text"),
}


def __getattr__(name: str) -> object:
    """Import a public name when it is first asked for, so that `journal --help` need not wait for all of it."""
    for home, names in _HOMES.items():
        if name in names:
            return getattr(import_module(home), name)
    raise AttributeError(f"module 'journal' has no attribute {name!r}")
