"""A job's photos: a gallery by subject and cylinder, one with marks drawn on it, two side by side, and taking in."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from flask import Blueprint, flash, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue
from PIL import Image
from werkzeug.datastructures import FileStorage

from journal.errors import BadInput, JournalError
from journal.facts import Entry, Photo, PhotoMark, PhotoPlaced, Seen, Subject, Withdrawal
from journal.output.marks import wings
from journal.photographed import arriving
from journal.record.job import Fact, Job, Picture
from journal.record.photos import page_copy_path, take_in
from journal.screen_place import SCREEN
from journal.seeing import NOT_READ, can_see
from journal.session import Session
from webui.acting import acting, cylinder_of, done, entry_of, field, real
from webui.files import picture_of
from webui.grants import LinkKind
from webui.job import about
from webui.log import refused
from webui.shop import shop

pages = Blueprint("photos", __name__)

AT_ONCE = 20
"""Photos taken in with one form."""


@dataclass(frozen=True)
class Drawn:
    """A ring or an arrow in the pixels of the page copy."""

    entry: str
    """Identifier of its entry."""
    shape: str
    """`ring` or `arrow`."""
    x0: float
    """Ring: centre; arrow: tail."""
    y0: float
    """The same, downwards."""
    x1: float
    """Arrow: head."""
    y1: float
    """The same, downwards."""
    radius: float
    """Ring: its radius."""
    wings: str
    """Arrow: its head's two wings as points of a polyline."""
    text: str
    """A word beside it."""


@pages.get("/job/<job_id>/photos")
def gallery(job_id: str) -> ResponseReturnValue:
    """All photos: those without a place, of the whole engine, then cylinder by cylinder."""
    state = shop().state(job_id)
    phones = [link for link in shop().grants.links(job_id, LinkKind.PHONE) if link.open_now()]
    return render_template(
        "photos.html", **about(state, "photos"), groups=by_cylinder(state.job), pairs=before_and_after(state.job),
        landing=landing(state.job), phones=[] if state.job.closed else phones, not_read=not_read(),
    )  # fmt: skip


def not_read() -> str:
    """That screens on photos are not read here, and what to do; empty where they are."""
    return "" if can_see() else NOT_READ


def by_cylinder(job: Job) -> list[tuple[str, list[Picture]]]:
    """The photos under a heading each: not placed yet, the whole engine, then cylinder by cylinder; each by subject."""
    groups: dict[int, list[Picture]] = {}
    for picture in job.pictures:
        photo = picture.photo.body
        groups.setdefault(photo.cylinder or (0 if photo.subject else -1), []).append(picture)
    words = {-1: "Not placed yet", 0: "Whole engine"}
    for pictures in groups.values():
        pictures.sort(key=lambda p: (p.photo.body.subject, p.photo.entry.at_utc, p.photo.entry.id))
    return [(words.get(place, f"Cylinder {place}"), groups[place]) for place in sorted(groups)]


def before_and_after(job: Job) -> list[tuple[str, Picture, Picture]]:
    """The last photo before the last repair and the first after it, of every place that has both, with its words."""
    if not job.repairs:
        return []
    repaired = job.repairs[-1].entry
    sides: dict[str, dict[bool, list[Picture]]] = {}
    for picture in job.pictures:
        photo = picture.photo
        if photo.body.subject:
            after = (_taken(picture), photo.entry.id) > (repaired.at_utc, repaired.id)
            sides.setdefault(place_words(photo.body), {}).setdefault(after, []).append(picture)
    return [
        (place, max(side[False], key=_taken), min(side[True], key=_taken))
        for place, side in sides.items()
        if len(side) == 2
    ]


def _taken(picture: Picture) -> datetime:
    """When a photo was taken; when it came in, where it does not tell."""
    try:
        taken = datetime.fromisoformat(picture.photo.body.taken_at)
    except ValueError:
        return picture.photo.entry.at_utc
    return taken if taken.tzinfo is not None else picture.photo.entry.at_utc


