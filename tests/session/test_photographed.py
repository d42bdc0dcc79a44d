"""What becomes of a photo of a screen in a job: from numbers given, no photo is read here."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from journal.analysis import diagnose
from journal.errors import RecordError
from journal.facts import (
    Answer,
    Baseline,
    Condition,
    Correction,
    Cut,
    Engine,
    JobClosed,
    JobOpened,
    Photo,
    PhotoCue,
    PhotoPlaced,
    Question,
    Source,
    Withdrawal,
)
from journal.facts import Quantity as Q
from journal.photographed import enter_shown
from journal.record.photos import take_in
from journal.record.shop_labels import LABELS_FILE, Vouched, keep_label, kept_labels
from journal.record.store import Store
from journal.seeing import Labelled
from journal.session import Session, open_job
from journal.study import weighed
from journal.tapped import last_done
from tests.webui.conftest import jpeg

START = datetime(2026, 3, 2, 8, tzinfo=UTC)
FUEL = "Fuel delivery"
SIZE = (1280, 960)


def number(value: float, label: str = FUEL, quantity: Q | None = Q.FUEL_PER_STROKE, unit: str = "mm3") -> Labelled:
    """A number that was read without a doubt."""
    corners = ((640.0, 60.0), (740.0, 60.0), (740.0, 90.0), (640.0, 90.0))
    return Labelled(f"{value:.1f}", value, label, unit, quantity, 0.99, "", corners)


SPEED = replace(number(702, "Engine speed", Q.ENGINE_SPEED, "rpm"), written="702")


class Bench:
    """A job with a clock of its own that takes photos of a screen."""

    def __init__(self, store: Store, *, label: bool = True) -> None:
        self.store = store
        self.at = START
        self.job_id = open_job(store, JobOpened("Orchard pump 2", Engine(6, (1, 5, 3, 6, 2, 4))), "Wren", at=START)
        self.session = Session(store, self.job_id, "Wren", Source.VOICE, clock=self.tick)
        self.photos = 0
        if label:
            keep_label(store.folder, Q.FUEL_PER_STROKE, FUEL)

    def tick(self) -> datetime:
        self.at += timedelta(seconds=5)
        return self.at

    def say(self, *texts: str) -> list[str]:
        return [outcome.line for text in texts for outcome in self.session.type(text)]

    def take(self, subject: str = "", cylinder: int | None = None, taken_at: str = "") -> str:
        """A photo arrives; its SHA-256."""
        self.photos += 1
        taken = take_in(self.store.folder, jpeg(64, 48, seed=self.photos), "IMG.jpg")
        phone = Session(self.store, self.job_id, "Lark", Source.PAGE, clock=self.tick)
        phone.enter(Photo(taken.sha256, "IMG.jpg", subject, cylinder, taken_at))
        return taken.sha256

    def show(self, *numbers: Labelled, subject: str = "", cylinder: int | None = None, taken_at: str = "") -> str:
        """A photo of a screen with these numbers arrives and is read; what became of it."""
        sha256 = self.take(subject, cylinder, taken_at)
        return enter_shown(self.store, self.job_id, sha256, lambda path: (numbers, SIZE), self.tick)

    @property
    def cuts(self) -> list[tuple[int | None, float | None]]:
        return [(cut.cylinder, cut.value) for cut in self.session.job.runs[-1].cuts]

    @property
    def asks(self) -> Question:
        return self.session.job.waiting[-1].question.body


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path) as opened:
        yield opened


@pytest.fixture
def bench(store: Store) -> Bench:
    """A run that waits for its first reading."""
    made = Bench(store)
    made.say("idle cut-out test")
    return made


def test_a_run_from_photos_only_ends_in_the_same_findings_as_one_that_was_typed(store: Store) -> None:
    read = {1: 37.5, 2: 37.6, 3: 30.0, 4: 37.4, 5: 37.5, 6: 37.5}
    by_photo = Bench(store)
    by_photo.say("idle cut-out test")
    by_photo.show(number(30.0), SPEED, subject="scanner")
    for cylinder, value in read.items():
        assert by_photo.show(number(value), SPEED, cylinder=cylinder) == f"cylinder {cylinder} cut: {value:g}"
    [run] = by_photo.session.job.runs
    assert len(run.conditions) == 1
    typed = Bench(store)
    typed.say("idle cut-out test")
    said = ["baseline 30", "engine speed 702", *(f"cylinder {n} cut {value}" for n, value in read.items())]
    for text, reading in zip(said, (*run.baselines, *run.conditions, *run.cuts), strict=True):
        typed.at = reading.at_utc - timedelta(seconds=5)  # readings drift with time: it is the same for both
        typed.say(text)
    found = [diagnose(weighed(bench.session.job)).runs[0].contributions for bench in (by_photo, typed)]
    by_photos, by_words = ([replace(c, entries=()) for c in each] for each in found)
    assert by_photos == by_words and [c.standing for c in by_photos][2] == "dead"


def test_every_number_that_is_entered_tells_its_photo_and_its_place_on_it(bench: Bench) -> None:
    bench.show(number(30.0), SPEED, subject="scanner")
    job = bench.session.job
    [run] = job.runs
    for reading in (*run.baselines, *run.conditions):
        [fact] = job.seen[reading.entry]
        assert fact.body.photo == job.pictures[0].photo.body.sha256
        assert (fact.body.x0, fact.body.y0, fact.body.x1, fact.body.y1) == (0.5, 0.0625, 740 / 1280, 0.09375)
        assert job.effective[reading.entry].source is Source.PHOTO
    assert job.seen[run.baselines[0].entry][0].body.written == "30.0"


def test_what_was_said_and_is_photographed_is_one_reading_with_two_witnesses(bench: Bench) -> None:
    bench.say("baseline 30", "cylinder four cut thirty seven point four")
    assert bench.show(number(37.4)) == "it shows cylinder 4 cut: 37.4 too"
    assert bench.cuts == [(4, 37.4)]
    [fact] = bench.session.job.seen[bench.session.job.runs[0].cuts[0].entry]
    assert fact.body.written == "37.4"


def test_what_was_photographed_and_is_said_is_one_reading_with_two_witnesses(bench: Bench) -> None:
    bench.say("baseline 30")
    bench.show(number(37.4), cylinder=4)
    assert bench.say("cylinder four cut thirty seven point four") == ["cylinder 4 cut: 37.4 (as on the photo)"]
    assert bench.cuts == [(4, 37.4)]
    # Said shorter than the screen has it, the screen's number stays.
    bench.show(number(37.5), cylinder=5)
    bench.say("cylinder five cut thirty seven")
    assert bench.cuts[-1] == (5, 37.5) and len(bench.session.job.waiting) == 1
    bench.show(number(38.0), cylinder=6)
    bench.say("cylinder six cut thirty eight")
    assert bench.cuts[-1] == (6, 38.0) and len(bench.cuts) == 3


@pytest.mark.parametrize("first", ["voice", "photo"])
def test_where_voice_and_photo_differ_it_is_asked_and_nothing_is_changed_before_the_answer(
    bench: Bench, first: str
) -> None:
    bench.say("baseline 30")
    if first == "voice":
        bench.say("cylinder four cut thirty seven point four")
        bench.show(number(31.4), cylinder=4)
        before, after = 37.4, 31.4
    else:
        bench.show(number(31.4), cylinder=4)
        bench.say("cylinder four cut thirty seven point four")
        before, after = 31.4, 37.4
    assert bench.cuts == [(4, before)]
    [asked] = bench.session.job.waiting
    [option] = asked.question.body.options
    assert isinstance(option, Correction) and option.body == Cut(4, after)
    bench.session.enter(Answer(asked.question.entry.id, 0))
    assert bench.cuts == [(4, after)]


def test_which_label_stands_for_the_fuel_is_asked_once_and_remembered(store: Store) -> None:
    bench = Bench(store, label=False)
    bench.say("idle cut-out test")
    line = bench.show(number(30.0, "Quantity, main"), number(31.0, "Quantity, set point"), subject="scanner")
    assert line == "asked: Baseline: Quantity, main 30.0 mm³ or Quantity, set point 31.0 mm³?"
    assert bench.session.job.runs[0].baselines == () and bench.asks.options == (Baseline(30.0), Baseline(31.0))
    [asked] = bench.session.job.waiting
    bench.session.enter(Answer(asked.question.entry.id, 1))
    assert bench.session.job.runs[0].baselines[0].value == 31.0
    assert kept_labels(store.folder) == {Q.FUEL_PER_STROKE: (Vouched("Quantity, set point", "mm3"),)}
    # Another job, and the label is misread by a letter.
    bench.session.enter(JobClosed("unknown"))
    other = Bench(store, label=False)
    other.say("idle cut-out test")
    assert (
        other.show(number(30.0, "Quantity, main"), number(31.0, "Ouantity, set point"), subject="scanner")
        == "baseline: 31"
    )


def test_a_label_that_nobody_vouched_for_is_asked_about_even_where_the_vocabulary_knows_it(store: Store) -> None:
    bench = Bench(store, label=False)
    bench.say("idle cut-out test")
    bench.show(number(30.0), subject="scanner")
    assert bench.session.job.runs[0].baselines == () and len(bench.session.job.waiting) == 1
    [asked] = bench.session.job.waiting
    bench.session.enter(Answer(asked.question.entry.id))
    assert not (store.folder / LABELS_FILE).exists()


@pytest.mark.parametrize(
    ("written", "why"),
    [
        ('"Qty"', "write labels in quotes within brackets"),
        ("[1]", "write a label in quotes"),
        ('[{label = "Qty", unit = "rpm"}]', "unit 'rpm' of 'Qty': write one of mm3, mg, %"),
        ('[{label = "Qty", unit = "mg", in = "mm3"}]', "write a label in quotes"),
    ],
)
def test_labels_that_cannot_be_read_say_so_and_enter_nothing(bench: Bench, written: str, why: str) -> None:
    (bench.store.folder / LABELS_FILE).write_text(f'"fuel per stroke" = {written}', encoding="utf-8")
    with pytest.raises(RecordError, match=rf"{why}.*remove it to be asked anew"):
        bench.show(number(30.0), subject="scanner")
    assert bench.session.job.runs[0].baselines == ()


def vouch(bench: Bench, unit: str) -> None:
    """The run's baseline comes off a photo whose label is asked about and vouched for, with this unit or with none."""
    bench.show(number(30.0, unit=unit) if unit else unseen(30.0), subject="scanner")
    [asked] = bench.session.job.waiting
    bench.session.enter(Answer(asked.question.entry.id, 0))
    assert kept_labels(bench.store.folder) == {Q.FUEL_PER_STROKE: (Vouched(FUEL, unit),)}


