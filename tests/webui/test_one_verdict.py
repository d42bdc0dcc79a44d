"""What became of a repair, and how cylinders take injection pressure: the same wherever it is shown or said."""

from __future__ import annotations

import json
import re

import pytest

from journal.analysis import Findings, findings_to_json
from journal.analysis.findings import Mended
from journal.facts import Baseline, Body, Cut, Engine, PartWanted, RepairDone, RunKind, RunStarted
from journal.output.lines import findings_text
from journal.output.writeup import write_up
from journal.output.writeup_text import as_text
from journal.record.store import Store
from journal.session import Session
from journal.study import study
from tests.webui.conftest import SIX, Shop, text_of
from tests.webui.test_desk import link_of

DEAD = {1: 37.5, 2: 37.5, 3: 37.5, 4: 37.5, 5: 30.0, 6: 37.5}
EVEN = dict.fromkeys(SIX.numbers, 36.0)
OTHER = {1: 37.5, 2: 30.0, 3: 37.5, 4: 37.5, 5: 37.5, 6: 37.5}
SHORT = {1: 36.0, 2: 36.0, 3: 36.0, 4: 36.0, 6: 36.0}
VERDICTS = ("Mended:", "Not mended", "Not yet shown to be mended")


def a_run(cuts: dict[int, float], **how: object) -> list[Body]:
    return [RunStarted(RunKind.IDLE, **how), Baseline(30.0), *(Cut(c, v) for c, v in cuts.items())]  # type: ignore[arg-type]


def everywhere(shop: Shop, job: str) -> tuple[Findings, dict[str, str]]:
    """What was found, and every text of it that people are given."""
    with Store.open(shop.folder) as store:
        replayed, findings = study(store, job)
        spoken = Session(store, job, "Wren").type("what's the verdict")
    texts = {
        "page": _bare(text_of(shop.get(f"/job/{job}"))),
        "finish": _bare(text_of(shop.get(f"/job/{job}/finish"))),
        "plain": findings_text(findings),
        "write-up": as_text(write_up(replayed, findings)),
        "JSON": json.dumps(findings_to_json(findings)),
        "spoken": " ".join(outcome.line for outcome in spoken),
    }
    return findings, texts


def _bare(page: str) -> str:
    return re.sub(r"\s+", " ", re.sub("<[^>]+>", "", page)).replace("\N{NO-BREAK SPACE}", " ")


@pytest.mark.parametrize(
    ("after", "verdict"),
    [(EVEN, Mended.YES), (DEAD, Mended.NO), (OTHER, Mended.NO), (SHORT, Mended.OPEN), ({5: 35.4}, Mended.OPEN)],
)
def test_a_repair_has_one_verdict_wherever_it_is_shown(shop: Shop, after: dict[int, float], verdict: Mended) -> None:
    job = shop.open()
    shop.enter(job, *a_run(DEAD), RepairDone("injector", 5), *a_run(after, after_repair=True))
    findings, texts = everywhere(shop, job)
    assert findings.repair is not None and findings.repair.verdict is verdict
    start = {Mended.YES: "Mended:", Mended.NO: "Not mended", Mended.OPEN: "Not yet shown to be mended"}[verdict]
    for place, text in texts.items():
        said = {other for other in VERDICTS if other in text}
        assert said == {start}, place
    page = text_of(shop.get(f"/job/{job}/finish"))
    assert ('<p class="note good"><strong>After the repair' in page) == (verdict is Mended.YES)


def test_a_sweep_of_injection_pressure_is_shown_with_its_intervals_everywhere(shop: Shop) -> None:
    job = shop.open()
    weak = {1: 36.9, 2: 36.9, 3: 36.9, 4: 36.9, 5: 32.0, 6: 36.9}
    for mpa, cuts in ((5.0, DEAD), (12.0, weak), (20.0, EVEN)):
        shop.enter(job, *a_run(cuts, pressure_value=mpa))
    findings, texts = everywhere(shop, job)
    for found in findings.by_pressure:
        for point in found.points:
            shown = f"{max(0, round(100 * point.strength))} % ({max(0, round(100 * point.low))} to "
            for place in ("page", "plain", "write-up"):
                assert shown in texts[place], (place, shown)
    for place in ("page", "plain", "write-up"):
        assert re.search(r"\+6\.\d points \(6\.\d to 7\.\d\) for each MPa", re.sub(r"\s+", " ", texts[place])), place
    assert "speaks for the injector, or for what opens it" in texts["page"]
    kept = json.loads(texts["JSON"])["by_pressure"][4]
    assert [point["mpa"] for point in kept["points"]] == [5.0, 12.0, 20.0]


def test_the_desk_is_told_of_an_injector_whose_miss_went_elsewhere(shop: Shop) -> None:
    job = shop.open(engine=Engine(6))
    shop.enter(job, *a_run(DEAD), PartWanted("injector", 1, 5, "misses"))
    shop.say(job, "swapped injectors five and two", "end of run")
    shop.enter(job, *a_run(OTHER))
    page = _bare(text_of(shop.get(f"/job/{job}")))
    assert "the one to take out sits in cylinder 2 now" in page
    assert "The miss came with its injector from cylinder 5." in page
    desk = _bare(text_of(shop.get(link_of(shop, job))))
    assert "Not ready to order injector" in desk
