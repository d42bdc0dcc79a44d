"""Who may see the pages: the browser of whoever started the journal, and devices of the network that gave the code.

The machine may be shared: that a request comes from it says nothing of who sits at it.
"""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import time
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

from flask import Blueprint, Flask, abort, flash, g, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue
from markupsafe import Markup

from journal.errors import NotFound
from journal.record.lines import JobLine
from journal.record.photos import MOST_BYTES
from journal.record.spool import Spool
from webui.grants import ADMITTED_HOURS, DeviceKind, Link, LinkKind
from webui.log import refused
from webui.network import lan_address
from webui.shop import Shop, shop

pages = Blueprint("access", __name__)

OPEN_TO_ALL = frozenset({"static", "access.code", "access.give_code", "access.enter", "looks.theme", "desk", "phone"})
"""Endpoints (or whole blueprints) that ask for no code: what they show is guarded by a signed link, or is nothing."""

UPLOADS = frozenset({"photos.upload", "phone.send", "handset.send"})
"""Endpoints that take photos, and so a larger form."""

NAME_SIGNS = 40
"""The longest name of a device."""

FRAME_BYTES = 4_000_000
"""The largest frame of a camera on a stand."""

SPEAKING_S = 5.0
"""Seconds since its last sound for which a device is called a microphone."""

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
        if (most := largest(request.endpoint or "")) is not None:
            request.max_content_length = most
        g.visitor = visitor(shop(), request.remote_addr or "", session.get("device"))
        if request.endpoint in OPEN_TO_ALL or request.blueprint in OPEN_TO_ALL or g.visitor is not None:
            return None
        if request.method == "GET" and request.endpoint is not None:
            to = request.full_path.removesuffix("?")
            return redirect(url_for("access.code", to=to if to != "/" else None), 303)
        refused("no code given")
        return abort(403)


def largest(endpoint: str) -> int | None:
    """The largest body that an endpoint takes, bytes; none where it is the usual one."""
    return PHOTO_FORM_BYTES if endpoint in UPLOADS else FRAME_BYTES if endpoint == "stand.frame" else None


def visitor(at: Shop, address: str, device: object) -> DeviceKind | None:
    """How whoever comes from this address with this device's cookie was let in; none when they are not in."""
    kind = at.grants.admitted(device) if isinstance(device, str) else None
    here = kind is DeviceKind.OWN and loopback(address)
    return kind if here or (kind is DeviceKind.CODE and at.lan) else None


def is_owner() -> bool:
    """Whether the request is of the browser that was let in by the address shown where the journal was started."""
    return g.get("visitor") is DeviceKind.OWN


def loopback(address: str) -> bool:
    """Whether an address is this machine's own to itself."""
    try:
        return ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def _own_name(host: str) -> bool:
    """Whether a request's host is this machine: a foreign name that resolves here is a trick on the browser."""
    if host == "localhost" or loopback(host):
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


@pages.get("/enter/<secret>")
def enter(secret: str) -> ResponseReturnValue:
    """Let in the browser of whoever started the journal, by the address shown there, once."""
    if is_owner():
        return redirect(url_for("board.board"), 303)
    if not loopback(request.remote_addr or "") or not shop().entrance.use(secret):
        refused("address to enter used up or made up", again_and_again=True)
        return _ask(), 403
    _let_in(DeviceKind.OWN)
    return redirect(url_for("board.board"), 303)


def _let_in(kind: DeviceKind, name: str = "") -> None:
    session.permanent = True
    session["device"] = shop().grants.admit(kind, name)


def _ask() -> str:
    to = back_here(request.values.get("to", "/")[:200])
    return render_template("code.html", here=loopback(request.remote_addr or ""), lan=shop().lan, to=to)


@pages.get("/code")
def code() -> ResponseReturnValue:
    """Ask a device for the code, or a browser of this machine for the address."""
    return _ask()


@pages.post("/code")
def give_code() -> ResponseReturnValue:
    """Let a device in, or say that the code is wrong."""
    right = shop().door.try_code(request.form.get("code", "")[:40], shop().log.tag(request.remote_addr))
    if right:
        _let_in(DeviceKind.CODE, _name())
        to, in_hand = back_here(request.form.get("to", "/")[:200]), job_in_hand()
        if to == "/" and in_hand is not None and _is_phone():
            return redirect(url_for("handset.view", job_id=in_hand.id), 303)
        return redirect(to, 303)
    refused("too many wrong codes" if right is None else "wrong code", again_and_again=True)
    if right is None:
        abort(429)
    flash("that is not the code; it stands where the journal was started", "danger")
    return _ask(), 403


def job_in_hand() -> JobLine | None:
    """The job that this machine listens for, else the one opened last; none where none is open."""
    at = shop()
    job = at.listener.wanted.job if at.listener.wanted is not None else at.store.latest_open()
    with contextlib.suppress(NotFound):  # it was erased meanwhile
        return at.store.line(job) if job else None
    return None


