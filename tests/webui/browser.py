"""Debian's Chromium, driven by Playwright, against the production server in a thread of this process."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import Any

from tests.webui.conftest import Shop
from webui.connections import PageServer
from webui.lan import port_of, secured
from webui.server import listening

PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}

_ways_in: dict[str, dict[str, str]] = {}
"""The cookie of a browser that was let in, by the address it is for."""


@contextlib.contextmanager
def serving(made: Shop) -> Iterator[str]:
    """The application on a free port of this machine; its address."""
    with _running(made) as (address, _):
        yield address


@contextlib.contextmanager
def serving_securely(made: Shop) -> Iterator[tuple[str, str]]:
    """The application on two free ports of this machine; its plain address, and the one by TLS."""
    with _running(made) as (address, server):
        front = secured(server, "127.0.0.1", 0)
        front.start()
        secure = f"https://127.0.0.1:{front.port}"
        _ways_in[secure] = {**_ways_in[address], "url": secure}
        try:
            yield address, secure
        finally:
            del _ways_in[secure]
            front.close()


@contextlib.contextmanager
def _running(made: Shop) -> Iterator[tuple[str, PageServer]]:
    server = listening(made.app, "127.0.0.1", 0)
    ending = threading.Event()

    def run() -> None:
        while not ending.is_set():
            server.asyncore.loop(timeout=0.05, map=server._map, count=1)

    runner = threading.Thread(target=run, daemon=True)
    runner.start()
    address = f"http://127.0.0.1:{port_of(server)}"
    name = made.app.config["SESSION_COOKIE_NAME"]
    cookie = made.client.get_cookie(name)
    assert cookie is not None
    _ways_in[address] = {"name": name, "value": cookie.value, "url": address}
    try:
        yield address, server
    finally:
        del _ways_in[address]
        made.app.extensions["journal"].close()
        ending.set()
        runner.join(5)
        server.task_dispatcher.shutdown(timeout=5)
        server.close()


def opened(browser: Any, size: dict[str, int], *, known: bool = True, **how: Any) -> Any:
    """A profile of its own, let in as whoever started the journal unless it is to be a stranger's."""
    context = browser.new_context(viewport=size, **how)
    if known:
        context.add_cookies(list(_ways_in.values()))
    return context


@contextlib.contextmanager
def window(
    browser: Any, size: dict[str, int] = DESKTOP, *, known: bool = True, refusals: bool = False, **how: Any
) -> Iterator[Any]:
    """A page in a window of its own; complaints on its console fail the test at the end.

    With `refusals` the browser may say that something asked for by a script was refused or could not be had.
    """
    context = opened(browser, size, known=known, **how)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    yield page
    context.close()
    said = [words for words in said if not (refusals and words.startswith("Failed to load resource"))]
    assert said == [], said
