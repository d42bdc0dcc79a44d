"""The code that lets a device in, and how often codes and links may be guessed."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable

from limits import RateLimitItemPerHour, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

CODE_DIGITS = 8

PER_DEVICE = (RateLimitItemPerMinute(5), RateLimitItemPerHour(20))
"""Wrong codes one device may try."""

IN_ALL = RateLimitItemPerHour(60)
"""Wrong codes all devices together may try before the code is drawn anew."""

WRONG_LINKS = RateLimitItemPerMinute(20)
"""Links that open nothing one device may try."""


class Door:
    """The code that lets a device in, and how often it may be guessed."""

    def __init__(self, announce: Callable[[str], None]) -> None:
        self._announce = announce
        self._lock = threading.Lock()
        self._limiter = MovingWindowRateLimiter(MemoryStorage())
        self._draw()

    def _draw(self) -> None:
        self.code = "".join(secrets.choice("0123456789") for _ in range(CODE_DIGITS))

    def renew(self) -> None:
        """Draw the code for the next device and tell it to whoever runs the server."""
        self._draw()
        self._announce(f"Code for the next device: {self.shown}")

    @property
    def shown(self) -> str:
        """The code as people read it."""
        return f"{self.code[:4]} {self.code[4:]}"

    def try_code(self, given: str, device: str) -> bool | None:
        """Whether the code is right; none when this device, or all together, tried too often."""
        digits = "".join(c for c in given if c in "0123456789")
        with self._lock:
            if not all(self._limiter.test(limit, "code", device) for limit in PER_DEVICE):
                return None
            if secrets.compare_digest(digits, self.code):
                self.renew()
                return True
            for limit in PER_DEVICE:
                self._limiter.hit(limit, "code", device)
            if not self._limiter.hit(IN_ALL, "code"):
                self.renew()
            return False

    def may_try_link(self, device: str) -> bool:
        """Whether this device may try a link, after too many that opened nothing it may not."""
        return self._limiter.test(WRONG_LINKS, "link", device)

    def wrong_link(self, device: str) -> None:
        """Count a link that opened nothing."""
        self._limiter.hit(WRONG_LINKS, "link", device)
