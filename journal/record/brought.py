"""What a pack would do to what is here, summed up in a few lines before any of it counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Container, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from journal.facts import (
    Answer,
    ClockSetBack,
    Correction,
    EngineChanged,
    Entry,
    JobClosed,
    JobFact,
    JobReopened,
    Photo,
    Withdrawal,
)
from journal.facts.one_line import one_line
from journal.record.keys import name_of
from journal.record.resolve import target_of
from journal.record.seals import Signature


@dataclass(frozen=True)
class Brought:
    """What a pack holds that is not here yet."""

    job: str
    """The job's identifier."""
    unit: str
    """What machine it is, as the pack says."""
    entries: tuple[Entry, ...]
    """Entries that are not here yet."""
    changes: tuple[str, ...]
    """What they do to a job that is here, a line each; empty when they only add to it what a journal signed."""
    closed: JobClosed | None
    """How they close the job; none when they do not."""
    signers: tuple[str, ...]
    """Who wrote them and which journals signed that, a line each."""
    pictures: tuple[str, ...]
    """Which photos it shows otherwise than the copies here do, a line each."""
    set_aside: tuple[str, ...]
    """Whose entries are dated ahead of this machine's clock, so that their times are set aside; a line each."""
    otherwise: tuple[str, ...]
    """Which entries that are here the pack has signed by another journal, which changes nothing here; a line each."""


def sum_up(
    job: str,
    unit: str,
    here: Sequence[Entry],
    packed: Sequence[Entry],
    signatures: Mapping[str, Signature],
    own: bytes,
    latest: datetime,
    others: Container[str] = (),
    vouched: Mapping[str, Signature] | None = None,
) -> Brought:
    """What a pack brings.

    Args:
        job: the job's identifier.
        unit: what machine it is.
        here: the job's entries in this journal; none when it is not here.
        packed: those of the pack.
        signatures: who signed them, by entry.
        own: this journal's public key.
        latest: what is dated later has its time set aside, UTC.
        others: photos (SHA-256) of which it holds another page copy than the one that is here.
        vouched: who signed what is here, by entry.
    """
    known = {entry.id: entry for entry in here}
    new = tuple(entry for entry in packed if entry.id not in known)
    closings = [entry.body for entry in new if isinstance(entry.body, JobClosed)]
    return Brought(
        job=job,
        unit=unit,
        entries=new,
        changes=(*_changes(new, known), *_unsigned(new, signatures)) if here else (),
        closed=closings[-1] if closings else None,
        signers=tuple(signers(new, signatures, own)),
        pictures=tuple(_pictures(packed, others)),
        set_aside=tuple(_set_aside(new, latest)),
        otherwise=tuple(_otherwise(here, vouched or {}, signatures, own)),
    )


NOT_SIGNED = "not signed"
"""What is said of an entry that no journal vouches for."""


def signed_by_words(key: bytes, own: bytes) -> str:
    """Which journal signed, from its public key and this journal's."""
    return "signed by this journal" if key == own else f"signed by {name_of(key)}"


def signers(entries: Iterable[Entry], signatures: Mapping[str, Signature], own: bytes) -> list[str]:
    """Who wrote entries and which journals vouch for it, a line each, the most first."""
    counts: Counter[tuple[str, str]] = Counter()
    for entry in entries:
        by = signatures.get(entry.id)
        how = NOT_SIGNED if by is None else signed_by_words(by.key, own)
        mark = isinstance(entry.body, ClockSetBack) and not entry.technician
        counts["of the journal itself, that the clock was set back" if mark else _of(entry), how] += 1
    return [f"{_entries(count)} {who}: {how}" for (who, how), count in counts.most_common()]


def _pictures(packed: Sequence[Entry], others: Container[str]) -> Iterator[str]:
    for entry in packed:
        if isinstance(entry.body, Photo) and entry.body.sha256 in others:
            photo = f"photo {one_line(entry.body.name)} {_of(entry)}"
            yield f"{photo}: the pack shows another picture than the copy that is here"


def _set_aside(new: Sequence[Entry], latest: datetime) -> Iterator[str]:
    counts: Counter[str] = Counter(_of(entry) for entry in new if entry.at_utc > latest)
    for who, count in counts.most_common():
        last = max(entry.at_utc for entry in new if _of(entry) == who)
        yield (
            f"{_entries(count)} {who} {'is' if count == 1 else 'are'} dated ahead of this machine's clock, up to "
            f"{last:%Y-%m-%d}: the order is kept, the times say nothing"
        )


def _otherwise(
    here: Sequence[Entry], vouched: Mapping[str, Signature], signatures: Mapping[str, Signature], own: bytes
) -> Iterator[str]:
    """One of both journals says that it made what the other made: the signature that came first stands."""
    counts: Counter[tuple[str, str, str]] = Counter()
    for entry in here:
        mine, theirs = vouched.get(entry.id), signatures.get(entry.id)
        if theirs is not None and (mine is None or mine.key != theirs.key):
            known = NOT_SIGNED if mine is None else signed_by_words(mine.key, own)
            counts[_of(entry), known, signed_by_words(theirs.key, own)] += 1
    for (who, known, signed), count in counts.most_common():
        is_here = "is here" if count == 1 else "are here"
        yield f"{_entries(count)} {who} {is_here} {known} and stay so; in the pack {signed}: ask who made them"


def _changes(new: Sequence[Entry], known: Mapping[str, Entry]) -> list[str]:
    counts: Counter[tuple[str, str]] = Counter()
    others = []
    for entry in new:
        target = known.get(target_of(entry.body) or "")
        match entry.body:
            case Withdrawal() if target is not None:
                counts[_of(target), "withdrawn"] += 1
            case Correction() if target is not None:
                counts[_of(target), "corrected"] += 1
            case Answer() if target is not None:
                counts[_of(target), "answered"] += 1
            case ClockSetBack(before):
                counts.update((_of(known[id_]), "put earlier") for id_ in before if id_ in known)
            case JobClosed(cause):
                others.append(f"the job is closed {_by(entry)}: {one_line(cause)}")
            case JobReopened():
                others.append(f"the job is reopened {_by(entry)}")
            case EngineChanged():
                others.append(f"the engine is changed {_by(entry)}")
            case JobFact(field, value):
                others.append(f"{field} is changed {_by(entry)} to {one_line(value)}")
            case _:
                pass
    lines = [f"{_entries(n)} {who} {'is' if n == 1 else 'are'} {what}" for (who, what), n in counts.most_common()]
    return [*lines, *others]


def _unsigned(new: Sequence[Entry], signatures: Mapping[str, Signature]) -> list[str]:
    """What is added to a job that is here though no journal vouches for it."""
    counts = Counter(_of(entry) for entry in new if entry.id not in signatures)
    added = counts.most_common()
    return [f"{_entries(n)} {who} {'is' if n == 1 else 'are'} added that no journal signed" for who, n in added]


def _entries(count: int) -> str:
    return f"{count} {'entry' if count == 1 else 'entries'}"


def _of(entry: Entry) -> str:
    return f"of {one_line(entry.technician) or 'nobody named'}"


def _by(entry: Entry) -> str:
    return f"by {one_line(entry.technician) or 'nobody named'}"
