"""Listeners taken together, and speech that is heard before it is known to be over."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from io import BytesIO
from pathlib import Path
from threading import Event
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from journal import listening
from journal.errors import BadInput, HearingError
from journal.facts import Baseline, Body, Cut, Engine, Entry, JobOpened, Note, RunKind, RunStarted
from journal.hearing.endpoint import Endpointing, utterances
from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound, Utterance
from journal.listening import NOT_HEARD, Ears, Listening, agreed, listen
from journal.live import LivePage
from journal.output.cautions import SPOKEN, as_it_begins
from journal.output.speaking import Answerer
from journal.record.job import Run
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Context, Verdict, decide, describe
from webui.heard import heard_in

UTTERANCE = Utterance(0.0, 2.0, np.ones(RATE, dtype=np.float32))
DEMO = Path(__file__).resolve().parents[2] / "demo" / "orchard"


class Says:
    """Hears the same texts in anything."""

    def __init__(self, name: str, *texts: tuple[str, float], free: str = "") -> None:
        self.name = name
        self._hearing = Hearing(tuple(Candidate(t, s, name) for t, s in texts), free_text=free)
        self.times = 0

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        self.times += 1
        return self._hearing


class Hears(Says):
    """Hears one text in anything, and well, as one of the two listeners does."""

    def __init__(self, text: str, name: str = "whisper") -> None:
        whisper = name == "whisper"
        super().__init__(
            name, (text, -0.5 if whisper else -20.0), ("", -25.0 if whisper else -45.0), free=text * whisper
        )


class Weighs(Says):
    """And holds what others heard for very likely."""

    asked: Sequence[str] = ()

    def weigh(self, sound: Sound, texts: Sequence[str]) -> Hearing:
        self.asked = texts
        more = tuple(Candidate(text, -0.5, self.name) for text in texts)
        return replace(self._hearing, candidates=(*more, *self._hearing.candidates))


def test_those_who_agree_are_not_asked_again() -> None:
    first = Weighs("first", ("Cylinder 4 cut, 38.", -1.0), free="cylinder 4 cut 38")
    pooled = Ears([first, Says("second", ("cylinder four cut thirty eight", -20.0))]).hear(UTTERANCE)
    assert not first.asked
    assert {c.listener for c in pooled.candidates} == {"first", "second"}
    assert pooled.free_text == "cylinder 4 cut 38"


class Waits(Says):
    """Answers once it was told of."""

    def __init__(self, name: str, *texts: tuple[str, float]) -> None:
        super().__init__(name, *texts)
        self.told_of = Event()

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        assert self.told_of.wait(60)
        return super().hear(sound, expect)


def test_a_listener_that_keeps_one_waiting_is_told_of(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(listening, "TOLD_S", 0.05)
    slow = Waits("slow", ("blow by heavy", -1.0))
    ears = Ears([Says("quick", ("blow by heavy", -1.0)), slow])
    told: list[str] = []

    def tell(line: str) -> None:
        told.append(line)
        slow.told_of.set()

    ears.tell_through(tell)
    assert len(ears.hear(UTTERANCE).candidates) == 2
    assert told == ["slow has not answered for 0.05 s"]


def test_what_one_has_missed_it_is_asked_to_weigh() -> None:
    first = Weighs("first", ("2.", -7.0))
    second = Says("second", ("blow by heavy", -20.0), ("[unk] heavy", -30.0))
    pooled = Ears([first, second]).hear(UTTERANCE)
    assert first.asked == ["blow by heavy"]
    assert pooled.candidates[0].text == "blow by heavy"
    assert pooled.candidates[0].listener == "first"


@pytest.mark.parametrize(
    ("texts", "same"),
    [
        (("four, 38", "four thirty eight"), True),
        (("four, 38", "four thirty nine"), False),
        (("hello there", "hello there"), False),
        (("four, 38", ""), False),
    ],
)
def test_agreement_is_of_meaning(texts: tuple[str, str], same: bool) -> None:
    hearings = [Hearing((Candidate(text, -1.0, str(n)),) if text else ()) for n, text in enumerate(texts)]
    assert agreed(hearings) is same


def test_each_listener_says_how_likely_it_holds_that_nothing_was_said() -> None:
    doubts = ("overhead sound", -20.0), ("", -18.0)
    both = Ears([Weighs("first", ("overhead sound", -1.0), ("", -9.0)), Says("light", *doubts)]).hear(UTTERANCE)
    assert [c.listener for c in both.candidates if not c.text] == ["first", "light"]
    found_none = Ears([Weighs("first", ("overhead sound", -1.0)), Says("light")]).hear(UTTERANCE)
    assert [c.listener for c in found_none.candidates if not c.text] == ["light"]


def test_a_note_whose_first_word_was_misheard_is_weighed() -> None:
    first = Weighs("first", ("No", -18.0), free="No oil on the third injector body.")
    Ears([first]).hear(UTTERANCE)
    assert list(first.asked) == ["note oil on the third injector body"]


@pytest.fixture
def session(tmp_path: Path) -> Session:
    store = Store.open(tmp_path)
    session = Session(store, open_job(store, JobOpened("Bench", Engine(6, (1, 5, 3, 6, 2, 4))), "Ash"))
    session.enter(RunStarted(RunKind.IDLE))
    session.enter(Baseline(31.5))
    return session


def spoken(monkeypatch: pytest.MonkeyPatch) -> None:
    """Part of the demo's sound, with room after it, on standard input."""
    sound = np.concatenate((read_file(next(iter(sorted(DEMO.glob("*.flac")))))[: 4 * RATE], np.zeros(RATE)))
    raw = BytesIO((sound * 32_767).astype("<i2").tobytes())
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=raw))


