"""How much may come by a link: photos and bytes from a phone, answers from a parts desk."""

from __future__ import annotations

import threading

from limits import RateLimitItem, RateLimitItemPerHour, RateLimitItemPerMinute
from limits.storage import MemoryStorage
from limits.strategies import MovingWindowRateLimiter

PHOTOS = (RateLimitItemPerMinute(40), RateLimitItemPerHour(200))
"""Photos by one phone link."""

MEGABYTES = (RateLimitItemPerMinute(200), RateLimitItemPerHour(1000))
"""Millions of bytes by one phone link; at least one photo of any size that is taken in."""

ANSWERS = (RateLimitItemPerMinute(20), RateLimitItemPerHour(200))
"""Answers by one link for the parts desk."""

FORMS = (RateLimitItemPerMinute(60), RateLimitItemPerHour(600))
"""Forms begun by one link for the parts desk, whether they come in whole or not."""

CUES = (RateLimitItemPerMinute(60), RateLimitItemPerHour(600))
"""Places for the next photos, said by hand by one phone link."""

FRAMES = (RateLimitItemPerMinute(90), RateLimitItemPerHour(4_000))
"""Frames of a camera on a stand by one device: one a second, and those that are asked for between."""

SOUND_S = (RateLimitItemPerMinute(1_200), RateLimitItemPerHour(20_000))
"""Seconds of sound by one device, each piece counted up to a whole one: four pieces a second while somebody speaks, and
what ten minutes without a line have kept at once."""


class Quotas:
    """Counts what comes by each link; forgotten when the server ends."""

    def __init__(self) -> None:
        self._limiter = MovingWindowRateLimiter(MemoryStorage())
        self._lock = threading.Lock()

    def bytes_come(self, link: str, size: int) -> bool:
        """Count the bytes of a form that is about to come, `size` of them; false when they are too many now."""
        return self._count(MEGABYTES, "bytes", link, max(1, round(size / 1e6)))

    def photo_comes(self, link: str) -> bool:
        """Count a photo; false when it is one too many now."""
        return self._count(PHOTOS, "photos", link, 1)

    def sound_comes(self, device: str, seconds: int) -> bool:
        """Count sound, whole seconds; false when it is too much now."""
        return self._count(SOUND_S, "sound", device, seconds)

    def frame_comes(self, device: str) -> bool:
        """Count a frame of a camera on a stand; false when it is one too many now."""
        return self._count(FRAMES, "frames", device, 1)

    def cue_comes(self, link: str) -> bool:
        """Count a place for the next photos; false when it is one too many now."""
        return self._count(CUES, "cues", link, 1)

    def answer_comes(self, link: str) -> bool:
        """Count an answer of the parts desk; false when it is one too many now."""
        return self._count(ANSWERS, "answers", link, 1)

    def form_comes(self, link: str) -> bool:
        """Count a form that the parts desk is about to send; false when it is one too many now."""
        return self._count(FORMS, "forms", link, 1)

    def _count(self, limits: tuple[RateLimitItem, ...], what: str, link: str, cost: int) -> bool:
        with self._lock:
            if not all(self._limiter.test(limit, what, link, cost=cost) for limit in limits):
                return False
            for limit in limits:
                self._limiter.hit(limit, what, link, cost=cost)
            return True
