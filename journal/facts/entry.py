"""An entry: one immutable fact in a job, with who, when, how it came in and how sure."""

from __future__ import annotations

import secrets
import uuid
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from enum import StrEnum

from journal.errors import BadInput
from journal.facts.bodies import Body

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


class Source(StrEnum):
    """How an entry came in."""

    VOICE = "voice"
    TYPED = "typed"
    PAGE = "page"
    DESK = "desk"
    PHOTO = "photo"
    """Read off a photo."""


@dataclass(frozen=True)
class Entry:
    """One fact, written once, never changed."""

    id: str
    """UUIDv7 (RFC 9562), canonical text."""
    job: str
    """Identifier of the job, a UUIDv7."""
    at_utc: datetime
    """When it was said or done, aware, UTC, whole milliseconds."""
    body: Body
    """What it says."""
    offset_minutes: int = 0
    """Local time minus UTC where it was made, in minutes."""
    technician: str = ""
    """Who."""
    source: Source = Source.TYPED
    """How it came in."""
    heard: str = ""
    """The words as recognised or typed; empty when there were none."""
    clip: str = ""
    """SHA-256 of the utterance's sound; empty when there is none."""
    certainty: float = 1.0
    """Probability, 0 to 1, that it says what was meant."""

    def __post_init__(self) -> None:
        """Refuse what is no entry.

        Raises:
            BadInput: for a time without a zone or outside 1970 to 9998, an offset of a day or more, or a certainty
                outside 0 to 1.
        """
        if self.at_utc.tzinfo is not UTC and self.at_utc.utcoffset() != UTC.utcoffset(None):
            raise BadInput("an entry's time must be aware and in UTC")
        # A UUIDv7 counts from 1970 (RFC 9562); the year before a calendar's end leaves room for any offset and order.
        if not 1970 <= self.at_utc.year <= 9998:
            raise BadInput(f"the year {self.at_utc.year}: an entry's time lies from 1970 to 9998; set the clock")
        # RFC 3339, section 5.6: hours from 00 to 23.
        if abs(self.offset_minutes) >= 24 * 60:
            raise BadInput("an entry's local time may differ from UTC by less than a day")
        if not 0.0 <= self.certainty <= 1.0:
            raise BadInput(f"certainty {self.certainty}: give a number from 0 to 1")


def new_id(at_utc: datetime) -> str:
    """A UUIDv7: 48 bits of Unix milliseconds, then random bits (RFC 9562, section 5.7)."""
    milliseconds = (at_utc - _EPOCH) // timedelta(milliseconds=1)  # whole numbers: a float would lose some of them
    random = secrets.randbits(74)
    value = (milliseconds & (1 << 48) - 1) << 80 | 0x7 << 76 | (random >> 62) << 64
    value |= 0b10 << 62 | random & (1 << 62) - 1
    return str(uuid.UUID(int=value))


def to_milliseconds(at: datetime) -> datetime:
    """The same moment in UTC with whole milliseconds."""
    at = at.astimezone(UTC)
    return at.replace(microsecond=at.microsecond // 1000 * 1000)
