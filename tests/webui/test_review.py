"""The review: correct, take back, restore, answer, add by hand, and the history of a value."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest

from journal.facts import Baseline, Condition, Correction, Cut, Note, Question, Source
from journal.record.job import Job
from journal.record.store import Store
from tests.webui.conftest import IDLE_RUN, Shop, sign_of, text_of
from tests.webui.test_desk import link_of


def cut_of(job: Job, cylinder: int, run: int = 1) -> tuple[str, float | None]:
    """The entry and the number of a run's last reading of a cylinder."""
    reading = [cut for cut in job.runs[run - 1].cuts if cut.cylinder == cylinder][-1]
    return reading.entry, reading.value


def test_every_entry_stands_in_the_review_with_its_words_and_certainty(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.get(f"/job/{job}/review?show=all"))
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
    shop.post(f"/job/{job}/entry/{entry}/take-back", back="run-1")
    assert cut_of(shop.job(job), 6) == (entry, value)
    shop.post(f"/job/{job}/entry/{entry}/take-back", back="run-1")
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
    *_, last, added = sorted(shop.job(job).runs[0].cuts, key=lambda cut: cut.at_utc)
    assert added.at_utc - last.at_utc == timedelta(milliseconds=1), "right after the last one, whatever follows"
    assert shop.post(f"/job/{job}/add", run="5", cylinder="6", value="37").status_code == 400


def test_a_note_is_put_right_as_it_is_written(shop: Shop) -> None:
    job = shop.open()
    note = shop.enter(job, Note("smel of fuel"))[0]
    shop.post(f"/job/{job}/entry/{note.id}/correct", text="Smell of fuel at the return line")
    assert [fact.body.text for fact in shop.job(job).notes] == ["Smell of fuel at the return line"]


def test_long_reviews_come_in_pages_that_hold_every_entry_once(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, *(Note(f"note number {n:03d}x") for n in range(180)))
    pages = [text_of(shop.get(f"/job/{job}/review?show=all&page={n}")) for n in (1, 2, 3)]
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


def shown_of(page: str) -> list[str]:
    """The values in the rows of a page of the review, in order."""
    return re.findall(r'name="value" inputmode="decimal" maxlength="30" value="([^"]*)"', page)