def unseen(value: float, instead: str = "") -> Labelled:
    """A number whose unit was not made out, with what was read in its place."""
    return replace(number(value, unit=""), unit_missing=True, other_unit=instead)


@pytest.mark.parametrize("instead", ["", "mm²/st"], ids=["nothing", "its own, misread by a letter"])
def test_a_label_that_was_vouched_for_stands_for_the_unit_that_stood_beside_it(store: Store, instead: str) -> None:
    bench = Bench(store, label=False)
    bench.say("idle cut-out test")
    vouch(bench, "mm3")
    shown = replace(unseen(37.4, instead), loose_units=("rpm", "mm³/st"))
    assert bench.show(shown, cylinder=4) == "cylinder 4 cut: 37.4"
    bench.session.enter(JobClosed("unknown"))
    later = Bench(store, label=False)
    later.say("idle cut-out test")
    assert later.show(unseen(30.0, instead), subject="scanner") == "baseline: 30"
    assert later.session.job.waiting == ()


@pytest.mark.parametrize(
    "shown",
    [
        number(37.4, unit="mg"),
        unseen(37.4, "m9/st"),
        unseen(37.4, "g"),
        unseen(37.4, "(held)"),
        replace(unseen(37.4), loose_units=("rpm", "m9/st")),
    ],
    ids=["another", "another, misread", "one that is not the journal's", "no unit at all", "another somewhere"],
)
def test_a_label_that_was_vouched_for_does_not_stand_for_a_unit_where_another_is_shown(
    store: Store, shown: Labelled
) -> None:
    bench = Bench(store, label=False)
    bench.say("idle cut-out test")
    vouch(bench, "mm3")
    assert bench.show(shown, cylinder=4).startswith("asked: Cylinder 4 cut: ")
    assert bench.cuts == []


