"""When a camera on a stand proposes what it sees: from numbers given, no picture is read here."""

from __future__ import annotations

from dataclasses import replace

import pytest

from journal.facts import PhotoCue, RunEnded
from journal.photographed import arriving, foretold
from journal.record.shop_labels import kept_labels
from journal.record.store import Store
from journal.seeing import Labelled
from journal.stand import ALIKE, Step, Watch, after, frame_of, step
from tests.session.test_photographed import SPEED, Bench, number, store

__all__ = ["store"]


class Stand:
    """A camera before a screen, frame after frame; what it proposes is entered as a photo of the screen is."""

    def __init__(self, bench: Bench) -> None:
        self.bench = bench
        self.watch = Watch()

    def sees(self, value: float | Labelled | None, frames: int = 1, now: bool = False) -> list[Step | None]:
        """What is done about each of so many frames of one number, or of none; nothing where no run is open."""
        numbers = () if value is None else (value if isinstance(value, Labelled) else number(value), SPEED)
        return [self._one(numbers, now) for _ in range(frames)]

    def _one(self, numbers: tuple[Labelled, ...], now: bool) -> Step | None:
        bench = self.bench
        job, labels = bench.session.job, kept_labels(bench.store.folder)
        frame = frame_of(job, arriving(job, bench.at), numbers, labels)
        if frame is None:
            return None
        self.watch, then = step(self.watch, frame, now)
        if then is Step.PROPOSE and foretold(bench.store, bench.job_id, numbers, bench.tick).made:
            bench.show(*numbers)
            self.watch = after(self.watch)
        return then

    def name(self, cylinder: int | None) -> None:
        """The next cylinder is named by a cue; none for the baseline."""
        self.bench.session.enter(PhotoCue("scanner", cylinder))


@pytest.fixture
def stand(store: Store) -> Stand:
    """A camera on a stand in a run that waits for its first cut, with a baseline of 30."""
    bench = Bench(store)
    bench.say("idle cut-out test", "baseline 30")
    return Stand(bench)


WAITS = [Step.LOOK] * ALIKE


def test_a_number_is_proposed_when_three_frames_after_the_cylinder_was_named_show_it(stand: Stand) -> None:
    stand.name(4)
    assert stand.sees(37.4, 5) == [*WAITS, Step.PROPOSE, Step.DONE]
    assert stand.bench.cuts == [(4, 37.4)]
    assert stand.bench.session.job.seen[stand.bench.session.job.runs[0].cuts[0].entry]


def test_a_number_that_moves_or_goes_is_not_steady(stand: Stand) -> None:
    stand.name(4)
    assert stand.sees(37.4, 3) == WAITS
    assert [*stand.sees(37.5, 2), *stand.sees(37.4, 2), *stand.sees(None), *stand.sees(37.4, 2)] == [Step.LOOK] * 7
    assert stand.bench.cuts == [] and stand.sees(37.4) == [Step.PROPOSE]


def test_frames_without_the_number_are_never_steady_and_show_nothing_else_either(stand: Stand) -> None:
    stand.name(4)
    assert stand.sees(None, 6) == [Step.LOOK] * 6
    stand.sees(37.4, 3)
    stand.name(5)
    stand.sees(None, 3)
    assert stand.sees(37.4, 3)[-1] is Step.STALE


def test_a_baseline_may_be_as_the_one_before(stand: Stand) -> None:
    stand.name(None)
    assert stand.sees(30.2, 4) == [*WAITS, Step.PROPOSE]
    assert stand.bench.session.job.waiting == ()


def test_a_unit_that_is_made_out_in_one_frame_only_does_not_make_it_another_number(stand: Stand) -> None:
    stand.name(4)
    stand.sees(37.4, 2)
    assert [*stand.sees(number(37.4, unit="")), *stand.sees(37.4)] == [Step.LOOK, Step.PROPOSE]


def test_what_was_asked_for_is_proposed_at_once_steady_or_not(stand: Stand) -> None:
    stand.name(4)
    assert stand.sees(37.4, now=True) == [Step.PROPOSE]
    assert stand.bench.cuts == [(4, 37.4)]
    assert stand.sees(None, now=True) == [Step.DONE]


def test_what_the_last_cylinder_showed_is_not_the_next_one_s_before_the_display_has_shown_anything_else(
    stand: Stand,
) -> None:
    stand.name(4)
    stand.sees(37.4, 4)
    stand.name(5)
    # It wanders a little, which is nothing else.
    assert stand.sees(37.4, 5) == [*WAITS, Step.STALE, Step.STALE]
    assert stand.sees(37.5, 3) == [Step.LOOK, Step.LOOK, Step.STALE]
    stand.sees(30.0, 1)
    assert stand.sees(37.4, 3) == [Step.LOOK, Step.LOOK, Step.PROPOSE]
    assert stand.bench.cuts == [(4, 37.4), (5, 37.4)]


