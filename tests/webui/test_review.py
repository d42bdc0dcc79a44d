"""The review: correct, take back, restore, answer, add by hand, and the history of a value."""

from __future__ import annotations

import re

from journal.facts import Correction, Cut, Note, Question, Source
from journal.record.job import Job
from tests.webui.conftest import IDLE_RUN, Shop, text_of


def cut_of(job: Job, cylinder: int, run: int = 1) -> tuple[str, float | None]:
    """The entry and the number of a run's last reading of a cylinder."""
    reading = [cut for cut in job.runs[run - 1].cuts if cut.cylinder == cylinder][-1]
    return reading.entry, reading.value


def test_every_entry_stands_in_the_review_with_its_words_and_certainty(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.get(f"/job/{job}/review"))
    for words in IDLE_RUN:
        assert words in page
    assert page.count('class="what"') == len(shop.job(job).entries)


def test_a_corrected_reading_counts_and_its_history_keeps_the_first(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    entry, _ = cut_of(shop.job(job), 4)
    page = text_of(shop.post(f"/job/{job}/entry/{entry}/correct", cylinder="4", value="36,9"))
    assert cut_of(shop.job(job), 4) == (entry, 36.9)
    history = page[page.index("How it came to be") :]
    assert "Cylinder 4 cut: 37.4" in history and "Corrected to cylinder 4 cut: 36.9" in history
    assert shop.job(job).entries[-1].source is Source.PAGE
    assert ">corrected<" in text_of(shop.get(f"/job/{job}/review"))


def test_a_reading_can_be_corrected_in_words(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    entry, _ = cut_of(shop.job(job), 4)
    shop.post(f"/job/{job}/entry/{entry}/correct", words="cylinder four cut thirty six point eight")
    assert cut_of(shop.job(job), 4) == (entry, 36.8)


def test_what_cannot_be_meant_changes_nothing(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    entry, before = cut_of(shop.job(job), 4)
    count = len(shop.job(job).entries)
    for form in (
        {"cylinder": "4", "value": "many"}, {"cylinder": "9", "value": "37"}, {"cylinder": "", "value": "37"},
        {"cylinder": "4", "value": "nan"}, {"cylinder": "4", "value": "inf"}, {"cylinder": "4", "value": ""},
        {"words": "blow by light"}, {"words": "what a lovely morning"}, {"cylinder": "4", "value": "37.4"},
    ):  # fmt: skip
        answer = shop.post(f"/job/{job}/entry/{entry}/correct", **form)
        assert answer.status_code == 400, form
    assert cut_of(shop.job(job), 4) == (entry, before) and len(shop.job(job).entries) == count


def test_a_reading_taken_back_does_not_count_and_can_be_restored(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    entry, value = cut_of(shop.job(job), 6)
    page = text_of(shop.post(f"/job/{job}/entry/{entry}/take-back"))
    assert not [cut for cut in shop.job(job).runs[0].cuts if cut.cylinder == 6]
    assert "Restore this entry" in page
    shop.post(f"/job/{job}/entry/{entry}/take-back", back="review")
    assert cut_of(shop.job(job), 6) == (entry, value)
    shop.post(f"/job/{job}/entry/{entry}/take-back", back="review")
    assert not [cut for cut in shop.job(job).runs[0].cuts if cut.cylinder == 6], "and taken back once more"


def test_the_opening_of_a_job_cannot_be_taken_back(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    opening = shop.job(job).entries[0].id
    assert shop.post(f"/job/{job}/entry/{opening}/take-back").status_code == 400
    assert shop.get(f"/job/{job}").status_code == 200


def test_a_question_is_answered_by_a_tap_and_only_once(shop: Shop) -> None:
    job = shop.open()
    shop.say(job, "idle cut out test", "baseline thirty")
    question = Question("Cylinder 4: 30 or 38?", (Cut(4, 38.0), Cut(4, 30.0)))
    asked = shop.enter(job, question, heard="cylinder four cut thirty something")[0]
    assert "Cylinder 4 cut: 38" in text_of(shop.get(f"/job/{job}/review"))
    shop.post(f"/job/{job}/question/{asked.id}", choice="1", back="review")
    assert cut_of(shop.job(job), 4) == (asked.id, 30.0) and not shop.job(job).waiting
    assert shop.post(f"/job/{job}/question/{asked.id}", choice="0").status_code == 400
    assert cut_of(shop.job(job), 4) == (asked.id, 30.0)


def test_a_question_answered_by_neither_enters_no_number(shop: Shop) -> None:
    job = shop.open()
    asked = shop.enter(job, Question("Cylinder 4: 30 or 38?", (Cut(4, 38.0), Cut(4, 30.0))))[0]
    for choice in ("7", "-1", "x", ""):
        assert shop.post(f"/job/{job}/question/{asked.id}", choice=choice).status_code == 400
    shop.post(f"/job/{job}/question/{asked.id}", choice="neither")
    assert not shop.job(job).waiting and not shop.job(job).runs


def test_words_entered_by_hand_go_the_same_way_as_spoken_ones(shop: Shop) -> None:
    job = shop.open()
    shop.post(f"/job/{job}/add", words="idle cut out test")
    shop.post(f"/job/{job}/add", words="baseline thirty")
    page = shop.post(f"/job/{job}/add", words="cylinder two cut thirty eight")
    assert cut_of(shop.job(job), 2)[1] == 38.0 and "cylinder two cut thirty eight" in text_of(page)
    assert shop.post(f"/job/{job}/add", words="pass me the big spanner").status_code == 400


def test_a_reading_added_to_an_earlier_run_belongs_to_that_run(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.say(job, *IDLE_RUN)
    shop.post(f"/job/{job}/add", run="1", cylinder="6", value="37.1")
    assert cut_of(shop.job(job), 6, run=1)[1] == 37.1
    assert cut_of(shop.job(job), 6, run=2)[1] == 37.5
    assert shop.post(f"/job/{job}/add", run="5", cylinder="6", value="37").status_code == 400


def test_a_note_is_put_right_as_it_is_written(shop: Shop) -> None:
    job = shop.open()
    note = shop.enter(job, Note("smel of fuel"))[0]
    shop.post(f"/job/{job}/entry/{note.id}/correct", text="Smell of fuel at the return line")
    assert [fact.body.text for fact in shop.job(job).notes] == ["Smell of fuel at the return line"]


def test_long_reviews_come_in_pages_that_hold_every_entry_once(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, *(Note(f"note number {n:03d}x") for n in range(180)))
    pages = [text_of(shop.get(f"/job/{job}/review?page={n}")) for n in (1, 2, 3)]
    listed = [n for page in pages for n in re.findall(r'class="what"[^>]*>Note: note number (\d{3})x', page)]
    assert listed == [f"{n:03d}" for n in reversed(range(180))]


def test_an_entry_of_another_job_is_not_reached_through_this_one(shop: Shop) -> None:
    mine, other = shop.open(), shop.open("Chipper 7")
    secret = shop.enter(other, Note("not for you"))[0]
    assert shop.get(f"/job/{mine}/entry/{secret.id}").status_code == 404
    assert shop.post(f"/job/{mine}/entry/{secret.id}/take-back").status_code == 404
    assert not any(isinstance(e.body, Correction) for e in shop.job(other).entries) and shop.job(other).notes


def test_entries_are_by_whoever_is_at_the_device(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.post(f"/job/{job}/add", words="blow by light")
    shop.post("/who", technician="Ash", back=f"/job/{job}/review")
    page = shop.post(f"/job/{job}/add", words="blow by heavy")
    assert [fact.entry.technician for fact in shop.job(job).checks] == ["Wren", "Ash"]
    assert "Entries made here are by Ash" in text_of(page)
