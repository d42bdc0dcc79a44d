"""What can hurt stands where the engine runs and where hands go into it."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from journal.analysis.causes.tables import tables
from journal.cli.main import group
from journal.output.cautions import REACHING_IN, RUNNING
from tests.webui.conftest import Shop, text_of
from tests.webui.test_desk import link_of
from webui.grants import LinkKind


@pytest.mark.parametrize(
    ("page", "words", "keys"),
    [
        ("live", RUNNING, ("rotating", "pressure", "voltage", "overspeed")),
        ("photos", RUNNING, ("rotating", "pressure", "voltage", "hot")),
        ("parts", REACHING_IN, ("lockout", "pressure", "eyes", "air")),
        ("finish", REACHING_IN, ("lockout", "pressure", "eyes", "air")),
    ],
)
def test_cautions_stand_on_the_pages_used_at_the_engine(
    tested: tuple[Shop, str], page: str, words: str, keys: tuple[str, ...]
) -> None:
    shop, job = tested
    shown = text_of(shop.get(f"/job/{job}/{page}")).replace("&#39;", "'")
    assert f"<summary><span><strong>Careful:</strong> {words}</span></summary>" in shown, "in sight without opening it"
    assert all(tables().cautions[key] in shown for key in keys)
    assert tables().cautions["always"] in shown


def test_the_phone_that_is_held_to_the_engine_says_it_too(shop: Shop) -> None:
    assert RUNNING in text_of(shop.get(link_of(shop, shop.open(), LinkKind.PHONE)))


def test_the_last_page_says_it_again_before_the_run_after_the_repair(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    assert RUNNING in text_of(shop.get(f"/job/{job}/finish"))


def test_listening_begins_with_one_line_of_caution(shop: Shop, tmp_path: Path) -> None:
    shop.open()
    model = ["--listener", "vosk", "--model", str(tmp_path / "no model")]
    ran = CliRunner().invoke(group, ["--journal", str(shop.folder), "listen", *model])
    said = [line for line in ran.output.splitlines() if line.startswith("Careful:")]
    assert said == [f"Careful: {RUNNING}"], ran.output
