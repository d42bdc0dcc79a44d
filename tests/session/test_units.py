"""A session takes numbers in the shop's units, as they are chosen by now, or in its own."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from journal.context import context_of
from journal.errors import BadInput, RecordError
from journal.facts import UNIT_SETS, Engine, JobOpened, Quantity
from journal.record.shop_units import UNITS_FILE, keep_units
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording.unit_sense import unit_of

COOLANT = Quantity.COOLANT_TEMPERATURE


@pytest.fixture
def session(tmp_path: Path, six: Engine) -> Iterator[Session]:
    with Store.open(tmp_path / "journal") as store:
        yield Session(store, open_job(store, JobOpened("Pump", six), "Ash"))


def unit(session: Session, quantity: Quantity = COOLANT) -> str:
    return unit_of(quantity, context_of(session.job, session.units))


def test_a_session_follows_what_the_shop_chooses_while_it_goes_on(session: Session) -> None:
    assert unit(session) == "degC"
    keep_units(session.store.folder, UNIT_SETS["us"])
    assert unit(session) == "degF"
    assert unit(session, Quantity.LASH) == "thou"


def test_a_session_can_have_units_of_its_own(session: Session) -> None:
    keep_units(session.store.folder, UNIT_SETS["us"])
    session.units = "si"
    assert unit(session) == "degC"
    session.units = {COOLANT: "degF"}
    assert (unit(session), unit(session, Quantity.LASH)) == ("degF", "mm")
    for nonsense in ("imperial", {COOLANT: "psi"}):
        with pytest.raises(BadInput):
            session.units = nonsense
    assert unit(session) == "degF"


def test_nothing_is_taken_in_a_unit_while_the_shops_choice_cannot_be_read(session: Session) -> None:
    (session.store.folder / UNITS_FILE).write_text("half a line", encoding="utf-8")
    before = session.job.entries
    with pytest.raises(RecordError, match="journal units"):
        session.type("coolant eighty two")
    assert session.job.entries == before
