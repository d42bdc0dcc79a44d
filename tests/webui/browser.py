"""Debian's Chromium, driven by Playwright, against the production server in a thread of this process."""

from __future__ import annotations

import contextlib
import threading
from collections.abc import Iterator
from typing import Any

from tests.webui.conftest import Shop
from webui.server import listening, port_of

PHONE = {"width": 390, "height": 844}
DESKTOP = {"width": 1280, "height": 900}


@contextlib.contextmanager
def serving(made: Shop) -> Iterator[str]:
    """The application on a free port of this machine; its address."""
    server = listening(made.app, "127.0.0.1", 0)
    ending = threading.Event()

    def run() -> None:
        while not ending.is_set():
            server.asyncore.loop(timeout=0.05, map=server._map, count=1)

    runner = threading.Thread(target=run, daemon=True)
    runner.start()
    try:
        yield f"http://127.0.0.1:{port_of(server)}"
    finally:
        made.app.extensions["journal"].close()
        ending.set()
        runner.join(5)
        server.task_dispatcher.shutdown(timeout=5)
        server.close()


@contextlib.contextmanager
def window(browser: Any, size: dict[str, int] = DESKTOP, **how: Any) -> Iterator[Any]:
    """A page in a window of its own; complaints on its console fail the test at the end."""
    context = browser.new_context(viewport=size, **how)
    page = context.new_page()
    said: list[str] = []
    page.on("console", lambda message: said.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: said.append(str(error)))
    yield page
    context.close()
    assert said == [], said