def _is_phone() -> bool:
    """Whether a browser says that it is a phone's (`Mobi` in its name, as MDN recommends to look for; from memory)."""
    return "Mobi" in request.headers.get("User-Agent", "")


def _name() -> str:
    """What a form calls a device: one line, not too long."""
    words = " ".join(request.form.get("name", "")[:400].split())
    return "".join(sign for sign in words if sign.isprintable())[:NAME_SIGNS]


@pages.get("/devices")
def devices() -> ResponseReturnValue:
    """Everything that gets in now; the way in for the next device only to whoever started the journal."""
    at, owner = shop(), is_owner()
    inside = [device for device in at.grants.devices() if device.kind is DeviceKind.OWN or at.lan]
    job = request.args.get("job", "")
    unit = at.store.line(job).unit if job else ""
    way_in = _way_in(url_for("handset.view", job_id=job) if job else "/") if owner and at.lan else None
    return render_template(
        "devices.html", devices=inside, links=_links() if owner else [], lan=at.lan, owner=owner, unit=unit, job=job,
        switch=at.network is not None, mine=session.get("device"), hours=ADMITTED_HOURS, way_in=way_in,
        speaking=_speaking(), signs=NAME_SIGNS,
    )  # fmt: skip


@pages.post("/devices/network")
def network() -> ResponseReturnValue:
    """Let the shop's network reach the pages, or this machine only; for whoever started the journal."""
    at, job = shop(), request.form.get("job", "")[:80]
    if not is_owner() or at.network is None:
        refused("network switched by another")
        abort(403)
    if request.form.get("act") == "open":
        at.network.open()
        at.network.tell()
    else:
        at.network.shut()
        flash("only browsers of this machine can open these pages now", "success")
    return redirect(url_for("access.devices", job=job or None), 303)


@dataclass(frozen=True)
class WayIn:
    """How the next device comes in."""

    address: str
    """What it opens."""
    drawing: Markup
    """The same as a QR code, with the code to give."""
    code: str
    """The code, as people read it."""
    secure: str
    """The address by TLS; empty where there is none."""
    fingerprint: str
    """SHA-256 of the certificate there."""


def _way_in(to: str) -> WayIn:
    at, port = shop(), urlsplit(f"//{request.host}").port
    name = lan_address() or socket.gethostname()
    # By the plain address: a phone that is only to be a camera need not be asked about a certificate. Over TLS the
    # port of this request is not the plain one.
    plain = at.port if at.port is not None else port
    address = f"http://{name}{f':{plain}' if plain else ''}{url_for('access.code')}"
    # The code goes behind the #, which a browser keeps to itself.
    drawing = qr_code(f"{address}{f'?to={quote(to)}' if to != '/' else ''}#{at.door.code}")
    secure = f"https://{name}:{at.secure.port}/" if at.secure else ""
    return WayIn(address, drawing, at.door.shown, secure, at.secure.fingerprint if at.secure else "")


def qr_code(text: str) -> Markup:
    """A text as a drawing, black on white whatever the theme: cameras read it best."""
    import segno

    drawing = segno.make(text, error="m").svg_inline(
        scale=6, border=4, dark="#000", light="#fff", svgclass="qr", omitsize=True
    )
    return Markup(drawing)


def _links() -> list[tuple[Link, JobLine]]:
    """Every link that opens something now, with its job."""
    from webui.desk import closed_since

    found = []
    for link in shop().grants.open_links():
        with contextlib.suppress(NotFound):  # its job was erased: it opens nothing
            if link.kind is not LinkKind.PHONE or not closed_since(shop().state(link.job).job, link):
                found.append((link, shop().store.line(link.job)))
    return found


def _speaking() -> dict[str, str]:
    """By device, the unit of the job whose microphone it is now."""
    found = {}
    for device, (job, when) in list(shop().speaking.items()):
        if time.monotonic() - when < SPEAKING_S:
            with contextlib.suppress(NotFound):
                found[device] = shop().store.line(job).unit
    return found


@pages.post("/devices/<device>/name")
def call(device: str) -> ResponseReturnValue:
    """Give a device a name; one that gave the code can name itself only."""
    if not is_owner() and device != session.get("device"):
        refused("device named by another")
        abort(403)
    if not shop().grants.call(device, _name()):
        raise NotFound("there is no such device: reload the page")
    return redirect(url_for("access.devices"), 303)


@pages.post("/devices/<device>/out")
def put_out(device: str) -> ResponseReturnValue:
    """Put a device out, and with it its microphone; one that gave the code can put itself out only."""
    if not is_owner() and device != session.get("device"):
        refused("device put out by another")
        abort(403)
    if not shop().grants.put_out(device):
        raise NotFound("there is no such device: reload the page")
    job, _ = shop().speaking.pop(device, ("", 0.0))
    if job:
        Spool(shop().folder, job).end("", device)
    return redirect(url_for("access.devices"), 303)
