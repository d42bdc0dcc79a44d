"""A phone at the engine: a link from a QR code, photos straight from the camera into one job."""

from __future__ import annotations

from typing import Any

from flask import Blueprint, abort, flash, render_template, url_for
from flask.typing import ResponseReturnValue

from webui import camera
from webui.acting import acting
from webui.desk import job_behind
from webui.files import photo_of
from webui.grants import LinkKind
from webui.log import refused
from webui.shop import shop

pages = Blueprint("phone", __name__)


@pages.get("/in/<token>")
def view(token: str) -> ResponseReturnValue:
    """Take a photo, and where it will belong."""
    job = shop().state(job_behind(token, LinkKind.PHONE).job).job
    return render_template("phone.html", **camera.view(job, "phone", token=token))


@pages.get("/in/<token>/now")
def now(token: str) -> ResponseReturnValue:
    """What the open page shows by now."""
    return _now(token)


@pages.post("/in/<token>")
def send(token: str) -> ResponseReturnValue:
    """Take the photos in."""
    link = job_behind(token, LinkKind.PHONE)
    camera.take(acting(link.job), may=lambda: shop().quotas.photo_comes(link.id))
    return camera.answered(url_for("phone.view", token=token), lambda: _now(token))


@pages.post("/in/<token>/cue")
def cue(token: str) -> ResponseReturnValue:
    """Say where the next photos belong."""
    link = job_behind(token, LinkKind.PHONE)
    if shop().quotas.cue_comes(link.id):
        camera.point(acting(link.job))
    else:
        flash("the place was changed very often just now: wait a minute", "danger")
        refused("too many places by one link", again_and_again=True)
    return camera.answered(url_for("phone.view", token=token), lambda: _now(token))


@pages.get("/in/<token>/photo/<sha256:sha>")
def photo(token: str, sha: str) -> ResponseReturnValue:
    """A small copy of a photo that this very device sent."""
    link = job_behind(token, LinkKind.PHONE)
    if not camera.is_mine(sha):
        refused("photo that another sent")
        abort(404)
    return photo_of(shop().state(link.job).job, sha, "thumb")


def _now(token: str) -> dict[str, Any]:
    return camera.now(shop().state(job_behind(token, LinkKind.PHONE).job).job, "phone", token=token)
