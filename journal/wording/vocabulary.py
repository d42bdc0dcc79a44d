"""The packaged `vocabulary.toml` in, the phrases and their words out."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cache
from importlib import resources
from typing import Any

from journal.wording.template import Template, parse_template

CYLINDER_SLOTS = frozenset({"cylinder", "other_cylinder", "stands"})
"""Slots filled by one cylinder's number."""

NUMBER_SLOTS = frozenset(
    {
        "value",
        "reading",
        "signed",
        "thou",
        "pressure_value",
        "idle_fuel",
        "count",
        "spn",
        "fmi",
        "engine_count",
        "wrong",
        "again",
    }
)
"""Slots filled by a number."""

LIST_SLOT = "cylinders"
"""The slot filled by several cylinders."""

TEXT_SLOT = "text"
"""The slot that takes the rest of the utterance."""


_ONLY_FRAMED = ("part state",)
"""Kinds of which no sentence is written down: they are understood by their parts alone."""


@dataclass(frozen=True)
class Phrase:
    """Ways of saying one thing."""

    kind: str
    """What comes of it; one of the kinds `meanings` builds."""
    say: tuple[Template, ...]
    """The ways of saying it."""
    set: dict[str, Any] = field(default_factory=dict)
    """What it means beyond its slots."""
    breath: bool = False
    """Whether several may be said in one breath."""
    listen: tuple[Template, ...] = ()
    """The ways recognisers are told of; none for all of `say`."""
    go_on: tuple[Template, ...] = ()
    """Ways recognisers follow straight after another reading, in one breath."""
    group: str = ""
    """Heading on the cheat sheet; empty when not shown there."""
    example: str = ""
    """How it stands on the cheat sheet."""
    means: str = ""
    """What comes of it, in a few words."""
    only: str = ""
    """`number` for a bare number, `question` for words that answer only where a question waits, `led` for those that do
    so only while the journal leads the test."""
    framed: bool = False
    """Whether it stands for what was understood by its parts (`frames`), whatever the order of the words."""


@dataclass(frozen=True)
class Choices:
    """A table of choices: what each value is called."""

    attribute: str
    """The attribute that a choice sets."""
    values: dict[str, tuple[Template, ...]]
    """For each value, the ways of saying it."""


@dataclass(frozen=True)
class Vocabulary:
    """Everything that can be said."""

    phrases: tuple[Phrase, ...]
    """Every phrase."""
    rules: dict[str, Template]
    """Templates by name."""
    listened: dict[str, Template]
    """Rules as recognisers are told of them, where that is less than all."""
    choices: dict[str, Choices]
    """Tables of choices by slot name."""
    fillers: frozenset[str]
    """Words that mean nothing wherever they stand."""
    kept: frozenset[str]
    """Words that turn a meaning round; never passed over, never taken for another."""
    edges: frozenset[str]
    """Words that mean nothing before, between and after phrases."""
    written_only: frozenset[str]
    """Words that are written but never said as they stand."""
    spelt_out: dict[tuple[str, ...], tuple[str, ...]]
    """What a recogniser may write for a word that its dictionary lacks, and the words it stands for."""
    sounds: dict[tuple[str, ...], tuple[str, ...]]
    """What recognisers write for a word, as tokens, and the words it may be."""
    confusions: dict[str, tuple[tuple[str, float], ...]]
    """For a number word, those it is taken for and how often, 0 to 1."""
    outcome_words: dict[str, dict[str, str]]
    """For each subject's outcomes, an example of how it is said, without the cylinder."""


@cache
def vocabulary() -> Vocabulary:
    """The packaged vocabulary."""
    return read_vocabulary(resources.files("journal.wording").joinpath("vocabulary.toml").read_text("utf-8"))


def read_vocabulary(text: str) -> Vocabulary:
    """A vocabulary from TOML text.

    Raises:
        ValueError: naming the template that cannot be read.
        tomllib.TOMLDecodeError: where it is not TOML.
    """
    data = tomllib.loads(text)
    phrases = []
    for raw in data["phrase"]:
        say, listen, go_on = (tuple(map(parse_template, raw.pop(name, ()))) for name in ("say", "listen", "go_on"))
        phrases.append(Phrase(say=say, listen=listen, go_on=go_on, **raw))
    choices = {}
    for name, table in data["choices"].items():
        attribute = table.pop("attribute")
        values = {value: tuple(parse_template(t) for t in ways) for value, ways in table.items()}
        choices[name] = Choices(attribute, values)
    kinds = dict.fromkeys((*(p.kind for p in phrases), *_ONLY_FRAMED))
    phrases += [Phrase(kind, (), breath=True, framed=True) for kind in kinds]
    return Vocabulary(
        phrases=tuple(phrases),
        rules={name: parse_template(t) for name, t in data["rules"].items()},
        listened={name: parse_template(t) for name, t in data["listened"].items()},
        choices=choices,
        fillers=frozenset(data["fillers"]["anywhere"]),
        kept=frozenset(data["fillers"]["kept"]),
        edges=frozenset(data["fillers"]["edges"]),
        written_only=frozenset(data["written"]["only"]),
        spelt_out=_by_tokens((word, [said]) for word, said in data["spelt_out"].items()),
        sounds=_by_tokens(data["sounds"].items()),
        confusions=_confusions(data["confusions"]),
        outcome_words=data["outcomes"],
    )


def _by_tokens(table: Iterable[tuple[str, Iterable[str]]]) -> dict[tuple[str, ...], tuple[str, ...]]:
    found: dict[tuple[str, ...], tuple[str, ...]] = {}
    for word, variants in table:
        for written in variants:
            key = tuple(written.split())
            found[key] = (*found.get(key, ()), word)
    return found


def _confusions(data: dict[str, Any]) -> dict[str, tuple[tuple[str, float], ...]]:
    teens = [(f"{stem}teen", tens, data["teens"]) for stem, tens in _TEENS.items()]
    table: dict[str, tuple[tuple[str, float], ...]] = {}
    for one, other, often in [*teens, *data["pairs"]]:
        table[one] = (*table.get(one, ()), (other, often))
        table[other] = (*table.get(other, ()), (one, often))
    return table


_TEENS = {
    "thir": "thirty", "four": "forty", "fif": "fifty", "six": "sixty", "seven": "seventy", "eigh": "eighty",
    "nine": "ninety",
}  # fmt: skip
