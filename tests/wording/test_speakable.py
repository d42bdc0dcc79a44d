"""What recognisers are told can be said in any order, against what the parser understands."""

from __future__ import annotations

import json
from pathlib import Path

from journal.wording import speakable
from journal.wording.lexicon import lexicon
from journal.wording.numbers import DIGITS, TEENS, TENS
from journal.wording.tokens import tokenise
from journal.wording.vocabulary import vocabulary

_GIVEN = Path(__file__).parent / "natural" / "given.jsonl"


def any_order() -> set[str]:
    graph = speakable(6).any_order
    assert graph is not None
    [arcs] = graph.arcs
    assert graph.finals == {0}
    assert {target for _, target in arcs} == {0}, "any word may follow any other"
    return {word for word, _ in arcs}


def test_every_word_that_is_understood_can_be_heard_in_any_order() -> None:
    words = any_order()
    assert words >= {word for word in lexicon().words if word.isalpha()} - vocabulary().written_only
    assert words >= {*DIGITS, *TEENS, *TENS, "hundred", "point", "half", "oh", "the", "a", "an"}
    assert words >= set(speakable(6).words)


def test_what_technicians_say_is_mostly_of_such_words() -> None:
    words = any_order()
    lines = [json.loads(line) for line in _GIVEN.read_text(encoding="utf-8").splitlines()]
    said = [token.text for line in lines if line["want"] for token in tokenise(line["say"])]
    spoken = [word.removesuffix("'s") for word in said if not any(sign.isdigit() for sign in word)]
    unknown = [word for word in spoken if word not in words]
    assert len(unknown) < 0.03 * len(spoken), sorted(set(unknown))
