"""A journal's folder in, the Flask application that shows it out."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, render_template, request
from flask.typing import ResponseReturnValue
from flask_compress import Compress
from flask_wtf.csrf import CSRFError, CSRFProtect
from werkzeug.exceptions import HTTPException

from journal.errors import BadInput, JournalError, NotFound
from webui import (
    access,
    board,
    camera,
    desk,
    facts,
    files,
    finish,
    handset,
    headers,
    job,
    links,
    listening,
    live,
    log,
    looks,
    mending,
    phone,
    photos,
    phrases,
    review,
    say,
    stand,
    tapping,
    units,
    waiting,
    writeup,
)
from webui.grants import ADMITTED_HOURS
from webui.keys import signing_key
from webui.shop import Shop
from webui.shop import shop as shop_now

PAGES = (
    access, board, desk, facts, files, finish, handset, job, links, listening, live, looks, mending, phone, photos,
    phrases, review, stand, tapping, units, writeup,
)  # fmt: skip
"""The modules that answer addresses; each has its own `pages`."""

FORM_BYTES = 256 * 1024
"""The largest form or query taken where no photo is expected."""


def create_app(folder: Path, *, lan: bool = False, announce: Callable[[str], None] = lambda line: None) -> Flask:
    """The application for the journal in `folder`.

    Args:
        folder: the journal's folder; made when it is not there.
        lan: whether other devices of the shop's network may reach it; each must give a code.
        announce: takes each line meant for whoever runs the server, such as the code for the next device.

    Raises:
        RecordError: when the journal cannot be opened.
    """
    app = Flask(__name__)
    key = signing_key(folder)
    app.config.update(
        SECRET_KEY=key,
        # Cookies know no ports: two journals on one machine would put each other's browsers out.
        SESSION_COOKIE_NAME=f"journal-{hashlib.sha256(key).hexdigest()[:8]}",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Lax",
        # Answers that cross must not put back what another of them changed.
        SESSION_REFRESH_EACH_REQUEST=False,
        PERMANENT_SESSION_LIFETIME=timedelta(hours=ADMITTED_HOURS),
        MAX_CONTENT_LENGTH=FORM_BYTES,
        MAX_FORM_MEMORY_SIZE=FORM_BYTES,
        MAX_FORM_PARTS=400,
        COMPRESS_ALGORITHM="gzip",
        COMPRESS_LEVEL=4,
        COMPRESS_STREAMS=False,
        WTF_CSRF_TIME_LIMIT=ADMITTED_HOURS * 3600,
    )
    app.jinja_env.trim_blocks = app.jinja_env.lstrip_blocks = True
    shop = app.extensions["journal"] = Shop(folder, key, lan=lan, announce=announce)
    log.keep(app, shop.log)
    access.guard(app)
    CSRFProtect(app)
    Compress(app)
    headers.guard(app)
    app.after_request(_go)
    app.teardown_appcontext(lambda error: shop.answered())
    say.teach(app)
    app.url_map.converters["sha256"] = files.Sha256
    for module in PAGES:
        app.register_blueprint(module.pages)
    app.context_processor(_common)
    app.register_error_handler(JournalError, _refused)
    app.register_error_handler(HTTPException, _http)
    return app


def _common() -> dict[str, Any]:
    return {**looks.theme_now(), "waits": waiting.waits()}


def _refused(error: Exception) -> ResponseReturnValue:
    missing = isinstance(error, NotFound)
    if _stays():
        return {"words": str(error)}, 404 if missing else 400
    status, title = (404, "Not found") if missing else (400, "That cannot be done")
    words = {"title": title, "text": str(error), "field": getattr(error, "field", "")}
    job_id = (request.view_args or {}).get("job_id", "")
    if request.method == "POST" and isinstance(error, BadInput) and job_id:
        with contextlib.suppress(JournalError):
            state = shop_now().state(job_id)
            page = {**job.about(state, _TABS.get(str(request.blueprint), "overview")), **words, "back": _back(job_id)}
            return render_template("problem_in_job.html", **page), status
    return render_template("problem.html", **words), status


_TABS = {"review": "review", "mending": "review", "photos": "photos", "links": "parts", "writeup": "writeup",
         "finish": "finish"}  # fmt: skip
"""The tab that a form belongs to, by the module that takes it."""


def _back(job_id: str) -> str:
    """The page of this job that the form was sent from; its first page where that is not told."""
    came = urlsplit(request.referrer or "")
    mine = f"/job/{job_id}"
    if came.netloc == request.host and (came.path == mine or came.path.startswith(f"{mine}/")):
        return f"{came.path}?{came.query}" if came.query else came.path
    return mine


def _go(response: Response) -> Response:
    """Tell a page's own script where an act leads, so that it goes there itself and keeps its place."""
    if request.headers.get("X-Form") and response.status_code in (302, 303):
        told = Response("", 200, {"X-Go": response.headers["Location"]})
        for cookie in response.headers.getlist("Set-Cookie"):
            told.headers.add("Set-Cookie", cookie)
        return told
    return response


def _stays() -> bool:
    """Whether a page asks that stays as it is, and shows what it is told itself."""
    return request.accept_mimetypes.best == "application/json"


_PLAIN = {
    400: "The form was out of date or not from this page. Go back, reload the page and send it again.",
    403: "This device may not see this. Ask at the journal's own machine.",
    404: "There is nothing at this address. Start from the list of jobs.",
    405: "This address does not take that. Start from the list of jobs.",
    413: "That is larger than this page takes. Send one photo at a time, or a smaller one.",
    429: "Too many tries. Wait a minute, then try again.",
}


def _http(error: Exception) -> ResponseReturnValue:
    assert isinstance(error, HTTPException)
    if isinstance(error, CSRFError):
        log.refused("form without this page's sign")
    if error.code == 413:
        log.refused("form too large")
        if request.endpoint in access.UPLOADS:
            return camera.too_large()
    if error.response is not None or error.code is None or error.code < 400:
        return error.get_response()
    if _stays():
        return {"words": _PLAIN.get(error.code, error.name)}, error.code
    text = _PLAIN.get(error.code, error.description or "Something went wrong here. Reload the page.")
    return render_template("problem.html", title=error.name, text=text), error.code
