"""A phone as the camera: where the next photo goes, that said anew by hand, photos in, and what became of each."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from flask import flash, get_flashed_messages, redirect, request, url_for
from flask import session as cookie
from flask.typing import ResponseReturnValue

from journal.errors import JournalError
from journal.facts import Photo, PhotoCue, Subject
from journal.record.job import Job
from journal.record.photos import MOST_BYTES
from journal.screen_place import SCREEN
from journal.session import Session
from webui.acting import cylinder_of, done, field
from webui.photos import destination, not_read, place_words, take_all
from webui.shop import shop

SHOWN = 12
"""Photos of this device that its page shows again, the latest."""


def view(job: Job, page: str, **names: Any) -> dict[str, Any]:
    """What a phone's page shows of its camera.

    Args:
        job: whose photos are taken.
        page: the blueprint of the page, with `view`, `now`, `send`, `cue` and `photo`.
        names: what stands in its addresses.
    """
    place = destination(job)
    own = [SCREEN, *(str(subject) for subject in Subject)]
    return {
        "job": job,
        "landing": place_words(place),
        "place": place,
        "subjects": own if not place.subject or place.subject in own else [place.subject, *own],
        "most": MOST_BYTES,
        "not_read": not_read(),
        "sent": sent_here(job, page, **names),
        "at": {what: url_for(f"{page}.{what}", **names) for what in ("now", "send", "cue")},
    }


def now(job: Job, page: str, **names: Any) -> dict[str, Any]:
    """The same for a page that is open, with what was done last told."""
    place = destination(job)
    return {
        "landing": place_words(place),
        "subject": place.subject,
        "cylinder": place.cylinder,
        "count": len(job.pictures),
        "sent": sent_here(job, page, **names),
        "told": get_flashed_messages(with_categories=True),
    }


def sent_here(job: Job, page: str, **names: Any) -> list[dict[str, str]]:
    """The photos that this device sent, the latest first: their address, their place, what is wrong, what was read."""
    mine = _sent()
    found = {picture.photo.body.sha256: picture.photo.body for picture in job.pictures}
    return [
        {
            "src": url_for(f"{page}.photo", sha=sha, **names),
            "place": place_words(found[sha]) or "not placed yet",
            "warning": found[sha].warning,
            "read": shop().screens.told(sha),
        }
        for sha in reversed(mine)
        if sha in found
    ]


def is_mine(sha: str) -> bool:
    """Whether this device sent the photo."""
    return sha in _sent()


def _sent() -> list[str]:
    kept = cookie.get("sent")
    return [str(sha) for sha in kept] if isinstance(kept, list) else []


def take(session: Session, may: Callable[[], bool] = lambda: True) -> None:
    """Take in what a phone's form brought; what is no photo, and that none came, is told on the same page."""
    try:
        shas = take_all(session, request.files.getlist("photos"), may)
    except JournalError as error:
        flash(str(error), "danger")
        return
    remember(shas)


def remember(shas: Sequence[str]) -> None:
    """Show these photos again on this device's page, as the latest that it sent."""
    kept = [sha for sha in _sent() if sha not in shas]
    cookie["sent"] = [*kept, *dict.fromkeys(shas)][-SHOWN:]


def point(session: Session) -> None:
    """The next photos belong where the form says, as if it had been said."""
    subject = field("subject", 80)
    try:
        cylinder = cylinder_of(session.job)
    except JournalError as error:
        flash(str(error), "danger")
        return
    if not subject:
        flash("choose first what the photo shows, then the cylinder", "danger")
        return
    session.enter(PhotoCue(subject, cylinder))
    words = place_words(Photo("0" * 64, "", subject, cylinder))
    if not wants_json():
        done(f"the next photos go to {words}")


def answered(back: str, told: Callable[[], dict[str, Any]]) -> ResponseReturnValue:
    """What a phone's page is answered: what there is now, or, to a form without scripts, the page anew."""
    return told() if wants_json() else redirect(back, 303)


def wants_json() -> bool:
    """Whether the page's own script asks."""
    return request.accept_mimetypes.best == "application/json"


def too_large() -> ResponseReturnValue:
    """The answer to a form with photos that was too large to be read, on the page that it came from."""
    words = (
        f"that was larger than the {MOST_BYTES // 1_000_000} MB that are taken at once: send fewer, or a smaller one"
    )
    if wants_json():
        return {"told": [("danger", words)]}, 413
    flash(words, "danger")
    return redirect(request.path, 303)
