"""A photo of a job in; what comes of the screen on it into the job: entries and questions, each with its place."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from journal.facts import Answer, Condition, Quantity, Question, Seen, Source
from journal.proposing import Proposal, proposals
from journal.record.job import Job, Picture
from journal.record.photos import original_path, picture_of
from journal.record.shop_labels import kept_labels
from journal.screen_numbers import as_shown
from journal.screen_place import place_of
from journal.seeing.types import Labelled

if TYPE_CHECKING:
    from journal.record.store import Store
    from journal.session import Session

Read = Callable[[Path], tuple[tuple[Labelled, ...], tuple[int, int]]]
"""A photo's file in; the numbers on it and the picture's width and height, in the pixels of their places, out."""


def read_file(path: Path) -> tuple[tuple[Labelled, ...], tuple[int, int]]:
    """The numbers on a photo, and the width and height of the picture that their places are told in, pixels.

    Raises:
        BadInput: when it is no photo, or the `photo` extra is not installed.
    """
    from journal.shown import shown

    image = picture_of(path)
    return shown(image), image.size


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
    from journal.session import Session

    session = Session(store, job_id, source=Source.PHOTO, clock=clock)
    # Nobody says it: "scratch that" and the like are about what somebody said.
    session.technician = ""
    before = _to_read(session.job, sha256)
    if before is None:
        return ""
    why_not = place_of(session.job, before)
    if store.latest_open() != job_id and why_not != "":
        return "nothing is entered from it: another job is open since"
    if isinstance(why_not, str):
        return f"nothing is entered from it: {why_not}" if why_not else ""
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
