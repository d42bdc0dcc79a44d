"""Whole runs before a camera on a stand: what it enters by itself, beside a rule that only waits for three alike.

The display, the engine and how technicians go about it are simulated, and every number is read as it stands: this is
about when a number is taken, not about reading it. How long people wait and how displays settle is our own guess.
"""

from __future__ import annotations

import math
import random
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path

from journal.facts import Engine, JobOpened, Photo, PhotoCue, Quantity
from journal.photographed import arriving, enter_shown, foretold
from journal.record.photos import take_in
from journal.record.shop_labels import keep_label, kept_labels
from journal.record.store import Store
from journal.seeing import Labelled
from journal.session import Session, open_job
from journal.stand import ALIKE, Frame, Step, Watch, after, frame_of, step
from journal.wording.figures import settings
from tests.bench.table import Row
from tests.session.test_photographed import FUEL, SIZE, START, number
from tests.webui.conftest import jpeg

SEED = 2026
RUNS = 20
"""Runs of each way to go about it."""
WAYS = ("named once it is cut", "named before it is cut", "named before, and no pause between cuts")
EVERY_S = 1.2
"""Seconds from one frame to the next."""
SETTLES_S = 1.2
"""Seconds in which what the display shows comes two thirds nearer to what is so."""
SHOWS_S = 0.5
"""Seconds from one number on the display to the next."""
WANDERS = 0.03
"""Standard deviation of what is shown, in the display's unit; it shows tenths."""
PATIENCE_S = 6.0
"""Seconds after which somebody who sees that a settled number is not taken taps."""
NEAR = 0.15
"""A number is that of its cylinder where it is no further from it."""
NAMES = ("right by itself", "right after a tap", "asked about", "missing", "wrong")

Rule = Callable[[Watch, Frame, bool], tuple[Watch, Step]]


@dataclass(frozen=True)
class Act:
    """Something that happens in a run."""

    at_s: float
    named: int | None = None
    """The cylinder that is named; none where none is."""
    level: float | None = None
    """What the engine takes from now on; none where that stays."""


def alike_only(watch: Watch, frame: Frame, now: bool) -> tuple[Watch, Step]:
    """The plain rule: three frames in a row show the same number, once for each time that a cylinder is named."""
    same = frame.shown == watch.shown and frame.reading == watch.reading
    alike = 0 if not frame.shown else watch.alike + 1 if same else 1
    watch = replace(watch, reading=frame.reading, shown=frame.shown, alike=alike)
    if watch.done == frame.reading and not now:
        return watch, Step.DONE
    return watch, Step.PROPOSE if now or alike >= ALIKE else Step.LOOK


def rows() -> Iterator[Row]:
    """What becomes of the cylinders, by each way and each rule."""
    costs = settings()["costs"]
    worth = dict(zip(NAMES, (0.0, costs["question"], costs["question"], costs["lost"], costs["entry"]), strict=True))
    for way in WAYS:
        told = {}
        for name, rule in (("this", step), ("alike", alike_only)):
            counts = Counter(
                each for at in range(RUNS) for each in _run(way, rule, random.Random(f"{way} {SEED} {at}"))
            )
            cost = 100 * sum(worth[each] * n for each, n in counts.items()) / counts.total()
            told[name] = cost, ", ".join(f"{counts[each]} {each}" for each in NAMES if counts[each])
        (cost, note), (other, beside) = told["this"], told["alike"]
        yield Row(
            "seeing", f"on a stand, {way}: cost of a hundred cylinders", cost, "questions", other, "three alike alone",
            f"{note}; three alike alone: {beside}",
        )  # fmt: skip


def _run(way: str, rule: Rule, chance: random.Random) -> list[str]:
    """What became of each cylinder of a run of six, of which every third run has one that is dead."""
    truth = {cylinder: round(chance.gauss(37.5, 0.3), 1) for cylinder in range(1, 7)}
    if chance.random() < 1 / 3:
        truth[chance.randint(1, 6)] = 30.0
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
        camera = _Camera(store, rule, chance)
        for act in [*_acts(way, truth, chance), Act(math.inf)]:
            camera.until(act)
        job = camera.session.job
        [run], waiting = job.runs, [asked.question.body.options for asked in job.waiting]
        found = {cut.cylinder: cut for cut in run.cuts}
        asked = {getattr(getattr(option, "body", option), "cylinder", 0) for options in waiting for option in options}
        return [
            "wrong" if cylinder in found and abs((found[cylinder].value or 0.0) - value) > NEAR
            else "asked about" if cylinder in asked
            else "missing" if cylinder not in found
            else "right after a tap" if cylinder in camera.tapped
            else "right by itself"
            for cylinder, value in truth.items()
        ]  # fmt: skip


