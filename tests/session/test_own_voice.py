"""A technician's own voice is fitted to what nobody took back, and kept only where clips held back cost less."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from journal import own_voice
from journal.errors import BadInput, HearingError
from journal.facts import Answer, Body, Correction, Cut, Engine, JobOpened, Question, Source, Withdrawal
from journal.hearing.own import read_own
from journal.hearing.types import Candidate, Utterance
from journal.listening import Pooled
from journal.own_voice import ASKED, LOST, RIGHT, WRONG, Clip, Example, confirmed, judged, train_voice
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Context
from journal.wording.hypotheses import TYPED

SIX = Engine(6)
MEANT = Cut(4, 38.0)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(tmp_path / "journal") as store:
        yield store


@pytest.fixture
def session(store: Store) -> Session:
    return Session(store, open_job(store, JobOpened("Pump", SIX), "Ash"), "Ash", Source.VOICE)


def clip(n: int) -> str:
    return f"{n:064x}"


def enter(session: Session, n: int, body: Body) -> str:
    return session.enter(body, heard="something", clip=clip(n)).id


def test_only_what_nobody_took_back_is_learnt_from(store: Store, session: Session) -> None:
    enter(session, 1, Cut(1, 31.0))
    corrected = enter(session, 2, Cut(2, 32.0))
    session.enter(Correction(corrected, Cut(2, 42.0)), heard="no, 42")
    session.enter(Withdrawal(enter(session, 3, Cut(3, 33.0))), heard="scratch that")
    chosen = enter(session, 4, Question("38?", (MEANT, Cut(4, 39.0))))
    session.enter(Answer(chosen, 1), heard="second", clip=clip(40))
    neither = enter(session, 5, Question("35?", (Cut(5, 35.0), Cut(5, 36.0))))
    session.enter(Answer(neither), heard="neither")
    enter(session, 6, Question("30?", (Cut(6, 30.0),)))
    # Two things said in one utterance: which part of its sound is which is not known.
    enter(session, 7, Cut(1, 31.5))
    enter(session, 7, Cut(2, 32.5))
    session.enter(Cut(3, 33.5), heard="no sound of it")
    found = list(confirmed(store, "Ash"))
    assert [(each.sha256, each.meant) for each in found] == [(clip(1), Cut(1, 31.0)), (clip(4), Cut(4, 39.0))]
    assert found[0].context.engine == SIX
    assert found[1].context.done == (1, 2)
    assert list(confirmed(store, "Birch")) == []


def pooled(text: str) -> Pooled:
    return Pooled((Candidate(text, 0.0, TYPED),))


def test_what_becomes_of_a_clip_is_judged_by_what_was_meant() -> None:
    one = Clip("", MEANT, Context(engine=SIX))
    assert judged(pooled("cylinder four cut 38"), one) == RIGHT
    assert judged(pooled("cylinder four cut 39"), one) == WRONG
    assert judged(pooled("good morning"), one) == LOST


def with_outcomes(monkeypatch: pytest.MonkeyPatch, before: list[str], after: list[str]) -> None:
    """Has each third judged so, without any model."""
    one = Example(
        Clip("", MEANT, Context(engine=SIX)), Utterance(0, 1, np.zeros(16_000, dtype=np.float32)), pooled("x"), "4, 38."
    )
    monkeypatch.setattr(own_voice, "_heard", lambda store, technician: iter([one] * len(before)))
    monkeypatch.setattr(own_voice, "fit", lambda sounds, texts, plan: {"b": np.full(2, len(texts), dtype=np.float32)})
    left, earlier = iter(after), iter(before)
    monkeypatch.setattr(own_voice, "_again", lambda store, held, own: [next(left) for _ in held])
    monkeypatch.setattr(own_voice, "judged", lambda heard, clip: next(earlier))


ASKS = [ASKED] * 6 + [RIGHT] * 54


@pytest.mark.parametrize(
    ("before", "after", "kept"),
    [
        (ASKS, [ASKED] * 3 + [RIGHT] * 57, True),
        (ASKS, ASKS, False),
        ([RIGHT] * 60, [RIGHT] * 60, False),
        # No number of questions saved is worth a wrong entry more.
        ([ASKED] * 60, [WRONG] + [RIGHT] * 59, False),
        ([WRONG, *ASKS[1:]], [RIGHT] * 60, True),
    ],
)
def test_it_is_kept_where_it_asks_less_and_enters_no_more_wrongly(
    store: Store, monkeypatch: pytest.MonkeyPatch, before: list[str], after: list[str], kept: bool
) -> None:
    with_outcomes(monkeypatch, before, after)
    told: list[str] = []
    path = train_voice(store, "Ash", told.append)
    assert (path is not None) == kept
    assert (store.folder / "voices").exists() == kept
    read = read_own(store.folder, "Ash", told.append) if kept else None
    # What is kept is fitted to all of them.
    assert read is None or list(read["b"]) == [60.0, 60.0]
    assert told[-1].startswith("before: ")


def test_few_clips_are_refused_in_one_line(store: Store, session: Session) -> None:
    with pytest.raises(BadInput, match="0 clips of 'Ash'"):
        train_voice(store, "Ash", print)


def test_without_the_extra_it_is_said_before_anything_is_heard(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("journal.hearing.own.importlib.util.find_spec", lambda name: None)
    with pytest.raises(HearingError, match="train extra"):
        train_voice(store, "Ash", print)
