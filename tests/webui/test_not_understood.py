"""What was not understood stands on the page with its sound: put right there, or settled as not for the journal."""

from __future__ import annotations

import re

from journal.facts import Answer, Baseline, Cut, Question, RunKind, RunStarted, Source
from journal.record.job import Job
from journal.record.store import Store
from tests.webui.conftest import Shop, text_of

SOUND = "ab" * 32


def lost(shop: Shop, job: str, *heard: str) -> list[str]:
    """Things said that were not understood; their identifiers."""
    return [shop.enter(job, Question("Sorry?", ()), heard=words, clip=SOUND)[0].id for words in heard]


def begun(shop: Shop) -> str:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE), Baseline(30.0))
    return job


def cuts(job: Job) -> list[tuple[int | None, float | None]]:
    return [(cut.cylinder, cut.value) for run in job.runs for cut in run.cuts]


def test_it_is_listed_with_its_words_and_sound_and_is_no_question_that_waits(shop: Shop) -> None:
    job = begun(shop)
    (first,) = lost(shop, job, "knock four down, thirty eight")
    for page in (f"/job/{job}/review", f"/job/{job}"):
        text = text_of(shop.get(page))
        form = text[text.index('id="not-understood"') : text.index("Not for the journal")]
        assert 'value="knock four down, thirty eight"' in form and f"/not-understood/{first}" in form
        assert SOUND in form
        assert "A question that waits" not in text
    live = text_of(shop.get(f"/job/{job}/live"))
    assert "1 not understood" in live and "#not-understood" in live and "A question that waits" not in live
    assert "waiting" not in text_of(shop.get("/")).split("<main", 1)[1].split('class="jobs"')[1]
    assert "a question waits" not in text_of(shop.get(f"/job/{job}/finish"))


def test_its_words_put_right_are_entered_where_it_was_said(shop: Shop) -> None:
    job = begun(shop)
    (first,) = lost(shop, job, "knock four down, thirty eight")
    shop.enter(job, Cut(5, 37.0))
    page = text_of(shop.post(f"/job/{job}/not-understood/{first}", words="cylinder four cut thirty eight"))
    assert "entered: cylinder 4 cut: 38" in page and 'id="not-understood"' not in page
    assert cuts(shop.job(job)) == [(4, 38.0), (5, 37.0)]
    answer = shop.job(job).entries[-1]
    assert answer.source is Source.PAGE and answer.heard == "cylinder four cut thirty eight"
    again = shop.post(f"/job/{job}/not-understood/{first}", words="cylinder four cut thirty eight")
    assert again.status_code == 400 and "meanwhile" in text_of(again)


def test_one_tap_lets_go_of_one_or_of_all_that_are_shown(shop: Shop) -> None:
    job = begun(shop)
    ids = lost(shop, job, "hand me that", "is it lunch yet", "turn it up", "who took my", "seven sixteenths")
    shop.post(f"/job/{job}/not-understood/{ids[0]}", nothing="yes", words="hand me that")
    page = text_of(shop.get(f"/job/{job}"))
    assert page.count('class="sheet mend"') == 3 and "1 more" in page
    shown = re.findall(r'name="entry" value="([^"]+)"', page)
    assert shown == ids[:1:-1]
    with Store.open(shop.folder) as store:
        before = len(store.entries(job))
    assert "3 let go" in text_of(shop.post(f"/job/{job}/not-understood", entry=shown, back="overview"))
    assert [asked.question.entry.id for asked in shop.job(job).not_understood] == [ids[1]]
    assert {entry.body for entry in shop.job(job).entries[before:]} == {Answer(i) for i in ids[2:]}
    assert shop.post(f"/job/{job}/not-understood", entry=shown).status_code == 400


def test_a_doubt_is_put_with_what_may_be_meant(shop: Shop) -> None:
    job = begun(shop)
    (first,) = lost(shop, job, "four three hundred")
    doubt = shop.post(f"/job/{job}/not-understood/{first}", words="cylinder four cut three hundred")
    assert doubt.status_code == 409 and "Yes: Cylinder 4 cut: 300" in text_of(doubt)
    assert cuts(shop.job(job)) == []
    shop.post(f"/job/{job}/not-understood/{first}", words="cylinder four cut three hundred", option="0")
    assert cuts(shop.job(job)) == [(4, 300.0)]


def test_what_cannot_be_entered_is_told_and_goes_on_waiting(shop: Shop) -> None:
    job = begun(shop)
    (first,) = lost(shop, job, "mumble")
    (other,) = shop.enter(job, Question("four?", (Cut(4, 30.0),)))
    count = len(shop.job(job).entries)
    for form in (
        {"words": ""},
        {"words": "lovely weather"},
        {"words": "x" * 301},
        {"words": "baseline 30", "option": "y"},
    ):
        assert shop.post(f"/job/{job}/not-understood/{first}", **form).status_code in (400, 409), form
    assert shop.post(f"/job/{job}/not-understood/{other.id}", words="baseline thirty").status_code == 404
    assert shop.post(f"/job/{job}/not-understood/nothing", words="baseline thirty").status_code == 404
    assert len(shop.job(job).entries) == count
