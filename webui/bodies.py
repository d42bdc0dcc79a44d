"""The head of a request in; out, whether its body is taken, and how much of it, before any of it is read."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

from flask import Flask
from itsdangerous import BadSignature
from werkzeug.exceptions import HTTPException
from werkzeug.http import parse_cookie

from journal.errors import RecordError
from webui.access import OPEN_TO_ALL, PHOTO_FORM_BYTES, largest, visitor
from webui.grants import LinkKind
from webui.shop import Shop

SMALL_FORM_BYTES = 8192
"""The largest form taken from whoever is not in yet: a code, or light or dark."""


@dataclass(frozen=True)
class Taken:
    """What is done with a request's body."""

    status: int = 0
    """The status it is refused with, unread; 0 when it is not."""
    why: str = ""
    """Why it is refused, for the log."""
    most: int = 0
    """How much of it is kept, bytes; of a larger one nothing is, and the page says that it is too large."""
    known: bool = False
    """Whether it comes from whoever is in, or by a good link, and so may take its time."""


def judge(app: Flask, address: str, method: str, path: str, headers: dict[str, str], size: int) -> Taken:
    """What to do with a body of this size, bytes (0 when its head does not say).

    Args:
        app: the application.
        address: the other end's.
        method: as in the request's first line.
        path: without the query, as WSGI has it.
        headers: by names as in WSGI, without `HTTP_`.
        size: what the head says of its length.
    """
    shop = cast(Shop, app.extensions["journal"])
    endpoint, values = _asked(app, method, path)
    blueprint = endpoint.split(".")[0]
    if blueprint in ("desk", "phone") and method == "POST":
        return _by_link(app, shop, blueprint, values["token"], size)
    try:
        known = visitor(shop, address, _device(app, headers.get("COOKIE", ""))) is not None
    except RecordError:
        known = False
    if known:
        return Taken(most=largest(endpoint) or app.config["MAX_CONTENT_LENGTH"], known=True)
    if endpoint not in OPEN_TO_ALL or method != "POST":
        return Taken(403, "no code given")
    return Taken(413, "form too large") if size > SMALL_FORM_BYTES else Taken(most=SMALL_FORM_BYTES)


def _asked(app: Flask, method: str, path: str) -> tuple[str, Any]:
    """The endpoint that is asked for, with the names in its address; empty where nothing answers."""
    try:
        decoded = path.encode("latin-1").decode("utf-8", "replace")
        return app.url_map.bind("localhost").match(decoded, method)
    except (HTTPException, UnicodeError):
        return "", {}


def _device(app: Flask, cookies: str) -> object:
    """The device that a cookie names, where its signature is ours."""
    signer = cast(Any, app.session_interface).get_signing_serializer(app)
    try:
        session = signer.loads(parse_cookie(cookies).get(app.config["SESSION_COOKIE_NAME"], ""))
    except BadSignature:
        return None
    return session.get("device") if isinstance(session, dict) else None


def _by_link(app: Flask, shop: Shop, blueprint: str, token: str, size: int) -> Taken:
    kind = LinkKind.DESK if blueprint == "desk" else LinkKind.PHONE
    try:
        link = shop.grants.link(token, kind)
    except RecordError:
        link = None
    if link is None or not link.open_now():
        return Taken(403, "link that opens nothing")
    if kind is LinkKind.DESK:
        if not shop.quotas.form_comes(link.id):
            return Taken(429, "desk link over its forms a minute")
        return Taken(most=app.config["MAX_CONTENT_LENGTH"], known=True)
    if not shop.quotas.bytes_come(link.id, size or PHOTO_FORM_BYTES):
        return Taken(429, "phone link over its bytes a minute")
    return Taken(most=PHOTO_FORM_BYTES, known=True)
