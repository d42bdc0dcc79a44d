"""A page of one job reaches nothing of another; what is known of a part stays when its state is set."""

from __future__ import annotations

from datetime import timedelta

import numpy as np
import pytest

from journal.facts import Cut, PartAnswer, PartState, PartWanted, RepairDone
from journal.record.clips import keep_clip
from tests.webui.conftest import IDLE_RUN, Shop, text_of
from tests.webui.test_desk import answered
from webui.grants import LinkKind


def test_a_link_is_withdrawn_through_its_own_job_only(shop: Shop) -> None:
    mine, other = shop.open(), shop.open("Orchard pump 3")
    grants = shop.app.extensions["journal"].grants
    link = grants.give(other, LinkKind.DESK, timedelta(days=1))
    assert not link.withdrawn
    assert shop.post(f"/job/{mine}/links/{link.id}/withdraw").status_code == 404
    assert [each.withdrawn for each in grants.links(other, LinkKind.DESK)] == [False]
    answer = shop.post(f"/job/{other}/links/{link.id}/withdraw")
    assert answer.status_code == 200 and "link withdrawn" in text_of(answer)
    assert [each.withdrawn for each in grants.links(other, LinkKind.DESK)] == [True]


def test_the_sound_of_another_job_is_not_played_through_this_one(shop: Shop) -> None:
    mine, other = shop.open(), shop.open("Orchard pump 3")
    clip = keep_clip(shop.folder, np.sin(np.arange(8000) / 9).astype(np.float32) * 0.3)
    shop.say(other, *IDLE_RUN[:2])
    shop.enter(other, Cut(4, 37.5), heard="four, thirty seven point five", clip=clip)
    assert shop.get(f"/job/{other}/clip/{clip}.flac").status_code == 200
    assert shop.get(f"/job/{mine}/clip/{clip}.flac").status_code == 404


@pytest.mark.parametrize("state", [PartState.ORDERED, PartState.FITTED])
def test_what_the_desk_said_of_a_part_stays_when_its_state_is_set(shop: Shop, state: PartState) -> None:
    job = shop.open()
    (wanted,) = shop.enter(job, PartWanted("valve bridge", 1, 3, "found broken"))
    shop.enter(job, PartAnswer(wanted.id, PartState.ORDERED, "VB-3", "12.50", "two days", "2026-03-04"))
    answered(shop, f"/job/{job}/parts/answers", wanted.id, far=state.value)
    (part,) = shop.job(job).parts
    said = part.answers[-1].body
    assert (said.state, said.number, said.price, said.availability, said.date) == (
        state, "VB-3", "12.50", "two days", "2026-03-04",
    )  # fmt: skip


def test_the_gate_is_shown_to_the_desk_until_the_cylinder_pulls_again(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.enter(job, PartWanted("injector", 1, 3, "dead"))
    grants = shop.app.extensions["journal"].grants
    address = f"/desk/{grants.token(grants.give(job, LinkKind.DESK, timedelta(days=1)))}"
    assert "Not ready to order" in text_of(shop.get(address))
    shop.enter(job, RepairDone("new injector", 3))
    assert "Not ready to order" in text_of(shop.get(address)), "that it is mended is not known yet"
    again = ("idle cut out test after the repair", "baseline twenty five")
    shop.say(job, *again, *(f"cylinder {n} cut thirty" for n in ("one", "two", "three", "four", "five", "six")))
    page = text_of(shop.get(address))
    assert "injector" in page and "Not ready to order" not in page
