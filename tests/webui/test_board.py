"""The jobs board and the start of a job."""

from __future__ import annotations

import re

import pytest

from journal.facts import Arrangement, JobClosed, PartAnswer, PartState, PartWanted
from journal.facts.layouts import layout_names, layout_of
from journal.record.store import Store
from journal.session import Session
from tests.webui.conftest import Shop, text_of


def test_an_empty_journal_says_so_and_offers_a_start(shop: Shop) -> None:
    page = text_of(shop.get("/"))
    assert "No job yet." in page and 'href="/new"' in page


def test_the_board_shows_each_job_with_its_state_and_what_was_found(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.get(f"/job/{job}")
    page = text_of(shop.get("/"))
    assert "Orchard pump 2" in page and ">open<" in page.replace("\n", "")
    assert "Cylinder 3 is dead" in page, "the headline is kept for the board once the job was looked at"


def test_a_search_finds_by_unit_and_complaint_and_state(shop: Shop) -> None:
    pump, chipper = shop.open("Orchard pump 2"), shop.open("Chipper 7", complaint="white smoke when cold")
    shop.enter(chipper, JobClosed("injector", 2))
    shop.enter(pump, PartWanted("valve bridge", cylinder=3))
    found = {
        query: [unit for unit in ("Orchard pump 2", "Chipper 7") if unit in text_of(shop.get("/?" + query))]
        for query in ("text=pump", "text=smoke", "state=closed", "state=waiting+for+parts", "text=nothing+like+it")
    }
    assert found == {
        "text=pump": ["Orchard pump 2"], "text=smoke": ["Chipper 7"], "state=closed": ["Chipper 7"],
        "state=waiting+for+parts": ["Orchard pump 2"], "text=nothing+like+it": [],
    }  # fmt: skip


def test_a_job_is_found_by_its_reference(shop: Shop) -> None:
    job = shop.open()
    with Store.open(shop.folder) as store:
        reference = store.line(job).reference
    assert shop.get(f"/find?job={reference}").location == f"/job/{job}"
    assert shop.get("/find?job=ZZZZZZ").status_code == 404


def test_pages_of_the_board_hold_every_job_once(shop: Shop) -> None:
    units = [f"Loader {n:02d}x" for n in range(65)]
    for unit in units:
        shop.open(unit)
    pages = [text_of(shop.get(f"/?page={n}")) for n in (1, 2, 3)]
    assert sorted(unit for page in pages for unit in units if unit in page) == units
    assert "Older" not in pages[-1] and "Newer" in pages[-1]


def test_a_job_started_on_the_page_is_a_job(shop: Shop) -> None:
    shop.post(
        "/new", start="yes", unit="Harvester 4", technician="Ash", complaint="low on power", cylinders="8",
        arrangement="vee", injection="unit injector", order="1-5-4-2-6-3-7-8", banks="1,3,5,7; 2,4,6,8",
    )  # fmt: skip
    with Store.open(shop.folder) as store:
        job = store.job(store.jobs()[0].id)
    assert (job.unit, job.complaint, job.technicians) == ("Harvester 4", "low on power", ("Ash",))
    assert job.engine.arrangement is Arrangement.VEE and job.engine.banks == ((1, 3, 5, 7), (2, 4, 6, 8))
    assert job.engine.firing_order == (1, 5, 4, 2, 6, 3, 7, 8)


def test_a_layout_that_contradicts_itself_starts_nothing_and_keeps_what_was_filled_in(shop: Shop) -> None:
    answer = shop.post("/new", start="yes", unit="Harvester 4", cylinders="6", order="1-5-3-6-2-2")
    assert answer.status_code == 400
    assert "name each of the cylinders 1 to 6 exactly once" in text_of(answer) and "Harvester 4" in text_of(answer)
    with Store.open(shop.folder) as store:
        assert store.jobs() == []


def test_the_layout_is_drawn_with_every_cylinder_and_its_place_in_the_firing_order(shop: Shop) -> None:
    page = text_of(shop.get("/new?cylinders=6&order=1-5-3-6-2-4"))
    assert page.count("<circle cx=") >= 6
    assert all(f">{place}.</text>" in page for place in range(1, 7))
    assert "confirm against the service manual" in page


@pytest.mark.parametrize("shape", layout_names())
def test_a_common_layout_is_filled_in_by_its_shape_and_never_without_the_word_to_confirm_it(
    shop: Shop, shape: str
) -> None:
    page = text_of(shop.post("/new", fill="yes", shape=shape, unit="Harvester 4", injection="unit pump", order="9-9"))
    engine = layout_of(shape)
    order = "-".join(map(str, engine.firing_order))
    assert f'name="cylinders" inputmode="numeric" maxlength="2" value="{engine.cylinders}"' in page
    assert f'maxlength="80" value="{order}"' in page
    assert page.count("<circle cx=") >= engine.cylinders, "and it is drawn"
    assert "confirm against the service manual" in page
    assert 'value="Harvester 4"' in page and "<option selected>unit pump</option>" in page, "the rest stays"
    with Store.open(shop.folder) as store:
        assert store.jobs() == [], "nothing is started by it"


def test_no_injection_is_assumed_that_nobody_chose(shop: Shop) -> None:
    """Base rates of causes hang on it."""
    answer = shop.post("/new", start="yes", unit="Harvester 4", cylinders="6", order="1-5-3-6-2-4")
    assert answer.status_code == 400 and "Choose the injection" in text_of(answer)
    with Store.open(shop.folder) as store:
        assert store.jobs() == []


def test_a_shape_that_is_not_offered_is_no_fault(shop: Shop) -> None:
    for shape in ("", "star nine", "<script>"):
        answer = shop.post("/new", fill="yes", shape=shape)
        assert answer.status_code == 400 and "Not yet:" in text_of(answer)


def test_a_started_job_says_again_to_confirm_its_layout(shop: Shop) -> None:
    page = text_of(
        shop.post("/new", start="yes", unit="Harvester 4", cylinders="6", order="1-5-3-6-2-4", injection="unit pump")
    )
    assert "confirm against the service manual: the layout and the firing order" in page


def test_a_vee_is_drawn_by_its_banks() -> None:
    from journal.facts import Engine
    from webui.layout import places

    drawn = places(Engine(4, arrangement=Arrangement.VEE, banks=((1, 4), (2, 3))))
    rows = {y: [p.cylinder for p in drawn if p.y == y] for y in {p.y for p in drawn}}
    assert sorted(rows.values()) == [[1, 4], [2, 3]]


def test_an_absurd_page_number_is_no_fault(shop: Shop) -> None:
    assert {shop.get(f"/?page={n}").status_code for n in ("-3", "0", "99999999999999999999", "x")} == {200}


def test_the_one_field_finds_by_reference_technician_unit_and_part(shop: Shop) -> None:
    pump, chipper = shop.open("Orchard pump 2"), shop.open("Chipper 7")
    with Store.open(shop.folder) as store:
        reference = store.line(chipper).reference
        Session(store, pump, "Ash Marlow").type("blow by light")
        (wanted,) = [Session(store, chipper, "Robin Vale").enter(PartWanted("thrust washer"))]
        Session(store, chipper, "Robin Vale").enter(PartAnswer(wanted.id, PartState.PRICED, "TW-4411"))
    units = ("Orchard pump 2", "Chipper 7")
    for text, found in (
        (reference, [units[1]]), (reference.lower(), [units[1]]), ("ash", [units[0]]), ("marlow ash", [units[0]]),
        ("Robin", [units[1]]), ("wren", list(units)), ("thrust", [units[1]]), ("tw-4411", [units[1]]),
        ("pump", [units[0]]), ("robin pump", []), ("nobody", []),
    ):  # fmt: skip
        page = text_of(shop.get("/", query_string={"text": text}))
        assert [unit for unit in units if f'class="unit">{unit}' in page] == found, text


def test_jobs_are_found_by_the_days_that_they_were_worked_on(shop: Shop) -> None:
    """The shop's jobs begin on 2 March 2026."""
    shop.open("Orchard pump 2")
    for query, found in (
        ("since=2026-03-01", True), ("since=2026-03-04", False), ("until=2026-03-03", True),
        ("until=2026-03-01", False), ("since=2026-03-02&until=2026-03-02", True), ("since=soon", True),
        ("until=9999-12-31", True),
    ):  # fmt: skip
        assert ("Orchard pump 2" in text_of(shop.get(f"/?{query}"))) is found, query


@pytest.mark.parametrize(
    ("day", "counts"),
    [("1970-12-31", False), ("1971-01-01", True), ("9998-12-31", True), ("9999-01-01", False), ("2026-02-30", False)],
)
def test_a_day_counts_where_entries_can_lie_and_stands_in_its_field_only_then(
    shop: Shop, day: str, counts: bool
) -> None:
    for name in ("since", "until"):
        field = re.search(rf'name="{name}"[^>]*value="([^"]*)"', text_of(shop.get(f"/?{name}={day}")))
        assert (field[1] if field else "") == (day if counts else "")
