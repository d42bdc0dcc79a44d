"""Where each photo of a job belongs: by what came with it, by hand, by the spoken cue, or by the run in progress."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime

from journal.errors import BadInput
from journal.facts import Entry, Photo, PhotoCue, PhotoMark, PhotoPlaced
from journal.facts.codec import time_from_text
from journal.record.job import Fact, Picture, PlacedBy


@dataclass(frozen=True)
class _Moment:
    """From here on photos show this."""

    at_utc: datetime
    subject: str
    cylinder: int | None
    by_cue: bool


@dataclass
class Pictures:
    """Collects a job's photos, cues, placements and marks in order; `placed` puts them together."""

    photos: dict[str, Fact[Photo]] = field(default_factory=dict)
    hands: dict[str, PhotoPlaced] = field(default_factory=dict)
    marks: dict[str, list[Fact[PhotoMark]]] = field(default_factory=dict)
    moments: list[_Moment] = field(default_factory=list)
    moments_before: dict[str, int] = field(default_factory=dict)

    def take(self, entry: Entry, body: PhotoCue | Photo | PhotoPlaced | PhotoMark) -> None:
        """Note one entry that counts."""
        match body:
            case PhotoCue():
                self.moments.append(_Moment(entry.at_utc, body.subject, body.cylinder, True))
            case Photo():
                if body.sha256 not in self.photos:
                    self.photos[body.sha256] = Fact(entry, body)
                    self.moments_before[body.sha256] = len(self.moments)
                elif body.subject:
                    self.hands[body.sha256] = PhotoPlaced(body.sha256, body.subject, body.cylinder)
            case PhotoPlaced():
                self.hands[body.photo] = body
            case PhotoMark():
                self.marks.setdefault(body.photo, []).append(Fact(entry, body))

    def run_started(self, entry: Entry, number: int) -> None:
        """A run begins: an earlier cue no longer holds, photos show the run."""
        self.moments.append(_Moment(entry.at_utc, f"cut-out run {number}", None, False))

    def run_ended(self, entry: Entry) -> None:
        """A run is over: photos show nothing in particular, unless a cue was given during it."""
        if self.moments and not self.moments[-1].by_cue:
            self.moments.append(_Moment(entry.at_utc, "", None, False))

    def placed(self, opened_at: datetime) -> tuple[Picture, ...]:
        """Every photo in order of arrival, with where it belongs."""
        return tuple(self._place(sha256, fact, opened_at) for sha256, fact in self.photos.items())

    def _place(self, sha256: str, fact: Fact[Photo], opened_at: datetime) -> Picture:
        photo, by = fact.body, PlacedBy.GIVEN
        if sha256 in self.hands:
            hand = self.hands[sha256]
            photo, by = replace(photo, subject=hand.subject, cylinder=hand.cylinder), PlacedBy.HAND
        elif not photo.subject:
            photo, by = self._by_time(fact, opened_at)
        return Picture(Fact(fact.entry, photo), tuple(self.marks.get(sha256, ())), by)

    def _by_time(self, fact: Fact[Photo], opened_at: datetime) -> tuple[Photo, PlacedBy]:
        arrived = fact.entry.at_utc
        taken = _moment(fact.body.taken_at)
        # A time before the job, or after the photo's own arrival, says that it is an old picture or that the camera's
        # clock is wrong: what was said when it arrived is then the better guide.
        trusted = taken is not None and opened_at <= taken <= arrived
        # By arrival it is the order that counts, which holds where the clock did not.
        known = self.moments if trusted else self.moments[: self.moments_before[fact.body.sha256]]
        at = taken if taken is not None and trusted else None
        last = next((m for m in reversed(known) if at is None or m.at_utc <= at), None)
        if last is None or not last.subject:
            return fact.body, PlacedBy.NOTHING
        cue = PlacedBy.CUE_WHEN_TAKEN if trusted else PlacedBy.CUE_WHEN_ARRIVED
        # A photo may bring its cylinder without a subject; what was said with it stands.
        cylinder = last.cylinder if fact.body.cylinder is None else fact.body.cylinder
        return replace(fact.body, subject=last.subject, cylinder=cylinder), cue if last.by_cue else PlacedBy.RUN


def _moment(text: str) -> datetime | None:
    try:
        return time_from_text(text) if text else None
    except BadInput:
        return None
