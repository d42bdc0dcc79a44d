"""Sounds and photos of a job, by their SHA-256; only what an entry of that very job names is given out."""

from __future__ import annotations

from pathlib import Path

from flask import Blueprint, Response, send_file
from flask.typing import ResponseReturnValue
from werkzeug.routing import BaseConverter

from journal.errors import NotFound
from journal.facts import Seen
from journal.output.marks import part_with, with_marks
from journal.record.clips import clip_path
from journal.record.job import Job, Picture
from journal.record.photos import original_path, page_copy_path, thumbnail_path
from webui.shop import shop

pages = Blueprint("files", __name__)

GONE = "the file itself is not in this journal; it may have been left out of a pack"
"""Why an entry's picture or sound cannot be given out."""

FOR_EVER = "private, max-age=31536000, immutable"
"""How long a browser may keep what never changes."""


class Sha256(BaseConverter):
    """64 lower-case hex digits in an address, and nothing else."""

    regex = "[0-9a-f]{64}"


@pages.get("/job/<job_id>/clip/<sha256:sha>.flac")
def clip(job_id: str, sha: str) -> ResponseReturnValue:
    """The sound of an utterance of this job."""
    job = shop().state(job_id).job
    if not any(entry.clip == sha for entry in job.entries):
        raise NotFound("this job has no such sound; open the job's review to see what it has")
    return _file(clip_path(shop().folder, sha), "audio/flac")


@pages.get("/job/<job_id>/photo/<sha256:sha>/<any(thumb, page):size>")
def photo(job_id: str, sha: str, size: str) -> ResponseReturnValue:
    """A photo of this job without its location: small, or the size of a page."""
    return photo_of(shop().state(job_id).job, sha, size)


@pages.get("/job/<job_id>/photo/<sha256:sha>/original")
def original(job_id: str, sha: str) -> ResponseReturnValue:
    """A photo's original, byte for byte, to be kept, not shown."""
    state = shop().state(job_id)
    number = state.job.pictures.index(picture_of(state.job, sha)) + 1
    path = original_path(shop().folder, sha)
    # Under a name of ours: what the sender called it may be anything.
    name = f"job-{state.line.reference}-photo-{number}{path.suffix}"
    return _file(path, "application/octet-stream", download=name)


@pages.get("/job/<job_id>/seen/<entry_id>.jpg")
def seen(job_id: str, entry_id: str) -> ResponseReturnValue:
    """The part of a photo on which a number was read, with a frame around it."""
    job = shop().state(job_id).job
    entry = next((e for e in job.entries if e.id == entry_id and isinstance(e.body, Seen)), None)
    if entry is None or not isinstance(entry.body, Seen):
        raise NotFound("this job has no such number on a photo; open the job's photos to see what it has")
    picture_of(job, entry.body.photo)
    path = page_copy_path(shop().folder, entry.body.photo)
    if not path.is_file():
        raise NotFound(GONE)
    answer = Response(part_with(path.read_bytes(), entry.body), content_type="image/jpeg")
    answer.headers["Cache-Control"] = FOR_EVER
    return answer


def photo_of(job: Job, sha: str, size: str) -> ResponseReturnValue:
    """A shown copy of one of the job's photos.

    Raises:
        NotFound: when the photo is not of this job, or its file is gone.
    """
    picture_of(job, sha)
    path = thumbnail_path(shop().folder, sha) if size == "thumb" else page_copy_path(shop().folder, sha)
    return _file(path, "image/jpeg")


def marked_photo_of(job: Job, sha: str) -> ResponseReturnValue:
    """The page copy of one of the job's photos with its marks drawn in, as large as it is kept for pages.

    Raises:
        NotFound: when the photo is not of this job, or its file is gone.
    """
    marks = [fact.body for fact in picture_of(job, sha).marks]
    path = page_copy_path(shop().folder, sha)
    if not path.is_file():
        raise NotFound(GONE)
    return Response(with_marks(path.read_bytes(), marks), content_type="image/jpeg")


def picture_of(job: Job, sha: str) -> Picture:
    """The job's photo with this SHA-256; `NotFound` when it has none."""
    for picture in job.pictures:
        if picture.photo.body.sha256 == sha:
            return picture
    raise NotFound("this job has no such photo; open the job's photos to see what it has")


def _file(path: Path, kind: str, download: str = "") -> ResponseReturnValue:
    if not path.is_file():
        raise NotFound(GONE)
    answer = send_file(
        path.resolve(), kind, as_attachment=bool(download), download_name=download or None, conditional=True
    )
    answer.headers["Cache-Control"] = FOR_EVER
    return answer
