"""What is said in training: phrases, natural wording, numbers, notes, talk; each as it is said and as it is written.

Numbers are spread as jobs have them, those that are easily taken for each other more often. Nothing of what is reported
on is among it: neither the lists and jobs in `tests/wording` and `tests/bench` that nothing was set by, nor the
benchmark's chat.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from random import Random

from journal.wording.template import Choice, Rule, Slot, Template, Word
from journal.wording.template import Sequence as Parts
from journal.wording.vocabulary import CYLINDER_SLOTS, LIST_SLOT, TEXT_SLOT, vocabulary
from tests.bench._phrases import CHAT, FITTING_JOBS
from tests.wording.gold_nothing import NOTHING

_ROOT = Path(__file__).resolve().parents[2]
_NATURAL = ("given", "tuned_a", "tuned_b", "tuned_c", "tuned_d")
_ONES = ("zero", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")
_TEENS = ("ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen")
_TENS = ("twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
WORDS = (*_ONES, *_TEENS, *_TENS, "hundred", "thousand", "point", "oh")
"""Every word of a number."""
_VALUE = {word: value for value, word in enumerate((*_ONES, *_TEENS))} | {
    word: 10 * value for value, word in enumerate(_TENS, 2)
}
_ALIKE = (13, 30, 14, 40, 15, 50, 16, 60, 17, 70, 18, 80, 19, 90)
_NO_FIGURE = ("this", "that", "the", "which", "no", "any", "every", "each", "other", "first", "last", "next", "bad")
"""After these, "one" is no number."""
_READINGS = (
    "cylinder {c} cut, {x}", "{c}, {x}", "number {c} out, {x}", "{c} cut {x}", "{c} is {x}", "kill {c}, {x}",
    "cut {c}, {x}", "cylinder {c}, {x}", "number {c}'s out, {x}", "and {c}, {x}", "{x} with {c} out", "next, {x}",
    "baseline {x}", "cylinder {c} no change", "fuel {x}", "correction {x}",
)  # fmt: skip
_NOTES = ("note", "note that", "complaint", "complaint:", "repaired")
_SENTENCE = re.compile(r"[A-Z][a-z]+(?:,? [a-z][a-z'-]*){3,13} [a-z'-]{2,}\.")


@dataclass(frozen=True)
class Line:
    """One thing said."""

    said: str
    """As it is spoken, numbers in words."""
    written: str
    """As it is to be written, numbers in figures."""
    open: bool = False
    """Whether it is open dictation: a note, or talk that is not for the tool."""


def lines(count: int, seed: int) -> list[Line]:
    """So many things said."""
    dice = Random(seed)
    ways = (_phrase, _natural, _reading, _bare, _note, _talk)
    return [dice.choices(ways, weights=(25, 27, 15, 10, 8, 15))[0](dice) for _ in range(count)]


def number(dice: Random) -> str:
    """A number in words, as a technician reads it off."""
    kind = dice.random()
    if kind < 0.40:
        tenth = dice.randint(0, 9)
        return f"{below_hundred(_two_figures(dice))} point {_ONES[tenth]}"
    if kind < 0.78:
        return below_hundred(_two_figures(dice))
    if kind < 0.84:
        return below_hundred(dice.choice(_ALIKE))
    if kind < 0.87:
        return f"{below_hundred(_two_figures(dice))} and a half"
    if kind < 0.90:
        return f"{_ONES[dice.randint(1, 9)]} {_ONES[dice.randint(0, 9)]}"
    if kind < 0.93:
        return f"{_ONES[dice.randint(0, 9)]} point {_ONES[dice.randint(0, 9)]}"
    if kind < 0.96:
        return f"{below_hundred(dice.randint(5, 33))} hundred" + dice.choice(("", "", " fifty"))
    if kind < 0.98:
        rest = (f"oh {_ONES[dice.randint(1, 9)]}", below_hundred(dice.randint(10, 99)))
        return f"{_ONES[dice.randint(1, 9)]} {dice.choice(rest)}"
    return f"{_ONES[dice.randint(1, 4)]} thousand" + dice.choice(("", f" {_ONES[dice.randint(1, 9)]} hundred"))


def _two_figures(dice: Random) -> int:
    return (
        dice.randint(8, 99) if dice.random() < 0.7 else dice.choice(_ALIKE) + dice.randint(0, 9) * (dice.random() < 0.5)
    )


def below_hundred(value: int) -> str:
    """A number below a hundred in words."""
    value = min(value, 99)
    if value < 20:
        return (*_ONES, *_TEENS)[value]
    return _TENS[value // 10 - 2] + (f" {_ONES[value % 10]}" if value % 10 else "")


def _cylinder(dice: Random) -> str:
    return below_hundred(dice.randint(1, 6) if dice.random() < 0.7 else dice.randint(1, 16))


def _line(said: str, *, is_open: bool = False) -> Line:
    return Line(said, written(said), is_open)


def _phrase(dice: Random) -> Line:
    """A phrase of the vocabulary; one with numbers twice as often as another."""
    phrases = [phrase for phrase in vocabulary().phrases if phrase.say]
    while True:
        phrase = dice.choice(phrases)
        way = dice.choice(phrase.say)
        said = " ".join(_sampled(way, dice))
        if 2 <= len(said) <= 120 and "{" not in said and not re.search(r"[0-9%=/]", said):
            is_open = isinstance(way, Parts) and way.parts[-1] == Slot(TEXT_SLOT)
            return _line(said, is_open=is_open)


def _sampled(part: Template, dice: Random) -> Iterator[str]:
    words = vocabulary()
    match part:
        case Word(text):
            yield text
        case Slot(name) if name in words.choices:
            ways = [way for some in words.choices[name].values.values() for way in some]
            spoken = [way for way in ways if not (isinstance(way, Word) and way.text in words.written_only)]
            yield from _sampled(dice.choice(spoken), dice)
        case Slot(name) if name in CYLINDER_SLOTS:
            yield _cylinder(dice)
        case Slot(name) if name == LIST_SLOT:
            yield " ".join(_cylinder(dice) for _ in range(dice.randint(2, 3)))
        case Slot(name) if name == TEXT_SLOT:
            yield dice.choice(_of_engines())
        case Rule("number") | Slot():
            yield number(dice)
        case Rule(name):
            rule = (words.rules | words.listened).get(name)
            if rule is not None:
                yield from _sampled(rule, dice)
        case Parts(parts):
            for inner in parts:
                yield from _sampled(inner, dice)
        case Choice(options):
            spoken = [one for one in options if not (isinstance(one, Word) and one.text in words.written_only)]
            if spoken:
                yield from _sampled(dice.choice(spoken), dice)


@cache
def _natural_lines() -> tuple[tuple[str, bool], ...]:
    found = [
        json.loads(line)
        for name in _NATURAL
        for line in (_ROOT / f"tests/wording/natural/{name}.jsonl").read_text(encoding="utf-8").splitlines()
    ]
    usual = [(each["say"], each["group"] == "negative") for each in found]
    usual += [(text, False) for job in FITTING_JOBS for text in job]
    return tuple((text, talk) for text, talk in usual if text not in CHAT and not re.search(r"[0-9%=/:&]", text))


_NUMBER = re.compile(rf"\b(?:{'|'.join((*_TEENS, *_TENS))})(?:[ -](?:{'|'.join(_ONES)}|point|oh|hundred))*\b")


def _natural(dice: Random) -> Line:
    """A line as technicians say it, its numbers others."""
    text, talk = dice.choice(_natural_lines())
    if talk:
        return _line(text, is_open=True)
    if dice.random() < 0.8:
        text = _NUMBER.sub(lambda _: number(dice), text)
    return _line(text)


def _reading(dice: Random) -> Line:
    return _line(dice.choice(_READINGS).format(c=_cylinder(dice), x=number(dice)))


def _bare(dice: Random) -> Line:
    return _line(number(dice))


def _note(dice: Random) -> Line:
    return _line(f"{dice.choice(_NOTES)} {dice.choice(_of_engines())}", is_open=True)


def _talk(dice: Random) -> Line:
    """Talk and prose that is not for the tool."""
    if dice.random() < 0.3:
        talk = [text for text in NOTHING if text not in CHAT and not re.search(r"[0-9%=/:]", text)]
        return _line(dice.choice(talk), is_open=True)
    said = dice.choice(_prose())
    return Line(said, said if said.endswith(".") else f"{said[:1].upper()}{said[1:]}.", open=True)


@cache
def _of_engines() -> tuple[str, ...]:
    """Clauses on engines, out of what the project says of causes and checks."""
    texts = []
    for path in sorted((_ROOT / "journal/analysis/causes").glob("*.toml")):
        texts += list(_strings(tomllib.loads(path.read_text(encoding="utf-8"))))
    found = {part.strip().lower() for text in texts for part in re.split(r"[.:;]", text)}
    return tuple(sorted(c for c in found if re.fullmatch(r"[a-z' ,-]{12,80}", c) and 3 <= len(c.split()) <= 13))


def _strings(tree: object) -> Iterator[str]:
    if isinstance(tree, str):
        yield tree
    elif isinstance(tree, dict | list):
        for inner in tree.values() if isinstance(tree, dict) else tree:
            yield from _strings(inner)


@cache
def _prose() -> tuple[str, ...]:
    """Sentences in plain English: the project's own documentation, and Python's reference."""
    from pydoc_data.topics import topics

    texts = [(_ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md")]
    texts += [path.read_text(encoding="utf-8") for path in sorted((_ROOT / "journal").rglob("*.py"))]
    texts += [topics[name] for name in sorted(topics)]
    found = {match.group(0) for text in texts for match in _SENTENCE.finditer(" ".join(text.split()))}
    return (*sorted(found), *_of_engines())


def written(said: str) -> str:
    """What was said as it is to be written: a capital, a full stop, numbers in figures."""
    parts = re.findall(r"[A-Za-z']+|[^A-Za-z']+", said.replace("-", " ") if _has_number(said) else said)
    out: list[str] = []
    run: list[str] = []
    for part in parts:
        word = part.lower()
        numeral = word in _VALUE or (run and word in ("hundred", "thousand", "point", "oh", "o", "decimal"))
        if word == "one" and not run and "".join(["", *out]).lower().endswith(tuple(f"{each} " for each in _NO_FIGURE)):
            numeral = False
        if numeral:
            run.append(word)
        elif run and part == " ":
            continue
        else:
            out += [*_ended(run, part)] if run else [part]
            run = []
    out += _figures(run)
    text = "".join(out).strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in ".?!" else ".")


def _has_number(said: str) -> bool:
    return any(word in _VALUE for word in re.findall(r"[a-z]+", said.lower()))


def _ended(run: Sequence[str], after: str) -> Iterator[str]:
    yield "".join(_figures(run))
    yield after if not after[:1].isalpha() else f" {after}"


def _figures(run: Sequence[str]) -> list[str]:
    """Words of numbers, one after the other, in figures with spaces between."""
    found: list[str] = []
    at = 0
    while at < len(run):
        at, text = _one(run, at)
        found.append(text)
    return [" ".join(found)] if found else []


def _one(run: Sequence[str], at: int) -> tuple[int, str]:
    """The number that begins there, and where it ends."""

    def small(at: int) -> tuple[int, int]:
        value = _VALUE.get(run[at], 0)
        at += 1
        if value >= 20 and at < len(run) and 0 < _VALUE.get(run[at], 0) < 10:
            return at + 1, value + _VALUE[run[at]]
        return at, value

    def with_hundreds(at: int) -> tuple[int, int]:
        at, value = small(at)
        if at < len(run) and run[at] == "hundred":
            at, value = at + 1, value * 100
            if at < len(run) and run[at] in _VALUE:
                at, rest = small(at)
                value += rest
        return at, value

    first = at
    at, value = with_hundreds(at)
    if at < len(run) and run[at] == "thousand":
        at, value = at + 1, value * 1000
        if at < len(run) and run[at] in _VALUE:
            at, rest = with_hundreds(at)
            value += rest
    text = str(value)
    while at + 1 < len(run) and run[at] in ("oh", "o") and run[at + 1] in _VALUE and at - first == 1:
        text, at = f"{text}0{_VALUE[run[at + 1]]}", at + 2
    if at + 1 < len(run) and run[at] in ("point", "decimal"):
        at += 1
        decimals = ""
        while at < len(run) and len(decimals) < 2 and 0 <= _VALUE.get(run[at], 99) < 10:
            decimals, at = decimals + str(_VALUE[run[at]]), at + 1
        if not decimals and at < len(run) and run[at] in _VALUE:
            at, value = small(at)
            decimals = str(value)
        return at, f"{text}.{decimals or 0}"
    return max(at, first + 1), text
