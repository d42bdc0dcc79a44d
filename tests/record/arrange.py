"""Small arranged jobs for the tests of the record: entries with times one second apart unless told otherwise."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from journal.facts import Body, Engine, Entry, JobOpened, Source, new_id

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)


@dataclass
class Scribe:
    """Writes entries of one job, each a second after the one before."""

    at: datetime = START
    technician: str = "Ada"
    source: Source = Source.TYPED
    job: str = ""
    entries: list[Entry] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.job = self.job or new_id(self.at)

    def say(self, body: Body, *, seconds: float = 1.0, **more: Any) -> Entry:
        """One entry, so many seconds after the one before."""
        self.at += timedelta(seconds=seconds)
        more = {"technician": self.technician, "source": self.source, **more}
        entry = Entry(id=new_id(self.at), job=self.job, at_utc=self.at, body=body, **more)
        self.entries.append(entry)
        return entry

    def open(self, unit: str = "irrigation pump", complaint: str = "misses at idle", cylinders: int = 6) -> Entry:
        """The opening of the job."""
        return self.say(JobOpened(unit, Engine(cylinders), complaint))


def opened(**more: Any) -> Scribe:
    """A scribe whose job is opened already."""
    scribe = Scribe(**more)
    scribe.open()
    return scribe
