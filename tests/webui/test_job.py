"""The job page: what was read, what it means, what to check next, what is not put back."""

from __future__ import annotations

import io
import re

import numpy as np

from journal.facts import Cut, Engine, PressureLevel, Question, RepairDone, RunKind, RunStarted, TroubleCode
from journal.record.clips import keep_clip
from tests.webui.conftest import IDLE_RUN, Shop, jpeg, text_of
from webui.say import engine_line, printed, spoken


def test_the_job_page_says_what_was_found_and_why(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.get(f"/job/{job}"))
    assert "Cylinder 3 is dead" in page
    assert "misses at idle" in page and "firing order 1-5-3-6-2-4" in re.sub("<[^>]+>", "", page)
    assert 'role="img"' in page and "standing-dead" in page
    assert "Check next" in page and "Not ready to order" in page
    assert "service manual" in page


def test_every_share_is_shown_with_its_interval(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.get(f"/job/{job}"))
    table = page[page.index("Share of the work") : page.index("By the rises alone")]
    row = r'<th scope="row"[^>]*>(\d)</th>.*?class="number">(\d+\xa0%)</td>\s*<td[^>]*class="number">(.*?)</td>'
    rows = re.findall(row, table, re.S)
    assert [int(row[0]) for row in rows] == [1, 2, 3, 4, 5, 6]
    assert all(re.fullmatch(r"\d+\xa0% to \d+\xa0%", interval) for _, _, interval in rows)


def test_no_line_ends_between_a_number_and_its_per_cent(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    seen = 0
    for place in ("", "/live", "/finish", "/review"):
        # Words within a drawing, or in what is said of one, are on one line anyway.
        page = re.sub(r"<svg.*?</svg>|<[^>]+>", "", text_of(shop.get(f"/job/{job}{place}")), flags=re.S)
        assert re.findall(r".{0,40}\d %", page) == [], place
        seen += len(re.findall(r"\d\xa0%", page))
    assert seen > 10


def test_a_short_firing_order_stays_on_one_line_and_a_long_one_may_break(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    assert 'firing order <span class="nowrap">1-5-3-6-2-4</span>' in text_of(shop.get(f"/job/{job}"))
    order = tuple(range(1, 17))
    assert str(engine_line(Engine(16, order))).endswith(f"<span>{'-'.join(map(str, order))}</span>")


def test_a_sentence_of_the_analysis_is_printed_with_the_pages_units() -> None:
    assert printed("6 mm3 of 92 %") == "6 mm³ of 92\xa0%"
    assert printed("at 80 degC and 3 N.m") == "at 80 °C and 3 N·m"
    assert printed("the word mm3 and 4 mm3x stay") == "the word mm3 and 4 mm3x stay"
    assert str(spoken("5 mm3: say `take it`")) == "5 mm³: say <q>take it</q>"


def test_every_reading_traces_to_its_words_and_its_sound(shop: Shop) -> None:
    job = shop.open()
    clip = keep_clip(shop.folder, np.sin(np.arange(8000) / 9).astype(np.float32) * 0.3)
    shop.say(job, "idle cut out test", "baseline thirty")
    shop.enter(job, Cut(4, 37.5), heard="cylinder four cut thirty seven point five", clip=clip)
    page = text_of(shop.get(f"/job/{job}"))
    assert "cylinder four cut thirty seven point five" in page
    address = re.search(rf'src="(/job/{job}/clip/{clip}.flac)"', page)
    assert address is not None
    sound = shop.get(address.group(1))
    assert sound.status_code == 200 and sound.data[:4] == b"fLaC" and sound.mimetype == "audio/flac"


def test_what_is_not_put_back_stays_on_the_page_until_it_is(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, RunStarted(RunKind.IDLE, pressure=PressureLevel.HIGH))
    assert "Injection pressure is as it belongs" in text_of(shop.get(f"/job/{job}"))
    shop.post(f"/job/{job}/put-back", what="injection pressure", back="overview")
    assert "Injection pressure is as it belongs" not in text_of(shop.get(f"/job/{job}"))
    assert shop.job(job).outstanding == ()


def test_a_question_that_waits_stands_on_the_job_page_with_its_answers(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, Question("five: thirteen, or thirty?", (Cut(5, 13.0), Cut(5, 30.0))))
    page = text_of(shop.get(f"/job/{job}"))
    assert 'name="choice" value="0"' in page and 'name="choice" value="1"' in page
    assert re.search(r">\s*Neither\s*</button>", page)


def test_a_question_with_one_answer_asks_for_yes_or_no(shop: Shop) -> None:
    job = shop.open()
    shop.say(job, *IDLE_RUN[:2], "cylinder two cut thirty seven", "cylinder two cut ninety nine")
    assert shop.job(job).waiting, "a reading far from the others of its run is asked about"
    page = text_of(shop.get(f"/job/{job}"))
    assert 'name="choice" value="0"' in page and 'name="choice" value="1"' not in page
    assert re.search(r">\s*No\s*</button>", page)


def test_a_job_without_readings_is_a_page_too(shop: Shop) -> None:
    job = shop.open(complaint="")
    page = text_of(shop.get(f"/job/{job}"))
    assert "none noted" in page and "None yet." in page


def test_a_job_that_is_not_there_says_where_to_go(shop: Shop) -> None:
    for address in ("/job/01890000-0000-7000-8000-000000000000", "/job/x", "/job/x/live", "/nowhere"):
        answer = shop.get(address)
        assert answer.status_code == 404
        assert "List of jobs" in text_of(answer)


def test_a_page_costs_under_150_kb_without_its_photos(shop: Shop) -> None:
    job = shop.open()
    for _ in range(12):
        shop.say(job, *IDLE_RUN)
    for seed in range(3):
        shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg(seed=seed)), f"{seed}.jpg")])
    for place in ("", "/run/1", "/live", "/review", "/photos", "/parts", "/write-up", "/finish"):
        page = shop.get(f"/job/{job}{place}", headers={"Accept-Encoding": "gzip"})
        assert page.headers["Content-Encoding"] == "gzip"
        scripts = re.findall(r'(?:src|href)="(/static/[^"]+)"', text_of(shop.get(f"/job/{job}{place}")))
        size = len(page.data) + sum(len(shop.get(address).data) for address in scripts)
        assert size < 150_000, place


