"""Which of a job's entries came from elsewhere, and which journals vouch for them by their signatures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from journal.record.brought import NOT_SIGNED, signed_by_words, signers
from journal.record.job import Job
from journal.record.keys import name_of
from journal.record.store import Store


@dataclass(frozen=True)
class Vouched:
    """What is to be said of a job of which entries came from elsewhere."""

    lines: tuple[str, ...] = ()
    """Who wrote its entries and which journals signed them, a line each; empty where all were made here."""
    by: Mapping[str, str] = field(default_factory=dict)
    """For each entry from elsewhere, by identifier: which journal signed it, or that none did."""


def vouched(store: Store, job: Job) -> Vouched:
    """What vouches for a job's entries; `RecordError` where that cannot be read."""
    carried = store.carried(job.id)
    if not carried:
        return Vouched()
    signed, own = store.signatures(job.id), store.public_key()
    by = {id_: signed_by_words(signed[id_].key, own) if id_ in signed else NOT_SIGNED for id_ in carried}
    lines = [f"{line}." for line in signers(job.entries, signed, own)]
    lines.append(f"This journal signs as {name_of(own)}.")
    lines.append("A signature tells in which journal an entry was made, not whether it is so.")
    return Vouched(tuple(lines), by)
