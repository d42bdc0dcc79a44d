"""What a job is about, put right later; what was said first stays in the record."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from journal.cli.main import group
from journal.facts import EngineChanged, JobFact, JobOpened
from journal.facts.one_line import is_seen
from tests.webui.conftest import SIX, Shop, text_of

SIX_FORM = {"cylinders": "6", "order": "1-5-3-6-2-4", "arrangement": "inline", "injection": "hydraulically actuated"}


def test_only_what_was_changed_is_entered_and_the_opening_stays(shop: Shop) -> None:
    job = shop.open()
    page = shop.post(f"/job/{job}/about", unit="Orchard pump 3", complaint="misses at idle", hours="4120", **SIX_FORM)
    assert "Orchard pump 3" in text_of(page) and "4120" in text_of(page)
    bodies = [entry.body for entry in shop.job(job).entries]
    assert bodies[1:] == [JobFact("unit", "Orchard pump 3"), JobFact("hours", "4120")]
    assert isinstance(bodies[0], JobOpened) and bodies[0].unit == "Orchard pump 2"


def test_the_engine_is_put_right(shop: Shop) -> None:
    job = shop.open()
    form = {**SIX_FORM, "drivers": "1,2,3; 4,5,6"}
    shop.post(f"/job/{job}/about", unit="Orchard pump 2", complaint="misses at idle", **form)
    assert shop.job(job).engine.drivers == ((1, 2, 3), (4, 5, 6))
    assert isinstance(shop.job(job).entries[-1].body, EngineChanged)
    assert 'value="1,2,3; 4,5,6"' in text_of(shop.get(f"/job/{job}/about"))


def test_an_engine_without_a_cylinder_that_was_read_is_refused(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    answer = shop.post(f"/job/{job}/about", unit="Orchard pump 2", complaint="misses at idle", cylinders="4")
    assert answer.status_code == 400 and "readings of cylinder 6" in text_of(answer)
    assert shop.job(job).engine == SIX
    assert shop.post(f"/job/{job}/about", unit="", **SIX_FORM).status_code == 400


UNSEEN = ("", "  ", "\u200f\u200e\u061c", "\u200b\ufeff\u00ad", "\U000e0041", " \u0301 ")
"""Nothing, spaces, marks of direction, signs without width, tags, an accent over nothing (Unicode: Zs, Cf, Mn)."""


@pytest.mark.parametrize("unit", UNSEEN, ids=ascii)
def test_a_machine_that_nobody_could_see_on_the_list_is_asked_for(unit: str, shop: Shop, tmp_path: Path) -> None:
    job = shop.open()
    assert shop.post(f"/job/{job}/about", unit=unit, **SIX_FORM).status_code == 400
    assert "which machine is it?" in text_of(shop.post("/new", start="1", unit=unit, **SIX_FORM))
    assert shop.job(job).unit == "Orchard pump 2"
    words = ["--journal", str(tmp_path / "empty"), "open", "--unit", unit, "--cylinders", "6"]
    assert "which machine? Give --unit" in str(CliRunner().invoke(group, words).exception)
    assert not (tmp_path / "empty").exists()


@pytest.mark.parametrize("unit", ["7", "Ж", "गाड़ी", "发电机", "#", "€"])
def test_a_machine_has_whatever_name_the_shop_gives_it(unit: str) -> None:
    assert is_seen(unit)
