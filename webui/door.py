"""What lets a browser or device in: an address good for one use, or a code; and how often each may be guessed."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable

from limits import RateLimitItemPerHour, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

CODE_DIGITS = 8

LONG_CODE_DIGITS = 12
"""While many devices guess together: there are no limits for all of them that would not keep out who knows the code,
so that it is made too long to be guessed instead."""

PER_DEVICE = (RateLimitItemPerMinute(5), RateLimitItemPerHour(20))
"""Wrong codes one device may try."""

IN_ALL = RateLimitItemPerHour(60)
"""Wrong codes all devices together may try before the code gets longer."""

WRONG_LINKS = RateLimitItemPerMinute(20)
"""Links that open nothing one device may try."""


class Entrance:
    """The address that lets a browser of this machine in: whoever started the journal is shown it, and nobody else."""

    def __init__(self, announce: Callable[[str], None]) -> None:
        self._announce = announce
        self._lock = threading.Lock()
        self._base = ""
        self.keep: Callable[[str], None] = lambda address: None
        self.secret = secrets.token_urlsafe(24)

    def at(self, base: str) -> str:
        """The whole address, now that the server's own (`http://127.0.0.1:8470`) is known."""
        self._base = base
        self.keep(f"{base}{self.path}")
        return f"{base}{self.path}"

    @property
    def path(self) -> str:
        """Its path, good for one use."""
        return f"/enter/{self.secret}"

    def use(self, given: str) -> bool:
        """Whether the secret is right; it is then used up, and the next address told."""
        with self._lock:
            if not secrets.compare_digest(given.encode(), self.secret.encode()):
                return False
            self.secret = secrets.token_urlsafe(24)
        if self._base:
            self._announce(f"For another browser of this machine: {self.at(self._base)}")
        return True


class Door:
    """The code that lets a device in, and how often it may be guessed."""

    def __init__(self, announce: Callable[[str], None]) -> None:
        self._announce = announce
        self._lock = threading.Lock()
        self._limiter = MovingWindowRateLimiter(MemoryStorage())
        self._draw(CODE_DIGITS)

    def _draw(self, digits: int) -> None:
        self.code = "".join(secrets.choice("0123456789") for _ in range(digits))

    def renew(self) -> None:
        """Draw the code for the next device and tell it to whoever runs the server."""
        quiet = self._limiter.test(IN_ALL, "code")
        self._draw(CODE_DIGITS if quiet else LONG_CODE_DIGITS)
        self._announce(f"Code for the next device: {self.shown}")

    @property
    def shown(self) -> str:
        """The code as people read it."""
        return " ".join(self.code[at : at + 4] for at in range(0, len(self.code), 4))

    def try_code(self, given: str, device: str) -> bool | None:
        """Whether the code is right; none when this device tried too often."""
        digits = "".join(c for c in given if c in "0123456789")
        with self._lock:
            if not all(self._limiter.test(limit, "code", device) for limit in PER_DEVICE):
                return None
            if secrets.compare_digest(digits, self.code):
                self.renew()
                return True
            for limit in PER_DEVICE:
                self._limiter.hit(limit, "code", device)
            if not self._limiter.hit(IN_ALL, "code") and len(self.code) < LONG_CODE_DIGITS:
                self._announce("Many wrong codes are being tried, so the code is a longer one for a while.")
                self.renew()
            return False

    def may_try_link(self, device: str) -> bool:
        """Whether this device may try a link, after too many that opened nothing it may not."""
        return self._limiter.test(WRONG_LINKS, "link", device)

    def wrong_link(self, device: str) -> None:
        """Count a link that opened nothing."""
        self._limiter.hit(WRONG_LINKS, "link", device)
