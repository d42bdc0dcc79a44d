"""What the journal asks for next, reading by reading, from jobs and findings that are arranged by hand."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, timedelta

import pytest

from journal.analysis.findings import Contribution, CylinderFinding, Findings, RunFinding, Standing, Suspect
from journal.facts import (
    Baseline,
    Body,
    Condition,
    Cut,
    Engine,
    JobOpened,
    Quantity,
    RunEnded,
    RunKind,
    RunStarted,
    Withdrawal,
)
from journal.leading import MOST_REPEATS, OLD, Asked, Lead, in_brief, spoken, words
from journal.record.job import Job, Reading
from journal.record.replay import replay
from tests.record.arrange import Scribe

ORDER = (1, 5, 3, 6, 2, 4)
RUN = RunStarted(RunKind.IDLE)
SPEED = Quantity.ENGINE_SPEED


@dataclass
class Led:
    """A job that is led, whose analysis says what it is told to."""

    engine: Engine = field(default_factory=lambda: Engine(6, ORDER))
    suspects: list[int | None] = field(default_factory=list)
    unclear: dict[int, int | None] = field(default_factory=dict)
    clear: dict[int, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.scribe = Scribe()
        self.scribe.say(JobOpened("Bench", self.engine))
        self.lead = Lead(self.found)

    @property
    def job(self) -> Job:
        return replay(self.scribe.entries)

    def found(self) -> Findings:
        told = [(c, Standing.UNCLEAR, n) for c, n in self.unclear.items()]
        told += [(c, Standing.EVEN, n) for c, n in self.clear.items()]
        shares = tuple(Contribution(c, 0.2, 0.1, 0.3, 1.0, how, "", repeats_needed=n) for c, how, n in told)
        suspects = tuple(Suspect("x", c, 1.0, 2.0, 1.0) for c in self.suspects)
        run = RunFinding(self.job.runs[-1].id, 1, "", "", shares, (), None, None, None, True, suspects=suspects)
        return Findings("Found.", runs=(run,))

    def say(self, *bodies: Body) -> Led:
        for body in bodies:
            self.scribe.say(body)
            self.lead.read(body)
        return self

    def asks(self, after: timedelta = timedelta()) -> Asked | None:
        return self.lead.asks(self.job, self.now(after))

    def now(self, after: timedelta = timedelta()) -> datetime:
        return self.scribe.at + after

    def read(self, *cylinders: int) -> Led:
        return self.say(*(Cut(cylinder, 37.5) for cylinder in cylinders))


def test_first_the_baseline_then_each_cylinder_as_the_engine_goes_then_nothing() -> None:
    led = Led()
    assert led.asks() == Baseline(0.0)
    assert led.say(RUN).asks() == Baseline(0.0)
    asked = []
    led.say(Baseline(30.0))
    while isinstance(cut := led.asks(), Cut):
        asked.append(cut.cylinder)
        led.read(cut.cylinder)
    assert cut is None and sorted(asked) == [1, 2, 3, 4, 5, 6]
    assert led.say(RunEnded()).asks() == Baseline(0.0), "a run that is over leads to the next one's baseline"


@pytest.mark.parametrize(("after", "old"), [(OLD, False), (OLD + timedelta(milliseconds=1), True)])
def test_a_baseline_is_old_after_ten_minutes_and_the_speed_where_it_was_told(after: timedelta, old: bool) -> None:
    assert timedelta(minutes=10) == OLD
    led = Led().say(RUN, Baseline(30.0))
    assert led.asks(after) == (Baseline(0.0) if old else Cut(1, 0.0))
    led = Led().say(RUN, Condition(SPEED, 700.0))
    led.scribe.at += timedelta(minutes=1)
    led.say(Baseline(30.0))
    since = led.scribe.at - led.scribe.entries[2].at_utc
    assert led.asks(after - since) == (Condition(SPEED, 0.0) if old else Cut(1, 0.0))
    led.say(Condition(SPEED, 705.0))
    assert led.asks(after - since) == Cut(1, 0.0), "the latest of either counts"
    assert Led().say(RUN, Condition(Quantity.LOAD, 10.0), Baseline(30.0)).asks(OLD) == Cut(1, 0.0)


def test_what_was_skipped_comes_no_more_until_one_goes_back() -> None:
    led = Led().say(RUN, Baseline(30.0))
    assert led.lead.skip(led.job, led.now()) == "one skipped"
    second = led.asks()
    assert isinstance(second, Cut) and second.cylinder != 1
    led.lead.skip(led.job, led.now())
    assert led.lead.back(led.job) == f"back to {words(second)}" and led.asks() == second
    assert led.lead.back(led.job) == "back to one" and led.asks() == Cut(1, 0.0)
    assert led.lead.back(led.job) == Reading(
        led.scribe.entries[-1].id, led.scribe.at, Quantity.FUEL_PER_STROKE, 30.0, "mm3"
    )


def test_back_after_a_reading_is_that_reading_though_one_was_skipped_before() -> None:
    led = Led().say(RUN, Baseline(30.0))
    led.lead.skip(led.job, led.now())
    led.read(5)
    back = led.lead.back(led.job)
    assert isinstance(back, Reading) and back.cylinder == 5
    assert Led().lead.back(Led().job) == "", "nothing to go back to"
    assert Led().lead.skip(Led().job, Led().now()) == "", "no run yet"
    before = Led().say(RUN)
    assert before.lead.skip(before.job, before.now()) == "", "a run needs its baseline"


def test_what_was_skipped_stays_so_when_a_reading_before_it_is_taken_back() -> None:
    led = Led().say(RUN, Baseline(30.0))
    skipped = led.read(1, 5).asks()
    assert isinstance(skipped, Cut)
    led.lead.skip(led.job, led.now())
    led.say(Withdrawal(led.scribe.entries[-1].id))
    assert led.asks() != skipped
    led.read(5)
    assert led.asks() not in (skipped, None)


def test_the_order_in_which_one_goes_counts_with_what_is_skipped_in_it() -> None:
    led = Led().say(RUN, Baseline(30.0)).read(1, 5)
    for expected in (3, 6, 2):
        assert led.asks() == Cut(expected, 0.0), "by firing order, as it was begun"
        led.lead.skip(led.job, led.now())
    assert led.read(4).asks() is None


def test_again_asks_for_the_last_reading_until_it_is_read_or_skipped() -> None:
    led = Led()
    assert led.lead.again(led.job) == ""
    led.say(RUN, Baseline(30.0))
    assert led.asks() == Cut(1, 0.0)
    assert led.lead.again(led.job) == "baseline again" and led.asks() == Baseline(0.0)
    led.say(Baseline(31.0))
    assert led.asks() == Cut(1, 0.0)
    led.read(1)
    assert led.lead.again(led.job) == "one again" and led.asks() == Cut(1, 0.0)
    led.read(4)
    assert led.asks() == Cut(1, 0.0), "another cylinder's reading does not answer it"
    led.say(Baseline(30.0))
    assert led.asks() == Cut(1, 0.0)
    assert led.lead.skip(led.job, led.now()) == "one skipped" and led.asks() != Cut(1, 0.0)
    led.lead.again(led.job)
    led.lead.back(led.job)
    assert led.asks() != Baseline(0.0), "going back gives it up"


def test_a_new_run_forgets_what_was_skipped_in_the_one_before() -> None:
    led = Led().say(RUN, Baseline(30.0))
    led.lead.skip(led.job, led.now())
    led.say(RunEnded(), RUN, Baseline(30.0))
    assert led.asks() == Cut(1, 0.0)


def all_read(**found: object) -> Led:
    return Led(**found).say(RUN, Baseline(30.0)).read(1, 5, 3, 6, 2, 4)  # type: ignore[arg-type]


def test_what_the_analysis_doubts_is_read_once_more_and_once_only() -> None:
    led = all_read(suspects=[3, None])
    assert led.asks() == led.asks() == Cut(3, 0.0)
    assert led.read(5).asks() == Cut(3, 0.0)
    assert led.read(3).asks() == Baseline(0.0)
    assert led.say(Baseline(30.0)).asks() is None


def test_an_unclear_one_is_read_again_where_so_few_readings_would_settle_it() -> None:
    assert all_read(unclear={2: 2}).asks() == Cut(2, 0.0)
    assert all_read(unclear={2: MOST_REPEATS}).asks() == Cut(2, 0.0)
    assert all_read(unclear={2: MOST_REPEATS + 1}).asks() is None
    assert all_read(unclear={2: 1}).asks() is None, "it has been read as often already"
    assert all_read(unclear={2: None}).asks() is None
    assert all_read(clear={2: 2}).asks() is None


def test_no_more_than_three_are_asked_for_again_in_a_run() -> None:
    assert MOST_REPEATS == 3
    led, asked = all_read(suspects=[1, 2, 3, 4]), []
    while isinstance(cut := led.asks(), Cut):
        asked.append(cut.cylinder)
        led.read(cut.cylinder)
    assert asked == [1, 2, 3]


def test_a_repeat_that_is_skipped_is_not_asked_for_again() -> None:
    led = all_read(suspects=[3, 4])
    led.asks()
    assert led.lead.skip(led.job, led.now()) == "three skipped"
    assert led.asks() == Cut(4, 0.0)
    led.lead.skip(led.job, led.now())
    assert led.asks() is None


def test_findings_of_another_run_say_nothing_of_this_one() -> None:
    led = all_read(suspects=[3])
    other = led.found()
    led.lead.findings = lambda: Findings("", runs=tuple(RunFinding(**{**vars(run), "run": "x"}) for run in other.runs))
    assert led.asks() is None


def test_it_is_asked_for_in_words_and_again_where_it_was_read() -> None:
    led = Led().say(RUN)
    assert spoken(Baseline(0.0), led.job, "") == "Baseline."
    led.say(Baseline(30.0)).read(5)
    assert spoken(Baseline(0.0), led.job, "") == "Baseline again."
    assert spoken(Condition(SPEED, 0.0), led.job, "") == "Speed again."
    assert spoken(Cut(3, 0.0), led.job, "") == "Three."
    assert spoken(Cut(5, 0.0), led.job, "") == "Five again."


def test_what_was_found_is_said_in_brief() -> None:
    three, five = (CylinderFinding(n, low, (), "And causes.") for n, low in ((3, Standing.DEAD), (5, Standing.WEAK)))
    both = "Cylinder three is dead and cylinder five is weak."
    assert in_brief(Findings("Cylinder 3 is dead: causes.", cylinders=(three, five))) == both
    past = CylinderFinding(4, Standing.DEAD, (), past=True)
    assert in_brief(Findings("", cylinders=(three, past), mended="Better.")) == "Better. Cylinder three is dead."
    assert in_brief(Findings("Four is dead.", cylinders=(past,), mended="All pull.")) == "All pull."
    assert in_brief(Findings("None is low.")) == "None is low."


def test_at_the_end_it_says_what_was_found_and_what_has_not_been_done() -> None:
    led = all_read()
    assert spoken(None, led.job, "All even.") == (
        "The run is read. All even. For half engine say: half engine, four, five, six out."
    )
    led.say(RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6)))
    pressure = "For another injection pressure say: same again at high pressure."
    assert spoken(None, led.job, "") == f"The run is read.  {pressure}"
    for start in (RunStarted(RunKind.IDLE, pressure="high"), RunStarted(RunKind.IDLE, pressure_value=20.0)):
        assert spoken(None, Led().say(RunStarted(RunKind.HALF_ENGINE), start).job, "Even.") == "The run is read. Even."
    three = Led(Engine(3)).say(RUN)
    assert spoken(None, three.job, "Even.") == f"The run is read. Even. {pressure}", "half of three is no half"
    assert "half engine" in spoken(None, Led(Engine(4)).say(RUN).job, "")