def landing(job: Job) -> str:
    """Where a photo that arrives now would belong, in words; empty when nothing says."""
    return place_words(destination(job))


def destination(job: Job) -> Photo:
    """Where a photo that arrives now would belong, as a photo without a picture."""
    return arriving(job, datetime.now(UTC)).photo.body


def place_words(photo: Photo) -> str:
    """A photo's subject and cylinder in words; empty when it has no place."""
    return f"{photo.subject}{f', cylinder {photo.cylinder}' if photo.cylinder else ''}" if photo.subject else ""


@pages.get("/job/<job_id>/photos/<sha256:sha>")
def one(job_id: str, sha: str) -> ResponseReturnValue:
    """One photo with its marks, its place, and a way to draw."""
    state = shop().state(job_id)
    subjects = [SCREEN, *(str(subject) for subject in Subject)]
    photo = shown(picture_of(state.job, sha))
    return render_template(
        "photo.html", **about(state, "photos"), shown=photo, subjects=subjects, told=shop().screens.told(sha),
        read=read_off(state.job, sha),
    )  # fmt: skip


def read_off(job: Job, sha: str) -> list[tuple[Fact[Seen], Entry]]:
    """The numbers on a photo that anything came of, each with the entry that says it, as it counts now."""
    entries = {entry.id: entry for entry in job.entries}
    return [
        (fact, job.effective.get(target, entries[target]))
        for target, facts in job.seen.items()
        for fact in facts
        if fact.body.photo == sha and target in entries
    ]


@pages.get("/job/<job_id>/photos/pair")
def pair(job_id: str) -> ResponseReturnValue:
    """Two photos side by side."""
    state = shop().state(job_id)
    chosen = {name: request.args.get(name, "") for name in ("left", "right")}
    sides = {name: shown(picture_of(state.job, sha)) if sha else None for name, sha in chosen.items()}
    return render_template("pair.html", **about(state, "photos"), sides=sides)


@dataclass(frozen=True)
class Shown:
    """A photo as a page shows it."""

    picture: Picture
    """The photo with its place."""
    width: int
    """Width of its page copy, pixels; 0 when the picture itself is not in this journal."""
    height: int
    """Height of its page copy, pixels."""
    drawn: tuple[Drawn, ...]
    """What is drawn on it."""


def shown(picture: Picture) -> Shown:
    """A photo with its size and its marks; one whose file was left out of a pack, is lost or damaged has no size."""
    try:
        with Image.open(page_copy_path(shop().folder, picture.photo.body.sha256), formats=["JPEG"]) as image:
            width, height = image.size
    except (JournalError, OSError):  # Pillow's refusals are OSErrors
        return Shown(picture, 0, 0, ())
    return Shown(picture, width, height, drawn(picture, width, height))


def drawn(picture: Picture, width: int, height: int) -> tuple[Drawn, ...]:
    """The photo's marks in the pixels of a picture of this size."""
    return tuple(_drawn(fact.entry.id, fact.body, width, height) for fact in picture.marks)


def _drawn(entry: str, mark: PhotoMark, width: int, height: int) -> Drawn:
    x0, y0, x1, y1 = mark.x0 * width, mark.y0 * height, mark.x1 * width, mark.y1 * height
    points = wings((x0, y0), (x1, y1), 0.035 * max(width, height))
    head = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    return Drawn(entry, mark.shape, x0, y0, x1, y1, math.hypot(x1 - x0, y1 - y0), head, mark.text)


@pages.post("/job/<job_id>/photos/<sha256:sha>/place")
def place(job_id: str, sha: str) -> ResponseReturnValue:
    """Say what a photo shows."""
    session = acting(job_id)
    job = session.job
    picture_of(job, sha)
    subject = field("subject", 80)
    if not subject:
        raise BadInput("what the photo shows is empty: choose or write it")
    session.enter(PhotoPlaced(sha, subject, cylinder_of(job)))
    shop().screens.take(job_id, sha)
    done("placed")
    return redirect(url_for("photos.one", job_id=job_id, sha=sha), 303)


