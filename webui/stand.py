"""A phone on a stand before the scanner's screen: a frame of its camera in, what is read on it and what came of it out.

A frame is read within its request and lies on no disk unless something comes of it; the phone sends the next one when
this one was answered.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import Any

from flask import Blueprint, request
from flask import session as cookie
from flask.typing import ResponseReturnValue

from journal.analysis.words import capital
from journal.errors import BadInput
from journal.facts import Photo
from journal.facts.quantities import PRINTED_UNITS
from journal.photographed import arriving, enter_shown, foretold
from journal.record.files import sha256_of
from journal.record.job import Job, Picture
from journal.record.photos import take_in
from journal.record.shop_labels import kept_labels
from journal.screen_place import SCREEN, Place, place_of
from journal.seeing import NOT_READ, can_see
from journal.seeing.types import Labelled
from journal.session import Session
from journal.stand import ALIKE, Frame, Step, after, frame_of, step
from webui import camera
from webui.acting import acting
from webui.log import refused
from webui.photos import place_words
from webui.screens import Found
from webui.shop import shop

pages = Blueprint("stand", __name__)

NAME = "stand.jpg"
"""What a photo of a camera on a stand is called."""

SHOWN = 3
"""Numbers that are shown where none may be the one that the run watches."""

_WORDS = {
    Step.STALE: "it has shown nothing else since the last reading: take it now if this is {of}",
    Step.UNCUT: "it is as with no cylinder cut: take it now if this is {of}",
    Step.NO_BASELINE: "the run has no baseline yet: name that first, or take it now if this is {of}",
    Step.DONE: "{of} has been read: name the next, or take it now to read it again",
}
"""Why a number is not taken by itself, or not again, and what to do."""


@pages.post("/job/<job_id>/stand")
def frame(job_id: str) -> ResponseReturnValue:
    """Read a frame, a JPEG as the body, and propose what it shows if that is steady, or at once with `now=1`."""
    device = str(cookie["device"])
    if not shop().quotas.frame_comes(device):
        refused("too many frames by one device", again_and_again=True)
        return {"words": "more frames than are taken in a minute: wait a little"}, 429
    if not can_see():
        raise BadInput(NOT_READ)
    job, data = acting(job_id).job, request.get_data()
    if job.closed is not None:
        raise BadInput("this job is closed: open it again to go on")
    found = shop().screens.look(data)
    if found is None:
        return {"busy": True}
    with shop().stands.lock:
        return _answer(acting(job_id), device, data, found, request.args.get("now") == "1")


def _answer(session: Session, device: str, data: bytes, found: Found, now: bool) -> dict[str, Any]:
    """What a frame comes to, and what is told of it."""
    (numbers, size), job = found, session.job
    picture = arriving(job, datetime.now(UTC))
    seen = frame_of(job, picture, numbers, kept_labels(session.store.folder))
    if seen is None:
        return _told(numbers[:SHOWN], len(numbers), size, line=_not_of_the_run(job, picture))
    stands = shop().stands
    watch, then = step(stands.of(device, job.id), seen, now)
    line = _why(then, seen, picture)
    if then is Step.PROPOSE:
        line, kept = _proposed(session, data, found)
        watch = after(watch) if kept else watch
    stands.keep(device, job.id, watch)
    told = _told(
        seen.numbers or numbers[:SHOWN], len(numbers), size, line=line, then=then, alike=min(watch.alike, ALIKE)
    )
    return {**told, "of": _of(picture), "next": _next(session.job, picture)}


def _proposed(session: Session, data: bytes, found: Found) -> tuple[str, bool]:
    """What came of a frame that is taken as a photo, and whether it was kept: only where something comes of it."""
    numbers, size = found
    foreseen = foretold(session.store, session.job_id, numbers)
    if not foreseen.made:
        return foreseen.line, False
    if any(picture.photo.body.sha256 == sha256_of(data) for picture in session.job.pictures):
        return "the camera gives the very picture that was taken before: it is stuck, stop it and start it again", False
    photo = take_in(session.store.folder, data, NAME)
    session.enter(Photo(photo.sha256, NAME, warning=photo.warning))
    line = enter_shown(session.store, session.job_id, photo.sha256, lambda path: (numbers, size))
    shop().screens.tell(photo.sha256, line)
    camera.remember([photo.sha256])
    return line, True


def _why(then: Step, seen: Frame, picture: Picture) -> str:
    """What is to be done before anything comes of a frame; empty where nothing is but to wait."""
    if not seen.numbers:
        return "the number that the test watches is not to be seen: turn the phone to it, or go nearer"
    return capital(_WORDS.get(then, "").format(of=_of(picture))) if then in _WORDS else ""


def _of(picture: Picture) -> str:
    cylinder = picture.photo.body.cylinder
    return f"cylinder {cylinder}" if cylinder else "the baseline"


def _next(job: Job, picture: Picture) -> dict[str, str] | None:
    """What is to be named next, in words and as a cue has it; none where that is named already or nothing is left."""
    run = job.run_in_progress
    if run is None:
        return None
    named = picture.photo.body
    if not run.baselines and not run.cuts:
        return None if named.subject == SCREEN else {"words": "baseline", "subject": SCREEN, "cylinder": ""}
    cylinder = run.next_cut(job.engine)
    if cylinder is None or cylinder == named.cylinder:
        return None
    return {"words": f"cylinder {cylinder}", "subject": SCREEN, "cylinder": str(cylinder)}


def _not_of_the_run(job: Job, picture: Picture) -> str:
    place = place_of(job, picture)
    assert not isinstance(place, Place)
    if place:
        return f"nothing is entered from it: {place}"
    return f"photos go to {place_words(picture.photo.body)} now: choose “{SCREEN}” above for the screen"


def _told(
    shown: Sequence[Labelled],
    count: int,
    size: tuple[int, int],
    *,
    line: str,
    then: Step = Step.LOOK,
    alike: int = 0,
) -> dict[str, Any]:
    return {
        "numbers": [_number(each, size) for each in shown],
        "others": count - len(shown),
        "line": capital(line),
        "step": then.value,
        "alike": alike,
        "frames": ALIKE,
        "of": "",
        "next": None,
    }


def _number(number: Labelled, size: tuple[int, int]) -> dict[str, Any]:
    """A number as the page shows it, with its place as parts of the frame's width and height."""
    xs, ys = [x / size[0] for x, _ in number.corners], [y / size[1] for _, y in number.corners]
    return {
        "label": number.label,
        "written": number.written,
        "unit": PRINTED_UNITS.get(number.unit, number.unit),
        "doubt": number.doubts,
        "at": [min(xs), min(ys), max(xs), max(ys)],
    }