def test_a_label_vouched_for_without_a_unit_has_that_of_the_run_s_readings_from_it_and_no_longer(store: Store) -> None:
    bench = Bench(store, label=False)
    bench.say("idle cut-out test")
    vouch(bench, "")
    assert bench.show(unseen(37.4), cylinder=4) == "cylinder 4 cut: 37.4"
    bench.say("end of run", "idle cut-out test")
    assert bench.show(unseen(30.0), subject="scanner") == "asked: Baseline: 30.0?"


def test_readings_that_were_said_or_that_are_from_another_label_give_no_unit(store: Store) -> None:
    bench = Bench(store, label=False)
    keep_label(store.folder, Q.FUEL_PER_STROKE, FUEL)
    bench.say("idle cut-out test", "baseline 30")
    assert bench.show(unseen(37.4), cylinder=4) == "asked: Cylinder 4 cut: 37.4?"
    [asked] = bench.session.job.waiting
    bench.session.enter(Answer(asked.question.entry.id))
    options = number(30.1, "Quantity, main"), number(37.5, FUEL + " 2")
    bench.show(*options, cylinder=4)
    [asked] = bench.session.job.waiting
    bench.session.enter(Answer(asked.question.entry.id, 0))
    assert bench.cuts == [(4, 30.1)]
    keep_label(store.folder, Q.FUEL_PER_STROKE, FUEL + " 2")
    assert bench.show(replace(unseen(37.5), label=FUEL + " 2"), cylinder=5) == "asked: Cylinder 5 cut: 37.5?"