@pages.post("/job/<job_id>/photos/<sha256:sha>/mark")
def mark(job_id: str, sha: str) -> ResponseReturnValue:
    """Draw a ring or an arrow on top; the original is not touched."""
    session = acting(job_id)
    picture_of(session.job, sha)
    places = [real(name) for name in ("x0", "y0", "x1", "y1")]
    x0, y0, x1, y1 = [_percent(value) for value in places]
    session.enter(PhotoMark(sha, field("shape", 10), x0, y0, x1, y1, field("text", 80)))
    done("drawn")
    return redirect(url_for("photos.one", job_id=job_id, sha=sha), 303)


def _percent(value: float | None) -> float:
    if value is None or not 0 <= value <= 100:
        raise BadInput("the mark has no place: draw it on the photo, or give percentages from 0 to 100")
    return value / 100


@pages.post("/job/<job_id>/photos/<sha256:sha>/unmark/<entry_id>")
def unmark(job_id: str, sha: str, entry_id: str) -> ResponseReturnValue:
    """Take a mark back."""
    session = acting(job_id)
    entry = entry_of(session.job, entry_id)
    if not isinstance(entry.body, PhotoMark) or entry.body.photo != sha:
        raise BadInput("this is no mark on this photo: reload the page")
    session.enter(Withdrawal(entry_id))
    done("taken back")
    return redirect(url_for("photos.one", job_id=job_id, sha=sha), 303)


@pages.post("/job/<job_id>/photos")
def upload(job_id: str) -> ResponseReturnValue:
    """Take photos in from this device."""
    take_all(acting(job_id), request.files.getlist("photos"))
    return redirect(url_for("photos.gallery", job_id=job_id), 303)


def take_all(session: Session, files: Sequence[FileStorage], may: Callable[[], bool] = lambda: True) -> list[str]:
    """Take in each file that is a photo, tell about each that is not; the SHA-256 of those that came in.

    Args:
        session: whose photos they become.
        files: as the form brought them.
        may: asked before each whether it may come in now.
    """
    sent = [file for file in files if file.filename]
    if not sent:
        raise BadInput("no photo was sent: choose one first")
    if len(sent) > AT_ONCE:
        raise BadInput(f"{len(sent)} photos at once: send at most {AT_ONCE} in one go")
    taken: list[str] = []
    for file in sent:
        name = bare_name(file.filename or "")
        if not may():
            flash(f"{name} and what came after it: too many photos by this link now; send them again later", "danger")
            refused("too many photos by one link", again_and_again=True)
            break
        try:
            photo = take_in(session.store.folder, file.stream, name)
        except JournalError as error:
            flash(str(error), "danger")
            refused("file that is no photo")
            continue
        known = any(p.photo.body.sha256 == photo.sha256 for p in session.job.pictures)
        if not known:
            session.enter(Photo(photo.sha256, name, taken_at=photo.taken_at, warning=photo.warning))
        taken.append(photo.sha256)
        shop().screens.take(session.job_id, photo.sha256)
        _tell(session.job, photo.sha256, known, photo.warning)
    return taken


def _tell(job: Job, sha: str, known: bool, warning: str) -> None:
    body = next(p.photo.body for p in job.pictures if p.photo.body.sha256 == sha)
    done(f"{'was here already' if known else 'taken in'}: {place_words(body) or 'not placed yet'}")
    if warning:
        flash(warning, "warning")


def bare_name(name: str) -> str:
    """A file's name without any folder and of a length worth keeping."""
    last = name.replace("\\", "/").rsplit("/", 1)[-1]
    return "".join(c for c in last if c.isprintable())[-80:] or "photo"
