"""A photo of a job in; what comes of the screen on it into the job: entries and questions, each with its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from journal.facts import (
    Answer,
    Condition,
    Entry,
    Photo,
    Quantity,
    Question,
    Seen,
    Source,
    new_id,
    to_milliseconds,
)
from journal.proposing import Proposal, Proposals, proposals
from journal.record.job import Job, Picture
from journal.record.photos import original_path, picture_of
from journal.record.replay import replay
from journal.record.shop_labels import kept_labels
from journal.screen_numbers import as_shown
from journal.screen_place import place_of
from journal.seeing.types import Labelled

if TYPE_CHECKING:
    from journal.record.store import Store
    from journal.session import Session

Read = Callable[[Path], tuple[tuple[Labelled, ...], tuple[int, int]]]
"""A photo's file in; the numbers on it and the picture's width and height, in the pixels of their places, out."""


def read_file(photo: Path | bytes) -> tuple[tuple[Labelled, ...], tuple[int, int]]:
    """The numbers on a photo, and the width and height of the picture that their places are told in, pixels.

    Args:
        photo: its file, or the bytes of one.

    Raises:
        BadInput: when it is no photo, or the `photo` extra is not installed.
    """
    from journal.shown import shown

    image = picture_of(photo)
    return shown(image), image.size


def arriving(job: Job, now: datetime) -> Picture:
    """A photo that arrives now, without a picture, with its place."""
    # Within one millisecond it would come before or after the last entry by chance.
    at = to_milliseconds(max(now, job.entries[-1].at_utc + timedelta(milliseconds=1)))
    probe = Entry(new_id(at), job.id, at, Photo("0" * 64, ""))
    return replay((*job.entries, probe)).pictures[-1]


def foretold(
    store: Store,
    job_id: str,
    numbers: Sequence[Labelled],
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> Proposals:
    """What would come of a photo of the job's screen that arrived now; nothing is written.

    Args:
        store: where entries are kept.
        job_id: identifier of the job.
        numbers: what stands on the screen.
        clock: what time it is, aware.

    Raises:
        RecordError: when the disk refuses.
    """
    session = _session(store, job_id, clock)
    job = session.job
    picture = arriving(job, clock())
    why_not = _why_not(store, job, picture)
    if why_not is not None:
        return Proposals((), why_not)
    return proposals(job, picture, numbers, kept_labels(store.folder), session.context(job))


def enter_shown(
    store: Store,
    job_id: str,
    sha256: str,
    read: Read = read_file,
    clock: Callable[[], datetime] = lambda: datetime.now(UTC),
) -> str:
    """Read a photo of a job, if it may be of its screen, and enter what comes of it.

    Args:
        store: where entries are kept.
        job_id: identifier of the job.
        sha256: SHA-256 of the photo, which the job has.
        read: what reads it.
        clock: what time an entry gets, aware.

    Returns:
        What became of it in one line; empty for a photo that is not of a screen, or was read already.

    Raises:
        BadInput: when the photo cannot be read.
        NotFound: when its file is not here.
        RecordError: when the disk refuses.
    """
    session = _session(store, job_id, clock)
    before = _to_read(session.job, sha256)
    if before is None:
        return ""
    why_not = _why_not(store, session.job, before)
    if why_not is not None:
        return why_not
    numbers, size = read(original_path(store.folder, sha256))
    # What was said while it was read counts.
    job = session.job
    picture = _to_read(job, sha256)
    if picture is None:
        return ""
    found = proposals(job, picture, numbers, kept_labels(store.folder), session.context(job))
    for proposal in found.made:
        _enter(session, proposal, partial(_seen, proposal, sha256=sha256, size=size, watched=found.quantity))
    return found.line


def _session(store: Store, job_id: str, clock: Callable[[], datetime]) -> Session:
    from journal.session import Session

    session = Session(store, job_id, source=Source.PHOTO, clock=clock)
    # Nobody says it: "scratch that" and the like are about what somebody said.
    session.technician = ""
    return session


def _why_not(store: Store, job: Job, picture: Picture) -> str | None:
    """Why a photo is not to be read into its job, in a line, empty where it is not of a screen; none where it is."""
    place = place_of(job, picture)
    if store.latest_open() != job.id and place != "":
        return "nothing is entered from it: another job is open since"
    if isinstance(place, str):
        return f"nothing is entered from it: {place}" if place else ""
    return None


def _to_read(job: Job, sha256: str) -> Picture | None:
    """The photo, unless something came of it that still counts."""
    if any(fact.body.photo == sha256 for target in job.seen.keys() & job.effective for fact in job.seen[target]):
        return None
    return next((p for p in job.pictures if p.photo.body.sha256 == sha256), None)


def _enter(session: Session, proposal: Proposal, seen: Callable[[str], Sequence[Seen]]) -> None:
    body = proposal.body
    if body is None:
        first, *others = seen(proposal.target)
        session.enter(first, certainty=proposal.certainty, besides=lambda entry: others)
        return
    heard = ", ".join(f"{n.label} {as_shown(n)}" for n in proposal.numbers)
    session.enter(body, heard=heard, certainty=proposal.certainty, besides=lambda entry: seen(proposal.target or entry))
    if proposal.instead_of:
        session.enter(Answer(proposal.instead_of))


def _seen(proposal: Proposal, entry: str, sha256: str, size: tuple[int, int], watched: Quantity) -> tuple[Seen, ...]:
    """Where each number of a proposal stands on the photo."""
    asks = isinstance(proposal.body, Question)
    made = []
    for option, number in enumerate(proposal.numbers):
        xs = [min(max(x / size[0], 0.0), 1.0) for x, _ in number.corners]
        ys = [min(max(y / size[1], 0.0), 1.0) for _, y in number.corners]
        quantity = proposal.body.quantity if isinstance(proposal.body, Condition) else watched
        made.append(
            Seen(
                sha256, entry, number.written, number.label, quantity, min(xs), min(ys), max(xs), max(ys),
                option if asks else None, number.unit,
            )
        )  # fmt: skip
    return tuple(made)