def test_a_label_that_was_vouched_for_in_another_unit_than_the_run_s_is_asked_about_in_its_own(bench: Bench) -> None:
    keep_label(bench.store.folder, Q.FUEL_PER_STROKE, FUEL, "mg")
    bench.say("baseline 30")
    assert bench.show(unseen(37.4), cylinder=4) == "asked: Cylinder 4 cut: 37.4 mg?"
    assert bench.asks.options == (Cut(4, 37.4, unit="mg"),)


def test_a_label_that_was_read_in_two_units_stands_for_neither(bench: Bench) -> None:
    keep_label(bench.store.folder, Q.FUEL_PER_STROKE, FUEL, "mg")
    bench.say("baseline 30")
    bench.show(number(37.4), cylinder=4)
    assert bench.cuts == [(4, 37.4)]
    for shown in (unseen(37.5), replace(unseen(37.5), unit_missing=False)):
        assert bench.show(shown, cylinder=5) == "asked: Cylinder 5 cut: 37.5?"
        bench.session.enter(Answer(bench.session.job.waiting[-1].question.entry.id))


def test_another_unit_that_stands_somewhere_on_the_screen_is_a_doubt_even_where_nothing_else_shows_one(
    bench: Bench,
) -> None:
    bench.say("baseline 30")
    plain = replace(number(37.4, unit=""), loose_units=("rpm", "mm³/st"))
    assert bench.show(plain, cylinder=4) == "cylinder 4 cut: 37.4"
    assert bench.show(replace(plain, loose_units=("mg/st",)), cylinder=5) == "asked: Cylinder 5 cut: 37.4?"


def test_what_stood_beside_a_label_is_kept_until_another_unit_is_vouched_for(store: Store) -> None:
    for unit, kept in (("mm3", "mm3"), ("", "mm3"), ("mg", "mg")):
        keep_label(store.folder, Q.FUEL_PER_STROKE, 'Fuel "main"', unit)
        assert kept_labels(store.folder) == {Q.FUEL_PER_STROKE: (Vouched('Fuel "main"', kept),)}
    keep_label(store.folder, Q.FUEL_RATE, 'Fuel "main"')
    assert kept_labels(store.folder) == {Q.FUEL_RATE: (Vouched('Fuel "main"'),)}


def test_a_letter_that_tells_one_of_several_labels_is_no_misread_one(store: Store) -> None:
    bench = Bench(store, label=False)
    keep_label(store.folder, Q.FUEL_PER_STROKE, "Step A Fuel delivery")
    bench.say("idle cut-out test", "baseline 30")
    steps = [number(37.4 + i, f"Step {letter} Fuel delivery") for i, letter in enumerate("ABC")]
    assert bench.show(*steps, cylinder=4) == "cylinder 4 cut: 37.4"
    # Where its own was not read, another's is not taken for it.
    assert bench.show(*steps[1:], cylinder=5).startswith("asked: Cylinder 5 cut: Step B Fuel delivery")
    assert bench.cuts == [(4, 37.4)]


def test_labels_of_an_older_journal_are_read_as_they_were(store: Store) -> None:
    (store.folder / LABELS_FILE).write_text('"fuel per stroke" = ["Qty", {label = "Fuel", unit = "mg"}]')
    assert kept_labels(store.folder)[Q.FUEL_PER_STROKE] == (Vouched("Qty"), Vouched("Fuel", "mg"))


