"""Who wrote what came from elsewhere, and which journal signed it, stands on the pages and in the write-up."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from journal.facts import Cut, Engine, JobOpened, Note
from journal.record.keys import journal_key, name_of
from journal.record.pack import pack
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.session import Session, open_job
from tests.record.test_pack import honest, rewritten
from tests.webui.conftest import Shop, text_of


@pytest.fixture
def brought(shop: Shop, tmp_path: Path) -> tuple[str, str]:
    """A job of another journal, unpacked here and gone on with; its identifier and the other journal's name."""
    with Store.open(tmp_path / "other") as other, Store.open(shop.folder) as here:
        job = open_job(other, JobOpened("Loader 4", Engine(6), "smokes"), "Bo")
        Session(other, job, "Bo").enter(Cut(3, 31.5))
        pack(other, job, tmp_path / "job.zip")
        unpack(here, tmp_path / "job.zip")
        Session(here, job, "Wren").enter(Note("looked at here"))
        return job, name_of(journal_key(other.folder).public)


def test_the_job_says_who_wrote_it_and_which_journal_signed_that(shop: Shop, brought: tuple[str, str]) -> None:
    job, name = brought
    own = name_of(journal_key(shop.folder).public)
    told = [
        f"2 entries of Bo: signed by {name}.",
        "1 entry of Wren: signed by this journal.",
        f"This journal signs as {own}.",
    ]
    for address in ("", "/write-up", "/write-up.txt", "/write-up.html"):
        page = text_of(shop.get(f"/job/{job}{address}"))
        assert [line for line in told if line not in page] == []
    assert json.loads(text_of(shop.get(f"/job/{job}/write-up.json")))["written_by"][:3] == told


def test_each_entry_from_elsewhere_says_so_in_the_review(shop: Shop, brought: tuple[str, str]) -> None:
    job, name = brought
    page = text_of(shop.get(f"/job/{job}/review?show=all"))
    assert page.count(f"from elsewhere: signed by {name}") == 2 and "signed by this journal" not in page
    _, cut, note = shop.job(job).entries
    assert f"<dt>From elsewhere</dt><dd>signed by {name}</dd>" in text_of(shop.get(f"/job/{job}/entry/{cut.id}"))
    assert "From elsewhere" not in text_of(shop.get(f"/job/{job}/entry/{note.id}"))


def test_what_nobody_signed_says_that(shop: Shop, tmp_path: Path, brought: tuple[str, str]) -> None:
    def unsigned(files: dict[str, bytes]) -> None:
        del files["signatures.jsonl"]
        honest(files)

    with Store.open(tmp_path / "third") as third, Store.open(shop.folder) as here:
        job = open_job(third, JobOpened("Pump <b>", Engine(6), ""), "Cy <i>")
        pack(third, job, tmp_path / "third.zip")
        unpack(here, rewritten(tmp_path / "third.zip", unsigned))
    page = text_of(shop.get(f"/job/{job}"))
    assert "1 entry of Cy &lt;i&gt;: not signed." in page
    assert "from elsewhere: not signed" in text_of(shop.get(f"/job/{job}/review"))


def test_a_job_that_was_made_here_says_nothing_of_it(shop: Shop) -> None:
    job = shop.open()
    shop.say(job, "baseline thirty")
    for address in ("", "/review", "/write-up", "/write-up.txt", "/write-up.html"):
        page = text_of(shop.get(f"/job/{job}{address}"))
        assert "signed by" not in page and "elsewhere" not in page