def test_a_number_that_was_there_before_its_cylinder_was_named_is_taken_if_it_is_news(stand: Stand) -> None:
    stand.name(4)
    stand.sees(37.4, 4)
    stand.sees(30.0, 3)
    stand.sees(37.6, 3)
    stand.name(5)
    assert stand.sees(37.6, 4) == [*WAITS, Step.PROPOSE]
    assert stand.bench.cuts == [(4, 37.4), (5, 37.6)]


def test_as_with_no_cylinder_cut_is_a_dead_cylinder_only_once_somebody_says_so(stand: Stand) -> None:
    stand.name(3)
    assert stand.sees(30.2, 6) == [*WAITS, *[Step.UNCUT] * 3]
    assert stand.bench.cuts == [] and stand.bench.session.job.waiting == ()
    assert stand.sees(30.2, now=True) == [Step.PROPOSE]
    assert stand.bench.cuts == [(3, 30.2)]


def test_with_none_cut_is_as_in_the_last_baseline_whether_its_unit_is_made_out_or_not(stand: Stand) -> None:
    stand.bench.say("baseline 31")
    stand.name(3)
    assert stand.sees(31.2, 4)[-1] is Step.UNCUT
    assert stand.sees(number(31.1, unit=""), 3)[-1] is Step.UNCUT


def test_without_a_baseline_no_cut_is_taken_by_itself(store: Store) -> None:
    stand = Stand(Bench(store))
    stand.bench.say("idle cut-out test")
    stand.name(3)
    assert stand.sees(37.4, 4) == [*WAITS, Step.NO_BASELINE]
    stand.name(None)
    assert stand.sees(30.0, 4) == [*WAITS, Step.PROPOSE]
    [baseline] = stand.bench.session.job.runs[0].baselines
    assert baseline.value == 30.0


def test_a_reading_is_taken_once_until_it_is_named_again(stand: Stand) -> None:
    stand.name(4)
    stand.sees(37.4, 4)
    stand.sees(30.0, 4)
    assert stand.sees(38.9, 4) == [Step.DONE] * 4, "whatever the display goes on to show"
    assert stand.bench.cuts == [(4, 37.4)] and stand.bench.session.job.waiting == ()
    stand.name(4)
    assert stand.sees(38.9, 4) == [*WAITS, Step.PROPOSE]


def test_what_comes_after_a_run_is_not_taken_and_the_next_run_s_baseline_is_not_the_last_cut(stand: Stand) -> None:
    stand.name(6)
    stand.sees(37.4, 4)
    stand.bench.session.enter(RunEnded())
    assert stand.sees(37.4, 4) == [None] * 4
    stand.bench.say("idle cut-out test")
    stand.name(None)
    assert stand.sees(37.4, 4) == [*WAITS, Step.STALE]
    assert [*stand.sees(31.0, 3)] == [Step.LOOK, Step.LOOK, Step.PROPOSE]


def test_with_no_cylinder_named_it_is_a_witness_of_what_was_said_and_nothing_else(stand: Stand) -> None:
    bench = stand.bench
    bench.say("cylinder one cut 37.4")
    stand.sees(30.0, 5)
    assert stand.sees(37.4, 3)[-1] is Step.PROPOSE
    [cut] = bench.session.job.runs[0].cuts
    assert [fact.body.written for fact in bench.session.job.seen[cut.entry]] == ["37.4"]
    stand.sees(41.0, 5)
    assert bench.cuts == [(1, 37.4)] and bench.session.job.waiting == ()
    # It enters nothing, so that it need not be news.
    stand.name(2)
    stand.sees(37.6, 4)
    stand.name(None)
    bench.say("cylinder three cut 37.6")
    assert stand.sees(37.6, 4) == [*WAITS, Step.PROPOSE]
    assert len(bench.session.job.seen[bench.session.job.runs[0].cuts[-1].entry]) == 1


def test_a_photo_that_would_give_nothing_is_foretold_to_and_nothing_is_written(stand: Stand) -> None:
    bench = stand.bench
    bench.say("cylinder one cut 37.4")
    before = bench.session.job.entries
    found = foretold(bench.store, bench.job_id, (number(41.0),), bench.tick)
    assert found.made == () and found.line.startswith("nothing is entered from it: which cylinder was cut")
    stand.name(2)
    assert foretold(bench.store, bench.job_id, (replace(number(37.4), doubt="hard to read"),), bench.tick).made
    assert bench.session.job.entries[:-1] == before