def _acts(way: str, truth: dict[int, float], chance: random.Random) -> Iterator[Act]:
    at = 5.0
    for cylinder, level in truth.items():
        if way == WAYS[0]:
            yield Act(at, level=level)
            at += chance.uniform(3, 8)
            yield Act(at, named=cylinder)
            at += chance.uniform(10, 16)
        else:
            yield Act(at, named=cylinder)
            at += chance.uniform(2, 8)
            yield Act(at, level=level)
            at += chance.uniform(12, 18)
        if way != WAYS[2]:
            yield Act(at, level=30.0)
            at += chance.uniform(2, 6)


class _Camera:
    """A camera before a display, as the page uses it, in simulated time."""

    def __init__(self, store: Store, rule: Rule, chance: random.Random) -> None:
        self.store, self.rule, self.chance, self.now_s = store, rule, chance, 0.0
        keep_label(store.folder, Quantity.FUEL_PER_STROKE, FUEL)
        opened = JobOpened("Orchard pump", Engine(6, (1, 5, 3, 6, 2, 4)))
        self.job_id = open_job(store, opened, "Wren", at=START)
        self.session = Session(store, self.job_id, "Wren", clock=self.tick)
        self.session.type("idle cut-out test")
        self.session.type("baseline 30")
        self.watch = Watch()
        self.level = self.settled = self.display = 30.0
        self.named, self.since_s, self.shown_s, self.held_s = 0, 0.0, 0.0, 0.0
        self.tapped: set[int] = set()
        self.photos = 0

    def tick(self) -> datetime:
        """Simulated time, a little later for each entry."""
        self.now_s += 0.001
        return START + timedelta(seconds=60 + self.now_s)

    def until(self, act: Act) -> None:
        """Let frames come until something happens, and let it happen; after the last act none come."""
        while self.now_s < act.at_s < math.inf:
            self.now_s += EVERY_S
            self.settled += (self.level - self.settled) * (1 - math.exp(-EVERY_S / SETTLES_S))
            if self.now_s - self.shown_s >= SHOWS_S:
                self.display = round(self.settled + self.chance.gauss(0, WANDERS), 1)
                self.shown_s = self.now_s
            self._frame()
        if act.named is not None:
            self.named, self.since_s = act.named, self.now_s
            self.session.enter(PhotoCue("scanner", act.named))
        if act.level is not None:
            self.level, self.since_s = act.level, self.now_s

    def _frame(self) -> None:
        numbers = (number(self.display),)
        # Who sees that it is cut, settled and not taken, taps.
        cut = self.named > 0 and self.now_s - self.since_s > 4 * SETTLES_S
        now = cut and self.held_s > PATIENCE_S
        job = self.session.job
        frame = frame_of(job, arriving(job, self.tick()), numbers, kept_labels(self.store.folder))
        assert frame is not None
        self.watch, then = self.rule(self.watch, frame, now)
        held = then in (Step.STALE, Step.UNCUT, Step.LOOK)
        self.held_s = self.held_s + EVERY_S if held and cut else 0.0
        if then is Step.PROPOSE and foretold(self.store, self.job_id, numbers, self.tick).made:
            self.tapped |= {self.named} if now else set()
            self._take(numbers)
            self.watch = after(self.watch)

    def _take(self, numbers: tuple[Labelled, ...]) -> None:
        self.photos += 1
        taken = take_in(self.store.folder, jpeg(64, 48, seed=self.photos), "stand.jpg")
        self.session.enter(Photo(taken.sha256, "stand.jpg"))
        enter_shown(self.store, self.job_id, taken.sha256, lambda path: (numbers, SIZE), self.tick)
