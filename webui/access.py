"""Who may see the pages: this machine always; another device of the shop's network once it gave the code."""

from __future__ import annotations

import ipaddress
import socket
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

from flask import Blueprint, Flask, abort, flash, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue

from journal.record.photos import MOST_BYTES
from webui.log import refused
from webui.shop import shop

pages = Blueprint("access", __name__)

DEVICE_HOURS = 12
"""How long a device's signed cookie lasts."""

OPEN_TO_ALL = frozenset({"static", "access.code", "access.give_code", "looks.theme", "desk", "phone"})
"""Endpoints (or whole blueprints) that ask for no code: what they show is guarded by a signed link, or is nothing."""

UPLOADS = frozenset({"photos.upload", "phone.send"})
"""Endpoints that take photos, and so a larger form."""

PHOTO_FORM_BYTES = MOST_BYTES + 1_000_000
"""The largest form with photos."""


def guard(app: Flask) -> None:
    """Check every request before it is answered."""

    @app.before_request
    def _check() -> ResponseReturnValue | None:
        if not _own_name(urlsplit(f"//{request.host}").hostname or ""):
            refused("foreign host name")
            abort(403)
        if request.method not in ("GET", "HEAD", "OPTIONS") and _from_elsewhere():
            refused("post from another site")
            abort(403)
        if request.endpoint in UPLOADS:
            request.max_content_length = PHOTO_FORM_BYTES
        if request.endpoint in OPEN_TO_ALL or request.blueprint in OPEN_TO_ALL or is_here() or _is_admitted():
            return None
        if request.method == "GET" and request.endpoint is not None:
            return redirect(url_for("access.code"), 303)
        refused("no code given")
        return abort(403)


def is_here() -> bool:
    """Whether the request comes from the journal's own machine."""
    return _loopback(request.remote_addr or "")


def _loopback(address: str) -> bool:
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _is_admitted() -> bool:
    device = session.get("device")
    return shop().lan and isinstance(device, str) and shop().grants.admitted(device)


def _own_name(host: str) -> bool:
    """Whether a request's host is this machine: a foreign name that resolves here is a trick on the browser."""
    if host == "localhost" or _loopback(host):
        return True
    if not shop().lan:
        return False
    name = socket.gethostname().lower()
    if host.lower() in (name, f"{name}.local"):
        return True
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def _from_elsewhere() -> bool:
    site = request.headers.get("Sec-Fetch-Site", "same-origin")
    origin = request.headers.get("Origin")
    return site not in ("same-origin", "none") or (origin is not None and urlsplit(origin).netloc != request.host)


def back_here(address: str) -> str:
    """The address when it is a path on this site, else the board's."""
    parts = urlsplit(address)
    own = not parts.scheme and not parts.netloc and address.startswith("/") and not address.startswith(("//", "/\\"))
    return address if own and "\\" not in address else "/"


@pages.get("/code")
def code() -> ResponseReturnValue:
    """Ask a device for the code."""
    return render_template("code.html")


@pages.post("/code")
def give_code() -> ResponseReturnValue:
    """Let a device in, or say that the code is wrong."""
    right = shop().door.try_code(request.form.get("code", "")[:40], shop().log.tag(request.remote_addr))
    if right:
        session.permanent = True
        session["device"] = shop().grants.admit()
        return redirect(url_for("board.board"), 303)
    refused("too many wrong codes" if right is None else "wrong code", again_and_again=True)
    if right is None:
        abort(429)
    flash("that is not the code; it stands where the journal was started", "danger")
    return render_template("code.html"), 403


@pages.get("/devices")
def devices() -> ResponseReturnValue:
    """The code for the next device, and the devices that are in."""
    since = datetime.now(UTC) - timedelta(hours=DEVICE_HOURS)
    inside = shop().grants.devices(since) if shop().lan else []
    return render_template("devices.html", devices=inside, code=shop().door.shown if shop().lan else "")


@pages.post("/devices/<device>/out")
def put_out(device: str) -> ResponseReturnValue:
    """Put a device out."""
    shop().grants.put_out(device)
    return redirect(url_for("access.devices"), 303)
