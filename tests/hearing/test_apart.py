"""A recogniser in a process of its own hears as it would here, and its death costs no utterance."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError
from journal.hearing import apart as apart_module
from journal.hearing.apart import Apart
from journal.hearing.pocketsphinx import PocketSphinx
from journal.hearing.types import Candidate, Expect, Hearing, Recogniser, Sound, Speakable

SOUND = np.ones(1_600, dtype=np.float32)


class Told:
    """Answers with how much sound it got, and dies or fails when told to."""

    name = "told"

    def __init__(self, deaths: str = "") -> None:
        self._deaths = deaths

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        if self._deaths == "hangs" or (self._deaths and Path(self._deaths).exists()):
            Path(self._deaths).unlink(missing_ok=True)
            time.sleep(600)
        if self._deaths == "always":
            os._exit(3)
        if self._deaths == "fails":
            raise HearingError("it cannot go on")
        return Hearing((Candidate(f"{len(sound)} {expect}", 0.0, self.name),))


def cannot() -> Recogniser:
    raise HearingError("no model: get one")


@pytest.fixture
def apart() -> Iterator[Apart]:
    one = Apart("told", Told)
    yield one
    one.close()


def test_it_hears_in_its_own_process(apart: Apart) -> None:
    assert apart.hear(SOUND, Expect.NUMBER).candidates[0].text == "1600 number"


def test_a_killed_process_is_started_again_and_the_utterance_heard(apart: Apart) -> None:
    apart.hear(SOUND)
    [child] = [each for each in multiprocessing.active_children() if each.name == "told"]
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    assert apart.hear(SOUND).candidates[0].text == "1600 anything"


def test_one_that_always_dies_is_one_clear_line() -> None:
    one = Apart("told", partial(Told, "always"))
    with pytest.raises(HearingError, match="told ends whenever it hears; use another --listener"):
        one.hear(SOUND)


class Ends:
    """Ends, or hangs, the process that it is loaded in, as one that runs out of memory while it starts."""

    def __init__(self, act: Callable[[int], object], argument: int) -> None:
        self._act = act, (argument,)

    def __reduce__(self) -> tuple[Callable[[int], object], tuple[int]]:
        return self._act


def kept(*what: object) -> Recogniser:
    return Told()


A_LOT = bytes(4_000_000)
"""More than a pipe holds."""


@pytest.mark.timeout(60)
def test_one_that_ends_while_it_is_started_is_one_clear_line() -> None:
    one = Apart("told", partial(kept, Ends(os._exit, 1), A_LOT))
    with pytest.raises(HearingError, match="told cannot be started; use another --listener"):
        one.hear(SOUND)
    one.close()


@pytest.mark.timeout(60)
def test_one_that_hangs_while_it_is_started_is_waited_for_so_long(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apart_module, "LOADING_S", 1.0)
    monkeypatch.setattr(apart_module, "PATIENCE_S", 0.5)
    one = Apart("told", partial(kept, Ends(time.sleep, 600), A_LOT))
    with pytest.raises(HearingError, match="told cannot be started; use another --listener"):
        one.ready()
    one.close()
    assert "told" not in {child.name for child in multiprocessing.active_children()}


@pytest.mark.timeout(60)
def test_one_of_which_there_is_much_to_load_hears() -> None:
    one = Apart("told", partial(kept, A_LOT))
    assert one.hear(SOUND).candidates[0].text == "1600 anything"
    one.close()


@pytest.fixture
def impatient(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(apart_module, "TOLD_S", 0.2)
    monkeypatch.setattr(apart_module, "PATIENCE_S", 0.8)


@pytest.mark.usefixtures("impatient")
def test_one_that_hangs_is_told_of_then_ended_and_started_again(tmp_path: Path) -> None:
    hangs_once = tmp_path / "hangs once"
    hangs_once.touch()
    one = Apart("told", partial(Told, str(hangs_once)))
    told: list[str] = []
    one.tell = told.append
    one.ready()
    hung = one._process
    assert one.hear(SOUND).candidates[0].text == "1600 anything", "heard by the one that was started again"
    assert [line.split(" for ")[0].split(":")[0] for line in told] == ["told has not answered", "told hangs"]
    assert hung.exitcode is not None and hung is not one._process
    one.close()


@pytest.mark.usefixtures("impatient")
def test_one_that_always_hangs_is_one_clear_line_and_the_next_sound_finds_it_ready() -> None:
    one = Apart("told", partial(Told, "hangs"))
    for _ in range(2):
        with pytest.raises(HearingError, match="told hangs at this sound each time; use another --listener"):
            one.hear(SOUND)
    one.close()


def test_the_patience_is_that_of_a_person_who_waits() -> None:
    assert (apart_module.TOLD_S, apart_module.PATIENCE_S) == (3.0, 10.0)


class Follows(Told):
    """Tells how much it has followed, slowly."""

    def follow(self, sound: Sound) -> str:
        if self._deaths == "follows":
            os._exit(3)
        if self._deaths == "follows not":
            raise HearingError("it cannot go on")
        time.sleep(0.2)
        return str(len(sound))


def test_it_follows_without_being_waited_for() -> None:
    one = Apart("told", Follows)
    assert [one.follow(SOUND[:size]) for size in (100, 200, 300)] == ["", "", ""]
    while not (told := one.follow(SOUND)):
        time.sleep(0.01)
    assert told == "100", "the others came while it was busy"
    assert one.hear(SOUND).candidates[0].text == "1600 anything", "after what it was to follow"
    assert one.follow(SOUND) == "", "nothing of the utterance before"
    one.close()


@pytest.mark.parametrize("deaths", ["follows", "follows not"])
def test_one_that_cannot_follow_still_hears(deaths: str) -> None:
    one = Apart("told", partial(Follows, deaths))
    for _ in range(3):
        assert one.follow(SOUND) == ""
        time.sleep(0.1)
    assert one.hear(SOUND).candidates[0].text == "1600 anything"
    one.close()


def test_one_that_does_not_follow_has_nothing_to_tell(apart: Apart) -> None:
    apart.follow(SOUND)
    assert apart.hear(SOUND).candidates[0].text == "1600 anything"
    assert apart.follow(SOUND) == ""


def test_what_it_says_of_itself_comes_through() -> None:
    with pytest.raises(HearingError, match="no model: get one"):
        Apart("told", cannot).ready()
    failing = Apart("told", partial(Told, "fails"))
    with pytest.raises(HearingError, match="it cannot go on"):
        failing.hear(SOUND)
    failing.close()


def test_pocketsphinx_hears_the_same_apart_as_here(speakable: Speakable, say: Callable[..., Sound]) -> None:
    pytest.importorskip("pocketsphinx", reason="the speech extra is not installed")
    sound = say("cylinder four cut, thirty eight")
    one = Apart("pocketsphinx", partial(PocketSphinx, speakable))
    one.follow(sound[:-1_600])
    assert one.hear(sound) == PocketSphinx(speakable).hear(sound)
    one.close()