def test_what_is_heard_at_a_pause_is_entered_once(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    spoken(monkeypatch)
    ear = Hears("four, thirty eight point two")
    ears = Ears([ear, Hears("four, thirty eight point two", "pocketsphinx")])
    heard = list(listen(session, ears, Listening(source=Path("-"))))
    assert heard
    cuts = [e.body for e in session.store.entries(session.job_id) if isinstance(e.body, Cut)]
    assert len(cuts) == len(heard) <= ear.times
    assert all(one.outcomes[0].verdict is Verdict.TAKE for one in heard)
    kept = list((session.store.folder / "clips").rglob("*.flac"))
    used = {e.clip for e in session.store.entries(session.job_id) if e.clip}
    assert {path.stem for path in kept} == used, "sound of a pause that was no end is not kept"


def test_while_it_leads_it_asks_and_a_number_alone_is_for_what_it_asked(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoken(monkeypatch)
    answered: list[str] = []
    monkeypatch.setattr(Answerer, "answer", lambda self, verdict, text: answered.append(text))
    page = LivePage(session.store.folder, session.job_id)
    ears = Ears([Hears("thirty eight point two"), Hears("thirty eight point two", "pocketsphinx")])
    for _ in listen(session, ears, Listening(source=Path("-"), lead=True), page):
        pass
    cuts = [(e.body.cylinder, e.body.value) for e in session.store.entries(session.job_id) if isinstance(e.body, Cut)]
    assert cuts == [(number, 38.2) for number, _ in enumerate(cuts, 1)] and cuts
    assert answered[:2] == ["One.", "Thirty-eight point two. Two."]
    assert heard_in(session.store.folder).asks_cylinder == len(cuts) + 1


def test_what_is_told_to_stop_hears_what_was_said_and_no_more(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    spoken(monkeypatch)
    stop = Event()
    stop.set()
    assert list(listen(session, Ears([Hears("overhead sound")]), Listening(source=Path("-"), stop=stop))) == []


class SaysByLength(Hears):
    """Hears the first text in little sound, the second in more."""

    def __init__(self, little: str, more: str, name: str = "whisper") -> None:
        super().__init__(little, name)
        self._more = Hears(more, name)
        self.longest_little = 0

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        self.longest_little = self.longest_little or len(sound) + RATE // 4
        return super().hear(sound) if len(sound) <= self.longest_little else self._more.hear(sound)


class Breath(BytesIO):
    """Raw sound that goes on from a place only when something has happened."""

    def __init__(self, raw: bytes, place: int, happened: Event) -> None:
        super().__init__(raw)
        self._place, self._happened = place, happened

    def read(self, size: int | None = -1) -> bytes:
        if self.tell() >= self._place:
            assert self._happened.wait(10), "nothing was entered in the silence"
        return super().read(size)


def in_two_breaths(monkeypatch: pytest.MonkeyPatch, silence_s: float) -> None:
    """The demo's first words twice on standard input, with so much silence between until something was entered."""
    said = next(utterances([read_file(min(DEMO.glob("*.flac")))])).sound[round(Endpointing().pre_roll * RATE) :]
    said = said[: RATE * 9 // 10]
    room = np.zeros(RATE, dtype=np.float32)
    first = np.concatenate((room, said, room[: round(silence_s * RATE)]))
    raw = (np.concatenate((first, said, room)) * 32_767).astype("<i2").tobytes()
    entered = Event()
    enter = Session.enter

    def told(self: Session, body: Body, **how: Any) -> Entry:
        entry = enter(self, body, **how)
        entered.set()
        return entry

    monkeypatch.setattr(Session, "enter", told)
    monkeypatch.setattr(sys, "stdin", SimpleNamespace(buffer=Breath(raw, 2 * len(first), entered)))


@pytest.mark.parametrize(
    ("little", "more", "lines", "stands"),
    [
        ("overhead sound", "overhead sound", ["overhead sound"], ["overhead sound"]),
        (
            "overhead sound",
            "overhead sound, wiring sound",
            ["overhead sound", "wiring sound"],
            ["overhead sound", "wiring sound"],
        ),
        (
            "blow-by light",
            "blow-by light, cylinder three",
            ["blow-by light", "it went on; taken back: blow-by light", "cylinder 3 blow-by light"],
            ["cylinder 3 blow-by light"],
        ),
        (
            "four, thirty eight",
            "four, thirty eight point two",
            ["cylinder 4 cut: 38", "it went on; taken back: cylinder 4 cut: 38", "cylinder 4 cut: 38.2"],
            ["cylinder 4 cut: 38.2"],
        ),
    ],
)
def test_what_goes_on_after_it_was_entered_comes_to_what_the_whole_would(
    session: Session, monkeypatch: pytest.MonkeyPatch, little: str, more: str, lines: list[str], stands: list[str]
) -> None:
    before = session.job.effective.keys()
    in_two_breaths(monkeypatch, 0.3)
    ears = Ears([SaysByLength(little, more, name) for name in ("whisper", "pocketsphinx")])
    answered: list[str] = []
    monkeypatch.setattr(Answerer, "answer", lambda self, verdict, text: answered.append(text))
    told = [outcome.line for one in listen(session, ears, Listening(source=Path("-"))) for outcome in one.outcomes]
    assert told == lines
    after = session.job.effective
    assert [describe(entry.body) for key, entry in after.items() if key not in before] == stands
    assert len(answered) == len(stands), "an answer waits until it is over"
    assert all((session.store.folder / "clips").rglob(f"{e.clip}.flac") for e in session.job.entries if e.clip)


def test_what_is_over_by_a_longer_silence_is_two(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    in_two_breaths(monkeypatch, 0.8)
    heard = list(listen(session, Ears([Hears("overhead sound")]), Listening(source=Path("-"))))
    assert [one.outcomes[0].line for one in heard] == ["overhead sound"] * 2


def test_the_caution_is_spoken_as_a_run_of_another_kind_begins_and_once(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_two_breaths(monkeypatch, 0.8)
    answered: list[str] = []
    monkeypatch.setattr(Answerer, "answer", lambda self, verdict, text: answered.append(text))
    text = "half engine, four, five and six out"
    heard = list(listen(session, Ears([Hears(text), Hears(text, "pocketsphinx")]), Listening(source=Path("-"))))
    assert [one.outcomes[0].verdict for one in heard] == [Verdict.TAKE] * 2
    first, second = answered
    assert first == f"{SPOKEN} {second}" and second


def test_the_caution_is_for_a_jobs_first_run_and_each_change_of_kind() -> None:
    idle, half = (Run("", 1, RunStarted(kind), datetime.now(UTC)) for kind in (RunKind.IDLE, RunKind.HALF_ENGINE))
    assert as_it_begins([idle], 0) == as_it_begins([idle, half], 1) == as_it_begins([idle, half, idle], 2) == SPOKEN
    assert as_it_begins([], 0) == as_it_begins([idle], 1) == as_it_begins([idle, idle], 1) == ""


def test_what_goes_on_as_chat_is_asked_about(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    in_two_breaths(monkeypatch, 0.3)
    texts = ("four, thirty eight", "well what is there for lunch then")
    ears = Ears([SaysByLength(*texts, name) for name in ("whisper", "pocketsphinx")])
    heard = list(listen(session, ears, Listening(source=Path("-"))))
    assert [outcome.verdict for one in heard for outcome in one.outcomes] == [Verdict.TAKE, Verdict.TAKE, Verdict.ASK]
    [asked] = session.job.waiting
    assert asked.question.body.options == (Cut(4, 38.0),)


class Follows(Says):
    """Tells how much it has heard so far, and after the first time cannot."""

    def __init__(self) -> None:
        super().__init__("one", ("four, thirty eight point two", -0.1))
        self.lengths: list[int] = []

    def follow(self, sound: Sound) -> str:
        self.lengths.append(len(sound))
        if len(self.lengths) > 1:
            raise HearingError("it cannot go on")
        return "four thirty"


def test_what_is_made_of_speech_so_far_is_shown(session: Session, monkeypatch: pytest.MonkeyPatch) -> None:
    spoken(monkeypatch)
    shown: list[str] = []
    monkeypatch.setattr(LivePage, "heard", lambda self, at, text, made, verdict: shown.append(text))
    ear = Follows()
    heard = list(listen(session, Ears([ear]), Listening(source=Path("-"))))
    assert len(ear.lengths) > 2, "that it cannot go on is for the utterance's end to tell"
    assert ear.lengths[1] > ear.lengths[0]
    assert shown == ["four thirty …", *("four, thirty eight point two" for _ in heard)]


def test_a_listener_that_fails_leaves_the_sound_of_what_was_said(
    session: Session, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Fails(Says):
        def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
            raise HearingError("it cannot go on")

    spoken(monkeypatch)
    with pytest.raises(HearingError, match="it cannot go on"):
        list(listen(session, Ears([Fails("one")]), Listening(source=Path("-"))))
    [note] = [e for e in session.store.entries(session.job_id) if isinstance(e.body, Note)]
    assert note.body.text == NOT_HEARD
    assert note.clip


def test_only_what_begins_with_the_attention_word_is_heeded() -> None:
    texts = (("Ruby, cylinder four cut, 38", -1.0), ("cylinder four cut 39", -2.0), ("", -12.0))
    pooled = Ears([Says("one", *texts, free="Ruby, cylinder four cut 38")], "ruby").hear(UTTERANCE)
    assert [c.text for c in pooled.candidates] == ["cylinder four cut, 38", ""]
    assert pooled.free_text == "cylinder four cut 38"
    unheeded = Ears([Says("one", *texts, free="cylinder four cut 38")], "ruby").hear(UTTERANCE)
    assert unheeded.free_text == ""


def test_what_is_not_addressed_to_the_tool_is_not_shown_while_it_is_said() -> None:
    class Follows(Says):
        def follow(self, sound: Sound) -> str:
            return "four thirty" if len(sound) == 1 else "ruby four thirty"

    ears = Ears([Follows("one")], "ruby")
    assert ears.follow(UTTERANCE.sound[:1]) == ""
    assert ears.follow(UTTERANCE.sound) == "four thirty"
    assert Ears([Follows("one")]).follow(UTTERANCE.sound) == "ruby four thirty"


@pytest.mark.parametrize(
    ("word", "why"), [("cylinder", "said in phrases"), ("four", "said in phrases"), ("a b", "one")]
)
def test_an_attention_word_that_cannot_be_used_is_one_clear_line(tmp_path: Path, word: str, why: str) -> None:
    with pytest.raises(BadInput, match=why):
        Ears.open([], None, tmp_path, 6, word)


def test_a_voice_that_says_the_word_is_heard_and_one_that_does_not_is_not(tmp_path: Path) -> None:
    pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
    if shutil.which("flite") is None:
        pytest.skip("flite (Debian package flite) is not installed")
    ears = Ears.open([], None, tmp_path, 6, "ruby")
    context = Context(engine=Engine(6))
    made = {}
    for text in ("ruby, cylinder four cut, thirty eight point two", "cylinder four cut, thirty eight point two"):
        subprocess.run(["flite", "-voice", "slt", "-t", text, "-o", tmp_path / "said.wav"], check=True)
        sound = read_file(tmp_path / "said.wav")
        pooled = ears.hear(Utterance(0.0, len(sound) / RATE, sound))
        made[text] = [
            d.meaning for d in decide(pooled.candidates, context, free_text=pooled.free_text, seconds=pooled.seconds)
        ]
    assert list(made.values()) == [[Cut(4, 38.2)], [None]]
