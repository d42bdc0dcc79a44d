"""A phone at the engine: a link from a QR code, photos straight from the camera into one job."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from webui.acting import acting
from webui.desk import job_behind
from webui.grants import LinkKind
from webui.photos import landing, take_all
from webui.shop import shop

pages = Blueprint("phone", __name__)


@pages.get("/in/<token>")
def view(token: str) -> ResponseReturnValue:
    """Take a photo, and where it will belong."""
    job = shop().state(job_behind(token, LinkKind.PHONE).job).job
    return render_template("phone.html", token=token, job=job, landing=landing(job))


@pages.post("/in/<token>")
def send(token: str) -> ResponseReturnValue:
    """Take the photos in."""
    link = job_behind(token, LinkKind.PHONE)
    take_all(acting(link.job), request.files.getlist("photos"), may=lambda: shop().quotas.photo_comes(link.id))
    return redirect(url_for("phone.view", token=token), 303)