@pytest.mark.parametrize(
    "shown",
    [
        replace(number(37.4), doubt="hard to read", certainty=0.7),
        number(77.4),
        replace(number(374.0), written="374"),
        number(37.4, unit="mg"),
    ],
    ids=["hard to read", "not as expected", "a sign lost", "another unit"],
)
def test_what_is_not_sure_is_asked(bench: Bench, shown: Labelled) -> None:
    bench.say("baseline 30.1")
    assert bench.show(shown, cylinder=4).startswith("asked: Cylinder 4 cut: ")
    [asked] = bench.session.job.waiting
    assert bench.cuts == [] and asked.question.entry.certainty == (0.7 if shown.doubt else 0.997)


def test_a_number_in_doubt_is_no_condition_and_the_next_photo_tells_it(bench: Bench) -> None:
    bench.show(number(30.0), replace(SPEED, doubt="hard to read"), subject="scanner")
    assert bench.session.job.runs[0].conditions == ()
    bench.show(number(37.4), SPEED, cylinder=1)
    [speed] = bench.session.job.runs[0].conditions
    assert (speed.quantity, speed.value, speed.unit) == (Q.ENGINE_SPEED, 702.0, "rpm")


def test_a_sure_photo_answers_what_was_asked_about_a_reading_and_another_number_is_asked_with_it(bench: Bench) -> None:
    bench.say("baseline 30")
    asked = bench.session.enter(Question("four: thirteen, or thirty?", (Cut(4, 13.0), Cut(4, 37.4))))
    assert bench.show(number(37.4), cylinder=4) == "cylinder 4 cut: 37.4"
    assert bench.cuts == [(4, 37.4)] and bench.session.job.waiting == ()
    assert bench.session.job.seen[asked.id]
    bench.session.enter(Question("five: thirteen, or thirty?", (Cut(5, 13.0), Cut(5, 37.4))))
    bench.show(number(36.4), cylinder=5)
    [anew] = bench.session.job.waiting
    assert anew.question.body.options == (Cut(5, 36.4), Cut(5, 13.0), Cut(5, 37.4)) and len(bench.cuts) == 1


def not_plain(bench: Bench, why: str) -> str:
    """A photo with a number in a job where it cannot be said what it is of; what became of it."""
    match why:
        case "no run":
            return bench.show(number(37.4), cylinder=4)
        case "the run is over":
            bench.say("idle cut-out test", "baseline 30", "end of run")
            return bench.show(number(37.4), subject="scanner", cylinder=4)
        case "the job is closed":
            bench.say("idle cut-out test", "baseline 30")
            bench.session.enter(JobClosed("unknown"))
            return bench.show(number(37.4), cylinder=4)
        case "another job":
            bench.say("idle cut-out test", "baseline 30")
            Bench(bench.store)
            return bench.show(number(37.4), cylinder=4)
        case "taken before the run":
            bench.say("idle cut-out test", "baseline 30")
            return bench.show(number(37.4), cylinder=4, taken_at=(START - timedelta(hours=1)).isoformat())
        case "another cylinder since the cue":
            bench.say("idle cut-out test", "baseline 30")
            bench.session.enter(PhotoCue("scanner", 4))
            bench.say("cylinder five cut 37.5")
            return bench.show(number(37.4))
        case "no cylinder named":
            bench.say("idle cut-out test", "baseline 30", "cylinder one cut 37.5")
            return bench.show(number(36.4))
        case "another speed":
            bench.say("idle cut-out test", "baseline 30", "engine speed 702", "cylinder one cut 37.5")
            return bench.show(number(37.4), replace(SPEED, value=1500.0, written="1500"), cylinder=4)
    raise AssertionError(why)


@pytest.mark.parametrize(
    "why",
    ["no run", "the run is over", "the job is closed", "another job", "taken before the run",
     "another cylinder since the cue", "no cylinder named", "another speed"],
)  # fmt: skip
def test_nothing_is_entered_from_a_photo_whose_run_or_cylinder_is_not_plain(store: Store, why: str) -> None:
    bench = Bench(store)
    line = not_plain(bench, why)
    job = bench.session.job
    assert job.seen == {} and job.waiting == () and not any(e.source is Source.PHOTO for e in job.entries)
    assert (4, 37.4) not in [(c.cylinder, c.value) for run in job.runs for c in run.cuts]
    if why == "another speed":
        assert line == "nothing is entered from it: engine speed: 1500 rpm is not this run's: say what is tested now"
    else:
        assert line.startswith("nothing is entered from it: ")


