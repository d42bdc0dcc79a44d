"""However many threads answer, there are as many stores as requests at work at once, and idle ones are few."""

from __future__ import annotations

import threading
from pathlib import Path
from typing import Any

import pytest

from journal.errors import RecordError
from journal.facts import Cut
from journal.record.store import Store
from tests.webui.conftest import Shop
from tests.webui.own import own_browser
from webui.stores import MOST_IDLE, Stores


@pytest.fixture
def opened(monkeypatch: pytest.MonkeyPatch) -> list[Store]:
    """Every store that is opened for threads to use in turn."""
    stores: list[Store] = []
    open_one = Store.open

    def noted(folder: Path, **how: Any) -> Store:
        store = open_one(folder, **how)
        if how.get("in_turn"):
            stores.append(store)
        return store

    monkeypatch.setattr(Store, "open", noted)
    return stores


def in_a_thread(work: Any) -> None:
    thread = threading.Thread(target=work)
    thread.start()
    thread.join()


def test_threads_that_answer_one_after_the_other_share_one_store(shop: Shop, opened: list[Store]) -> None:
    job = shop.open()
    shop.enter(job, Cut(2, 37.25))
    answers: list[str] = []
    for _ in range(12):
        in_a_thread(lambda: answers.append(own_browser(shop.app).get(f"/job/{job}/live").get_data(as_text=True)))
    assert len(answers) == 12 and all("37.25" in answer for answer in answers)
    assert len(opened) == 1


def test_a_request_that_fails_gives_its_store_back(shop: Shop, opened: list[Store]) -> None:
    for _ in range(3):
        assert shop.get("/job/nothing/live").status_code == 404
    assert len(opened) == 1


def test_two_at_once_never_have_the_same_store(tmp_path: Path) -> None:
    stores = Stores(tmp_path)
    with stores.one() as first, stores.one() as second:
        assert first is not second
    with stores.one() as again:
        assert again in (first, second)
    stores.close()


def test_only_a_few_stay_open_while_nobody_uses_them(tmp_path: Path) -> None:
    stores = Stores(tmp_path)
    taken = [stores.take() for _ in range(MOST_IDLE + 3)]
    for store in taken:
        stores.give_back(store)
    closed = 0
    for store in taken:
        try:
            store.last_seq()
        except RecordError:
            closed += 1
    assert closed == 3
    stores.close()


def test_after_the_end_none_stays_open(tmp_path: Path) -> None:
    stores = Stores(tmp_path)
    early, late = stores.take(), stores.take()
    stores.give_back(early)
    stores.close()
    assert late.last_seq() == 0, "who has one may go on with it"
    stores.give_back(late)
    for store in (early, late):
        with pytest.raises(RecordError):
            store.last_seq()


def test_a_shop_that_is_closed_has_nothing_open_and_nothing_under_way(
    shop: Shop, opened: list[Store], monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.get("/")
    made, stopped = shop.app.extensions["journal"], list[str]()
    monkeypatch.setattr(made.listener, "stop", lambda: stopped.append("listener"))
    log = made.log._handler
    assert opened and log.stream is not None
    made.close()
    for store in opened:
        with pytest.raises(RecordError):
            store.last_seq()
    assert stopped == ["listener"] and made.watcher.closing.is_set() and log.stream is None
