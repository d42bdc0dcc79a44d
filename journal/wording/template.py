"""Template text in, a small tree out: the form in which every phrase of the grammar is written.

The form: words stand for themselves, `[x]` may be left out, `(x|y)` is one of several, `<name>` is another rule,
`{name}` is a slot to be filled.
"""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Word:
    """One word as it is said."""

    text: str
    """The word, lower case."""


@dataclass(frozen=True)
class Sequence:
    """Parts said one after the other."""

    parts: tuple[Template, ...]
    """The parts, in order; none for saying nothing."""


@dataclass(frozen=True)
class Choice:
    """One of several."""

    options: tuple[Template, ...]
    """What may be said."""


@dataclass(frozen=True)
class Rule:
    """What another rule says."""

    name: str
    """The rule's name."""


@dataclass(frozen=True)
class Slot:
    """Something to be filled: a number, a cylinder, free text, or one of a table of choices."""

    name: str
    """The slot's name."""


Template = Word | Sequence | Choice | Rule | Slot
"""Any part of a template."""

NOTHING = Sequence(())
"""Saying nothing."""

_TOKEN = re.compile(r"\s*(?:([\[\](|)])|<(\w+)>|\{(\w+)\}|([^\s\[\](|)<>{}]+))")


def parse_template(text: str) -> Template:
    """The tree of a template.

    Raises:
        ValueError: naming the template, when its brackets do not fit.
    """
    tokens = []
    at = 0
    text = text.strip()
    while at < len(text):
        match = _TOKEN.match(text, at)
        if match is None:
            raise ValueError(f"template {text!r}: cannot be read at {text[at:]!r}")
        tokens.append(match)
        at = match.end()
    tree, rest = _alternatives(tokens, 0, text)
    if rest != len(tokens):
        raise ValueError(f"template {text!r}: a bracket is closed that was not opened")
    return tree


def _alternatives(tokens: list[re.Match[str]], at: int, text: str) -> tuple[Template, int]:
    options: list[Template] = []
    parts: list[Template] = []
    while at < len(tokens):
        mark, rule, slot, word = tokens[at].groups()
        if mark in ("]", ")"):
            break
        at += 1
        if mark == "|":
            options.append(_joined(parts))
            parts = []
        elif mark:
            inner, at = _alternatives(tokens, at, text)
            if at >= len(tokens) or tokens[at].group(1) != {"[": "]", "(": ")"}[mark]:
                raise ValueError(f"template {text!r}: {mark!r} is not closed")
            at += 1
            parts.append(Choice((inner, NOTHING)) if mark == "[" else inner)
        elif rule:
            parts.append(Rule(rule))
        elif slot:
            parts.append(Slot(slot))
        else:
            parts.append(Word(word.lower()))
    options.append(_joined(parts))
    return (options[0] if len(options) == 1 else Choice(tuple(options))), at


def _joined(parts: list[Template]) -> Template:
    return parts[0] if len(parts) == 1 else Sequence(tuple(parts))