def test_the_clock_of_an_entry_is_the_one_where_it_was_made() -> None:
    from datetime import UTC, datetime

    from webui.say import day

    assert day(datetime(2026, 3, 2, 23, 30, tzinfo=UTC), 120) == "2026-03-03 01:30"


def test_an_earlier_run_has_a_page_of_its_own(shop: Shop) -> None:
    job = shop.open()
    for _ in range(6):
        shop.say(job, *IDLE_RUN)
    page = text_of(shop.get(f"/job/{job}"))
    assert f'href="/job/{job}/run/1"' in page and 'id="run-6"' in page and 'id="run-1"' not in page
    assert "cylinder one cut thirty seven point five" in text_of(shop.get(f"/job/{job}/run/1"))
    assert shop.get(f"/job/{job}/run/7").status_code == 404


def test_only_the_latest_run_lists_its_readings_on_the_job_page_the_others_on_their_own(shop: Shop) -> None:
    job = shop.open()
    for _ in range(2):
        shop.say(job, *IDLE_RUN)
    page = text_of(shop.get(f"/job/{job}"))
    assert page.count("cylinder one cut thirty seven point five") == 1
    assert "Readings of run 1 as said" in page
    assert "cylinder one cut thirty seven point five" in text_of(shop.get(f"/job/{job}/run/1"))


def test_after_the_repair_nothing_is_offered_to_order_for_what_was_low_before_it(shop: Shop) -> None:
    job = shop.open()
    shop.say(job, *IDLE_RUN, "cylinder three broken bridge", "wiring sound", "air test cylinder three holds")
    shop.say(job, "blow-by light")
    assert "Ready to order:" in text_of(shop.get(f"/job/{job}"))
    shop.enter(job, RepairDone("new valve bridge", 3))
    cuts = [f"cylinder {n} cut thirty" for n in (1, 2, 4, 5)]
    shop.say(job, "idle cut out test after the repair", "baseline twenty five", *cuts)
    page = text_of(shop.get(f"/job/{job}"))
    assert "before the repair" in page and "Ready to order:" not in page
    assert '<p class="note good"><strong>After the repair' not in page, "not yet shown to be mended is no good news"
    shop.say(job, "cylinder three cut thirty", "cylinder six cut thirty", "end of run")
    assert '<p class="note good"><strong>After the repair' in text_of(shop.get(f"/job/{job}/finish"))


def test_a_trouble_code_says_what_it_means(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, TroubleCode(653, 5))
    assert "SPN 653 FMI 5: injector 3" in text_of(shop.get(f"/job/{job}"))
