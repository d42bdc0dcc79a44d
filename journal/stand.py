"""What a camera on a stand sees of a screen, frame after frame, in; when to propose what it shows out.

Whoever takes a photo says by it that the number is there now. A camera on a stand says nothing of the kind: it also
sees the last cylinder's number while the next one is named already, and the baseline between two cuts, which would be a
cylinder that pulls, and one that is dead, by mistake. So by itself it proposes a number once it stood still, and only
one that is news; any other waits for a word.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import TYPE_CHECKING

from journal.facts import PhotoCue
from journal.record.job import Job, Picture
from journal.screen_numbers import Labels, labels_read, of_label
from journal.screen_place import Place, place_of
from journal.wording.figures import settings

if TYPE_CHECKING:
    from journal.seeing.types import Labelled

ALIKE = 3
"""Frames in a row that show the same number when it is steady."""

Shown = tuple[tuple[float, str], ...]
"""The numbers that may be what the run watches, each with its unit."""


class Step(Enum):
    """What is done about a frame."""

    LOOK = "look"
    """Nothing yet: no number, or it is not steady."""
    PROPOSE = "propose"
    """Propose what it shows, as a photo of the screen does."""
    DONE = "done"
    """Nothing: this reading has been proposed already."""
    STALE = "stale"
    """Wait for a word: the display has shown nothing else since the last reading was proposed."""
    UNCUT = "uncut"
    """Wait for a word: it is as with no cylinder cut, which a dead cylinder and one that is not cut yet both show."""
    NO_BASELINE = "no baseline"
    """Wait for a word: without a baseline it cannot be told whether a cylinder is cut."""


@dataclass(frozen=True)
class Frame:
    """One frame, as far as the run goes."""

    reading: tuple[str, ...]
    """Which reading a photo taken now would be: two of one reading have this alike."""
    numbers: tuple[Labelled, ...]
    """The numbers that may be what the run watches."""
    new: bool
    """Whether it may be a reading that nobody said; else it can only agree with one."""
    is_cut: bool
    """Whether it would be a cylinder's, cut."""
    baseline: Shown
    """The run's last baseline; none where it has none."""

    @property
    def shown(self) -> Shown:
        """What is compared between frames."""
        return tuple((n.value, n.unit) for n in self.numbers if n.value is not None)


@dataclass(frozen=True)
class Watch:
    """What one camera has seen up to now."""

    reading: tuple[str, ...] = ()
    """Which reading the last frame would have been."""
    shown: Shown = ()
    """What it showed."""
    alike: int = 0
    """How many frames in a row showed that while it would have been this reading."""
    proposed: Shown = ()
    """What was proposed last."""
    done: tuple[str, ...] = ()
    """The reading that it was proposed as."""
    left: bool = True
    """Whether the display has shown something else since."""


def frame_of(job: Job, picture: Picture, numbers: Sequence[Labelled], labels: Labels) -> Frame | None:
    """A frame as far as the run goes; none where a photo that arrived now would not be of the run.

    Args:
        job: the job as it stands.
        picture: the photo that the frame would be.
        numbers: what stands on it.
        labels: which labels of this shop's screens were said to stand for what.
    """
    place = place_of(job, picture)
    if not isinstance(place, Place):
        return None
    run = place.run
    shown, _ = of_label(numbers, run, labels, labels_read(job, run))
    readings = (*run.baselines, *run.cuts)
    cues = [e.id for e in job.entries if e.id in job.effective and isinstance(e.body, PhotoCue)]
    # What can only agree with a reading that was said is about that one.
    of = f"{place.cylinder}" if place.known else f"said {len(readings)}"
    baseline = tuple((r.value, r.unit) for r in run.baselines[-1:] if r.value is not None)
    return Frame((run.id, of, *cues[-1:]), shown, place.known, place.cylinder is not None, baseline)


def step(watch: Watch, frame: Frame, now: bool = False) -> tuple[Watch, Step]:
    """What is done about a frame, and what is known after it.

    Args:
        watch: what this camera saw before.
        frame: the frame.
        now: whether somebody said that what it shows is the reading.
    """
    shown = frame.shown
    named = frame.reading != watch.reading
    # The first frame after a cylinder was named may have been taken before.
    alike = 0 if named or not shown else watch.alike + 1 if _values(shown) == _values(watch.shown) else 1
    left = watch.left or (bool(shown) and not _near(shown, watch.proposed))
    watch = replace(watch, reading=frame.reading, shown=shown, alike=alike, left=left)
    if now and shown:
        return watch, Step.PROPOSE
    if watch.done == frame.reading:
        return watch, Step.DONE
    if alike < ALIKE:
        return watch, Step.LOOK
    if frame.is_cut and not frame.baseline:
        return watch, Step.NO_BASELINE
    if frame.is_cut and _near(shown, frame.baseline):
        return watch, Step.UNCUT
    return watch, Step.STALE if frame.new and not left else Step.PROPOSE


def after(watch: Watch) -> Watch:
    """What is known once what the last frame showed was proposed."""
    return replace(watch, proposed=watch.shown, done=watch.reading, left=False)


def _values(shown: Shown) -> list[float]:
    return [value for value, _ in shown]


def _near(shown: Shown, others: Shown) -> bool:
    """Whether any of the numbers is one of the others, as near to it as a display wanders; a unit may be missing."""
    near = settings()["seen"]["near"]
    return any(
        abs(value - other) <= near * abs(other) and (unit == other_unit or not unit or not other_unit)
        for value, unit in shown
        for other, other_unit in others
    )
