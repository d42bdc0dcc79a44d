"""What every page needs of the journal: its store, its jobs replayed once, and their findings computed once."""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, cast

from flask import current_app, g

from journal.analysis import diagnose
from journal.analysis.between.machine import Earlier
from journal.analysis.causes.history import History
from journal.analysis.findings import Findings
from journal.machine import EarlierJobs
from journal.record.job import Job
from journal.record.lines import JobLine
from journal.record.store import Store
from journal.study import ClosedJobs, keep_summary, weighed
from webui.door import Door, Entrance
from webui.grants import Grants
from webui.listener import Listener
from webui.log import Log
from webui.quotas import Quotas
from webui.screens import Screens
from webui.stands import Stands
from webui.stores import Stores
from webui.watch import Watcher

if TYPE_CHECKING:
    from webui.lan import Network

_KEPT = 8
"""How many jobs are held with their findings, a tenth of a megabyte each: those with a page open just now, for it asks
for the same one again and again."""


@dataclass(frozen=True)
class State:
    """A job and what is found about it, as of its last entry."""

    line: JobLine
    """The job's line in a list; its number of entries grows whenever the job changes."""
    job: Job
    """The job."""
    rests_on: Job
    """Of the job, what findings can rest on."""
    findings: Findings
    """What is found about it."""
    history: History | None
    """What the closed jobs taught when it was found."""
    earlier: tuple[Earlier, ...]
    """What earlier jobs on the machine left."""


@dataclass(frozen=True)
class Secure:
    """Where the pages can be had by HTTPS too."""

    port: int
    """The TCP port."""
    fingerprint: str
    """SHA-256 of the certificate, as browsers show it."""


class Shop:
    """One journal as the pages see it."""

    def __init__(self, folder: Path, key: bytes, *, lan: bool, announce: Callable[[str], None]) -> None:
        self.folder = folder
        self.lan = lan
        self.port: int | None = None
        """The TCP port of the plain pages, once they are served."""
        self.secure: Secure | None = None
        self.network: Network | None = None
        """What lets the shop's network in or keeps it out, once the pages are served."""
        self.speaking: dict[str, tuple[str, float]] = {}
        """By device, the job whose microphone it is, and when it last sent sound (`time.monotonic`)."""
        self.stands = Stands()
        self.grants = Grants(folder, key)
        self.door = Door(announce)
        self.entrance = Entrance(announce)
        self.quotas = Quotas()
        self.log = Log(folder)
        self.screens = Screens(folder)
        self.listener = Listener(folder)
        self.watcher = Watcher(folder, lambda: self.listener.why)
        self._stores = Stores(folder)
        self._states: OrderedDict[str, State] = OrderedDict()
        self._lock = threading.Lock()
        self._working = threading.Lock()
        self._closed, self._earlier = ClosedJobs(), EarlierJobs()

    def close(self) -> None:
        """End what is under way, so that the server can stop."""
        self.watcher.close()
        self.listener.stop()
        self.screens.close()
        self._stores.close()
        self.log.close()

    @property
    def store(self) -> Store:
        """The store that is this request's own until it is answered."""
        if "store" not in g:
            g.store = self._stores.take()
        return cast(Store, g.store)

    def answered(self) -> None:
        """Take back what the request was lent."""
        if (store := g.pop("store", None)) is not None:
            self._stores.give_back(store)

    def learn(self) -> None:
        """Read what the closed jobs teach before the first page; `RecordError` as any reading."""
        with self._stores.one() as store:
            self._closed.history(store)

    def state(self, job_id: str) -> State:
        """The job as it stands, with its findings.

        Raises:
            NotFound: when there is no such job.
        """
        line, history = self.store.line(job_id), self._closed.history(self.store, job_id)
        known = self._known(line, history)
        if known is not None:
            return known
        # One at a time: when an entry comes in, every open page asks for the same new state at once.
        with self._working:
            known = self._known(line, history)
            if known is not None:
                return known
            state = self._new_state(line, history)
            with self._lock:
                self._states[job_id] = state
                self._states.move_to_end(job_id)
                while len(self._states) > _KEPT:
                    self._states.popitem(last=False)
        keep_summary(self.store, state.job, state.findings)
        return state

    def _new_state(self, line: JobLine, history: History | None) -> State:
        """What is found now; what was found before where nothing changed that a finding rests on."""
        job = self.store.job(line.id)
        rests_on, earlier = weighed(job), self._earlier.of(self.store, job)
        with self._lock:
            before = self._states.get(line.id)
        if before is not None and (before.history, before.rests_on, before.earlier) == (history, rests_on, earlier):
            return replace(before, line=line, job=job)
        found = None if before is None or before.earlier != earlier else (before.rests_on, before.findings)
        findings = diagnose(rests_on, history=history, before=found, earlier=earlier)
        return State(line, job, rests_on, findings, history, earlier)

    def _known(self, line: JobLine, history: History | None) -> State | None:
        with self._lock:
            known = self._states.get(line.id)
            if known is None or known.line.entries != line.entries or known.history != history:
                return None
            self._states.move_to_end(line.id)
            return known


def shop() -> Shop:
    """The journal of the application that answers this request."""
    return cast(Shop, current_app.extensions["journal"])