def test_a_photo_of_something_else_or_of_no_run_is_not_read_at_all(bench: Bench) -> None:
    def read(path: Path) -> tuple[tuple[Labelled, ...], tuple[int, int]]:
        raise AssertionError("it was read")

    assert enter_shown(bench.store, bench.job_id, bench.take("blow-by", 4), read) == ""
    bench.say("end of run")
    assert enter_shown(bench.store, bench.job_id, bench.take(), read).startswith("nothing is entered from it")


def test_a_photo_without_numbers_or_without_the_fuel_gives_one_line(bench: Bench) -> None:
    assert bench.show(cylinder=4) == "no number is to be seen on it"
    assert bench.show(SPEED, cylinder=4) == "no fuel per stroke is to be seen on it"
    assert bench.session.job.seen == {}


def test_a_photo_is_read_into_a_job_once(bench: Bench) -> None:
    sha256 = bench.take("scanner")
    for line in ("baseline: 30", ""):
        assert enter_shown(bench.store, bench.job_id, sha256, lambda path: ((number(30.0),), SIZE)) == line
    assert len(bench.session.job.runs[0].baselines) == 1


def test_a_photo_whose_reading_was_taken_back_can_be_placed_and_read_anew(bench: Bench) -> None:
    bench.say("baseline 30")
    sha256 = bench.take(cylinder=3)

    def read(path: Path) -> tuple[tuple[Labelled, ...], tuple[int, int]]:
        return (number(37.4),), SIZE

    assert enter_shown(bench.store, bench.job_id, sha256, read, bench.tick) == "cylinder 3 cut: 37.4"
    bench.session.enter(Withdrawal(bench.session.job.runs[0].cuts[0].entry))
    bench.session.enter(PhotoPlaced(sha256, "scanner", 4))
    assert enter_shown(bench.store, bench.job_id, sha256, read, bench.tick) == "cylinder 4 cut: 37.4"
    assert bench.cuts == [(4, 37.4)]


def test_of_several_numbers_that_may_be_the_fuel_none_becomes_a_witness(store: Store) -> None:
    bench = Bench(store, label=False)
    bench.say("idle cut-out test", "baseline 30", "cylinder four cut 37.4")
    line = bench.show(number(37.4), number(41.0, "Fuel quantity"), cylinder=4)
    assert line == "nothing is entered from it: 2 numbers may be the fuel per stroke"
    many = [number(41.0 + each, f"Fuel quantity {each}") for each in range(4)]
    assert bench.show(*many, cylinder=5) == "nothing is entered from it: 4 numbers may be the fuel per stroke"
    assert bench.session.job.seen == {} and bench.session.job.waiting == ()


def test_a_yes_never_answers_what_a_photo_asks_and_scratch_that_takes_back_what_was_said(bench: Bench) -> None:
    bench.say("baseline 30", "cylinder one cut 37.5")
    bench.show(replace(number(37.4), doubt="hard to read"), cylinder=2)
    assert bench.say("yes") == ["no question is waiting for it"]
    assert len(bench.session.job.waiting) == 1
    bench.show(number(37.4), cylinder=3)
    assert bench.say("scratch that") == ["taken back: cylinder 1 cut: 37.5"]
    assert bench.cuts == [(3, 37.4)]


def test_undo_on_the_page_takes_back_what_a_photo_entered(bench: Bench) -> None:
    bench.say("baseline 30")
    bench.show(number(37.4), cylinder=3)
    act = last_done(bench.session.job)
    assert act is not None and act.body == Cut(3, 37.4)
    bench.session.enter(Withdrawal(act.id))
    assert bench.cuts == []


def test_a_condition_off_a_photo_keeps_its_unit(bench: Bench) -> None:
    bench.show(number(30.0), number(176.0, "Coolant temp", Q.COOLANT_TEMPERATURE, "degF"), subject="scanner")
    entered = [e.body for e in bench.session.job.entries if isinstance(e.body, Condition)]
    assert entered == [Condition(Q.COOLANT_TEMPERATURE, 176.0, "degF")]
