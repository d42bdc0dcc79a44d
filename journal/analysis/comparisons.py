"""Runs against each other: idle with half engine, low with high injection pressure, before with after the repair."""

from __future__ import annotations

from journal.analysis.findings import Comparison, RunFinding
from journal.analysis.settings import Settings
from journal.record.job import Job


def compare(job: Job, runs: tuple[RunFinding, ...], settings: Settings) -> tuple[Comparison, ...]:
    """What the runs say when put side by side."""
    return ()