def test_the_review_shows_one_run_or_one_cylinder_at_a_time(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.say(
        job, "idle cut out test", "baseline twenty eight", "cylinder two cut thirty five", "cylinder one cut thirty six"
    )
    shop.say(job, "cylinder three broken bridge")
    latest, first, third, rest, unknown = (
        text_of(shop.get(f"/job/{job}/review{show}"))
        for show in ("", "?show=run-1", "?show=cylinder-3", "?show=rest", "?show=run-9")
    )
    assert shown_of(latest) == ["28", "36", "35"] == shown_of(unknown), "cylinder by cylinder"
    assert shown_of(first) == ["30", "37.5", "37.6", "", "37.4", "37.5", "37.5"]
    assert shown_of(third) == [""] and "Overhead, cylinder 3: damaged, bridge" in third
    assert "damaged, bridge" in rest and "Job opened" in rest and "Cylinder 2 cut" not in rest


def test_a_reading_is_put_right_where_it_is_shown_and_the_place_is_kept(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    entry, _ = cut_of(shop.job(job), 4)
    sign = {"csrf_token": sign_of(text_of(shop.get("/code")))}
    there = f"/job/{job}/review?show=cylinder-4#entry-{entry}"
    form = {"cylinder": "4", "value": "36.9", "back": "cylinder-4", **sign}
    assert shop.client.post(f"/job/{job}/entry/{entry}/correct", data=form).location == there
    back = {"back": "cylinder-4", **sign}
    assert shop.client.post(f"/job/{job}/entry/{entry}/take-back", data=back).location == there
    page = text_of(shop.get(f"/job/{job}/review?show=cylinder-4"))
    assert f'id="entry-{entry}"' in page and ">taken back<" in page and "Restore" in page
    form = {"run": "1", "cylinder": "4", "value": "37", "back": "run-1", **sign}
    added = shop.client.post(f"/job/{job}/add", data=form).location
    assert added == f"/job/{job}/review?show=run-1#entry-{cut_of(shop.job(job), 4)[0]}"


@pytest.mark.parametrize(
    ("what", "form"),
    [
        (Cut, {"cylinder": "4", "value": "9999999"}), (Cut, {"cylinder": "4", "value": "3.7"}),
        (Cut, {"cylinder": "4", "value": "374"}), (Baseline, {"value": "300"}), (Baseline, {"value": "3"}),
        (Condition, {"value": "7000"}), (Cut, {"words": "cylinder four cut nine hundred"}),
    ],
)  # fmt: skip
def test_a_number_that_the_run_does_not_lead_one_to_expect_is_asked_about_and_not_taken_in_silence(
    shop: Shop, what: type, form: dict[str, str]
) -> None:
    job = shop.open()
    shop.say(job, IDLE_RUN[0], "engine speed seven hundred", *IDLE_RUN[1:])
    entries = [e for e in shop.job(job).entries if isinstance(e.body, what)]
    entry = next(e for e in entries if getattr(e.body, "cylinder", None) in (None, 4))
    answer = shop.post(f"/job/{job}/entry/{entry.id}/correct", **form)
    assert answer.status_code == 409 and 'name="sure" value="yes"' in text_of(answer)
    assert shop.job(job).effective[entry.id].body == entry.body, "not yet"
    assert shop.post(f"/job/{job}/entry/{entry.id}/correct", **form, sure="yes").status_code == 200
    assert isinstance(shop.job(job).entries[-1].body, Correction)


def test_a_reading_added_by_numbers_is_doubted_as_the_spoken_one_is(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    count = len(shop.job(job).entries)
    for form in ({"run": "1", "cylinder": "6", "value": "3710"}, {"value": "3000"}, {"cylinder": "3", "value": "9999"}):
        assert shop.post(f"/job/{job}/add", **form).status_code == 409
    assert len(shop.job(job).entries) == count
    shop.post(f"/job/{job}/add", run="1", cylinder="6", value="3710", sure="yes")
    assert cut_of(shop.job(job), 6)[1] == 3710


def test_a_number_by_hand_is_in_plain_figures(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    count = len(shop.job(job).entries)
    for form in (
        {"value": "1_0"},
        {"value": "3e1"},
        {"value": "٣٨"},
        {"value": "nan"},
        {"cylinder": "0_3", "value": "37"},
    ):
        answer = shop.post(f"/job/{job}/add", **{"run": "1", "cylinder": "6", "sure": "yes", **form})
        assert answer.status_code == 400, form
    assert len(shop.job(job).entries) == count


def test_a_plausible_correction_is_not_asked_about(tested: tuple[Shop, str]) -> None:
    """A question asked of the user costs too: whatever the spoken road takes without asking is taken here."""
    shop, job = tested
    for cylinder, value in ((1, "37.1"), (2, "36"), (4, "39"), (3, "30.2")):
        entry, _ = cut_of(shop.job(job), cylinder)
        answer = shop.post(f"/job/{job}/entry/{entry}/correct", cylinder=str(cylinder), value=value)
        assert answer.status_code == 200 and cut_of(shop.job(job), cylinder)[1] == float(value)
    baseline = shop.job(job).runs[0].baselines[0].entry
    assert shop.post(f"/job/{job}/entry/{baseline}/correct", value="29.5").status_code == 200


def test_a_form_that_cannot_be_done_stays_within_the_job(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    entry, _ = cut_of(shop.job(job), 4)
    answer = shop.post(f"/job/{job}/entry/{entry}/correct", cylinder="4", value="many")
    page = text_of(answer)
    assert answer.status_code == 400 and 'data-problem="value"' in page
    assert f'href="/job/{job}/live"' in page and "Orchard pump 2" in page


def test_titles_name_the_page_and_the_job(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    with Store.open(shop.folder) as store:
        reference = store.line(job).reference
    places = ["", "/review", "/review?show=cylinder-3", "/run/1", "/photos", "/parts", "/write-up", "/finish", "/about"]
    titles = [re.search("<title>(.*?)</title>", text_of(shop.get(f"/job/{job}{place}")))[1] for place in places]  # type: ignore[index]
    assert len(set(titles)) == len(places)
    assert all(f"Orchard pump 2, {reference}" in title for title in titles)
    assert titles[2].startswith("Review: Cylinder 3 – ")


def test_a_question_that_waits_stands_in_the_head_of_every_page_but_no_strangers(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    (asked,) = shop.enter(job, Question("Cylinder 4: 30 or 38?", (Cut(4, 38.0), Cut(4, 30.0))))
    link = f'href="/job/{job}/review#question-{asked.id}"'
    for place in (
        "/",
        "/units",
        "/devices",
        "/phrases",
        "/new",
        *(f"/job/{job}{p}" for p in ("", "/photos", "/parts")),
    ):
        assert link in text_of(shop.get(place)), place
    assert link not in text_of(shop.app.test_client().get("/code"))
    assert link not in text_of(shop.get(link_of(shop, job)))
    shop.post(f"/job/{job}/question/{asked.id}", choice="0")
    assert link not in text_of(shop.get("/"))
