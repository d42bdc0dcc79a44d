"""One line of JSON for each request, with what was refused and why, and nothing that tells who or about what."""

from __future__ import annotations

import hashlib
import hmac
import json
import logging
import secrets
import threading
import time
import traceback
from collections import OrderedDict
from datetime import UTC, datetime
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path

from flask import Flask, Response, g, got_request_exception, request

from journal.errors import RecordError
from journal.facts.codec import time_to_text
from journal.output.plain import escaped, lines
from journal.record.files import not_a_file
from journal.record.privacy import begin_private

FILE_NAME = "page.log"
"""In the journal's folder; at most four files of a megabyte."""

QUIET_S = 900.0
"""Seconds for which a repeated attack by one device is not written down again."""

MOST_SEEN = 10_000
"""Attacks remembered for that; of more, the earliest are forgotten."""


class _Private(RotatingFileHandler):
    """Files that are their owner's alone."""

    def _open(self) -> TextIOWrapper:
        begin_private(Path(self.baseFilename))
        return super()._open()


class Log:
    """Writes the lines; devices appear under a tag that means nothing after the server ends."""

    def __init__(self, folder: Path) -> None:
        """Args: folder, the journal's. `RecordError` where something that is no file has the log's name."""
        path = folder / FILE_NAME
        if path.exists() and not path.is_file():
            raise RecordError(f"{path} is {not_a_file(path)}, not the page's log: move it away")
        self._key = secrets.token_bytes(16)
        self._seen: OrderedDict[tuple[str, str], float] = OrderedDict()
        self._lock = threading.Lock()
        self._handler = _Private(path, maxBytes=1 << 20, backupCount=3, encoding="utf-8", delay=True)

    def tag(self, address: str | None) -> str:
        """A device's tag: an HMAC of its address under a key that is never kept."""
        return hmac.new(self._key, (address or "").encode(), hashlib.sha256).hexdigest()[:8]

    def write(self, event: str, **what: object) -> None:
        """One line; it never fails the request it tells of."""
        line = escaped(json.dumps({"at": time_to_text(datetime.now(UTC)), "event": event, **what}))
        self._handler.handle(logging.makeLogRecord({"msg": line, "levelno": logging.INFO}))

    def is_news(self, refused: str, tag: str) -> bool:
        """Whether this refusal of this device was not written down lately."""
        now = time.monotonic()
        with self._lock:
            while self._seen and (len(self._seen) > MOST_SEEN or now - next(iter(self._seen.values())) >= QUIET_S):
                self._seen.popitem(last=False)
            if (refused, tag) in self._seen:
                return False
            self._seen[refused, tag] = now
            return True

    def unread(self, status: int, refused: str, address: str) -> None:
        """A line for a request whose body was refused before the application saw it; for a row of them, one."""
        tag = self.tag(address)
        if self.is_news(refused, tag):
            self.write("unread", status=status, device=tag, refused=refused)

    def close(self) -> None:
        """Close the file."""
        self._handler.close()


def refused(why: str, *, again_and_again: bool = False) -> None:
    """Note on the request's line that it was an attempt that did not get through.

    Args:
        why: in few words, without anything of the request's own.
        again_and_again: True for attempts that come in rows; a row of them by one device is written down once.
    """
    g.refused, g.refused_in_rows = why, again_and_again


class _Plain(logging.Formatter):
    """What is told on the terminal: an address that was asked for can hold any sign."""

    def format(self, record: logging.LogRecord) -> str:
        return lines(super().format(record))


def on_terminal(*loggers: logging.Logger) -> None:
    """Have these tell the terminal nothing that steers it."""
    told = logging.StreamHandler()
    told.setFormatter(_Plain())
    for logger in loggers:
        logger.handlers[:] = [told]
        logger.propagate = False


OFTEN = frozenset({"static", "phone.now", "handset.now", "handset.sound", "stand.frame"})
"""What an open page asks for again and again: no line for each time that all went well."""


def keep(app: Flask, log: Log) -> None:
    """Write a line for each request of the application but those for its own files."""
    on_terminal(app.logger, logging.getLogger("waitress"))
    # A line for each request that waits: whoever sends many would fill the terminal.
    logging.getLogger("waitress.queue").setLevel(logging.ERROR)

    @app.before_request
    def _start() -> None:
        g.began = time.perf_counter()

    @app.after_request
    def _line(response: Response) -> Response:
        why, tag = g.get("refused", ""), log.tag(request.remote_addr)
        if request.endpoint in OFTEN and (request.endpoint == "static" or response.status_code < 400):
            return response
        if why and g.refused_in_rows and not log.is_news(why, tag):
            return response
        took = round((time.perf_counter() - g.get("began", time.perf_counter())) * 1000, 1)
        extra = {"refused": why} if why else {}
        log.write(
            "request", page=request.endpoint or "none", method=request.method, status=response.status_code,
            ms=took, device=tag, **extra,
        )  # fmt: skip
        return response

    def _broke(sender: Flask, exception: BaseException, **_: object) -> None:
        steps = [f"{Path(f.filename).name}:{f.lineno} {f.name}" for f in traceback.extract_tb(exception.__traceback__)]
        log.write("broke", page=request.endpoint or "none", error=type(exception).__name__, steps=steps[-8:])

    got_request_exception.connect(_broke, app, weak=False)
