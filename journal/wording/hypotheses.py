"""Candidates from every listener in, everything that may have been said out, each with what speaks for it."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

from journal.facts import JobFact, Note, RepairDone
from journal.hearing.types import Candidate
from journal.wording.doubt import sound_alikes
from journal.wording.figures import fitted, openers, settings
from journal.wording.meanings import Refused, meaning_of
from journal.wording.tokens import tokenise
from journal.wording.types import Context, Meaning
from journal.wording.understood import Meanings, Piece, Way, ways
from journal.wording.vocabulary import vocabulary

TYPED = "typed"
"""The listener's name for words that were typed: nothing sounds like anything else."""

FREE = "free"
"""The part that an unconstrained text of the same sound plays."""

HEARD = "heard"
"""How a meaning came of a text: as it stands."""

_WRITTEN = ("run together", "twice")
"""Ways to write what is said quite rightly: as likely as the text that is as it should be."""

_RUN_TOGETHER = re.compile(r"(?<![0-9.])([1-9])[./]?([0-9]{2}(?:\.[0-9])?)(?![0-9])")
_TWICE = re.compile(r"\b([0-9]{2,})\1\b")


_Key = tuple[object, ...]


@dataclass
class Hypothesis:
    """Something that may have been said."""

    pieces: tuple[Piece, ...]
    """The things said, in order; none for nothing that is for the tool."""
    scores: dict[str, float] = field(default_factory=dict)
    """For each part played by a listener, natural log of how likely it holds this, its texts' shares counted in."""
    how: str = HEARD
    """What had to be done to a text to make sense of it so."""
    worth: float = 0.0
    """Natural log of how often it is heard for what a listener wrote, where no listener wrote it; else 0."""
    cost: float = 0.0
    """How far the words are from what can be said."""
    mended: dict[str, str] = field(default_factory=dict)
    """For each part whose texts mean it only when something is done to them: what."""
    senseless: dict[str, float] = field(default_factory=dict)
    """Of nothing for the tool: natural log of how likely those that must find words hold a text that means nothing."""

    @property
    def meanings(self) -> Meanings:
        """What its pieces mean."""
        return tuple(piece.meaning for piece in self.pieces)

    @property
    def heard(self) -> str:
        """The words of all pieces."""
        return " ".join(piece.heard for piece in self.pieces)


def part_of(listener: str) -> str:
    """The part that a listener plays in the fitted model."""
    part: str = fitted()["parts"].get(listener, "text")
    return part


def hypotheses(candidates: Sequence[Candidate], free_text: str, context: Context) -> list[Hypothesis]:
    """Everything that may have been said, nothing for the tool among it.

    Equal meanings are one, whatever their words and their listeners. Besides the texts as they stand, some are read
    with a change: figures run together, said twice, a beginning lost, an opener such as "note" misheard, a number that
    sounds like another.
    """
    found: dict[_Key, Hypothesis] = {(): Hypothesis(())}
    sources: dict[_Key, Way] = {}
    texts = _by_part(candidates)
    texts += [(free_text, FREE, 0.0)] if free_text.strip() else []
    looked_at: dict[str, int] = {}
    for text, part, score in sorted(texts, key=lambda each: -each[2]):
        looked_at[part] = looked_at.get(part, 0) + 1
        changed = () if part == TYPED or looked_at[part] > settings()["tries"]["texts"] else _changed(text, part)
        for how, words in ((HEARD, text), *changed):
            _add(found, sources, ways(words, context) if words else [_NOTHING], part, score, how)
    _add_alike(found, sources, context)
    return list(found.values())


_NOTHING = Way((), 0.0)


def _by_part(candidates: Sequence[Candidate]) -> list[tuple[str, str, float]]:
    """Texts with the part that their listener plays, and scores that compare within it.

    Of two listeners that play one part, the second's scores are moved: its likeliest is as likely as the first's.
    """
    tops: dict[str, float] = {}
    for each in candidates:
        tops[each.listener] = max(each.score, tops.get(each.listener, each.score))
    top_of_part: dict[str, float] = {}
    for listener, top in tops.items():
        top_of_part.setdefault(part_of(listener), top)
    return [
        (c.text, part_of(c.listener), c.score + top_of_part[part_of(c.listener)] - tops[c.listener]) for c in candidates
    ]


def _add(
    found: dict[_Key, Hypothesis],
    sources: dict[_Key, Way],
    understood: Sequence[Way],
    part: str,
    score: float,
    how: str,
) -> None:
    held = part in fitted()["held"]
    sensible = part == TYPED and any(way.pieces and not _refused(way) for way in understood)
    for way in understood:
        if sensible and _refused(way):
            # What was typed is certain, so that it is no other way of understanding it.
            continue
        if not way.pieces and how == HEARD and held and way is not _NOTHING:
            senseless = found[()].senseless
            senseless[part] = max(score + way.share, senseless.get(part, -math.inf))
            continue
        if not way.pieces and how != HEARD:
            continue
        key = tuple(map(_kind, way.meanings))
        old = found.get(key)
        if old is None or (old.how != HEARD and how == HEARD):
            mended = {p: done for p, done in old.mended.items() if done in _WRITTEN} if old is not None else {}
            scores = {p: old.scores[p] for p in mended} if old is not None else {}
            old = found[key] = Hypothesis(way.pieces, scores, how, 0.0, way.cost, mended)
            sources[key] = way
        elif way.pieces and old.how == HEARD and how not in (HEARD, *_WRITTEN):
            continue
        elif way.cost < old.cost and old.how == how:
            # The plainest words are what it is judged by, whoever wrote them; but a listener's own less likely words
            # take back no doubt about its likelier ones.
            asked = part in old.scores and any(piece.asked for piece in old.pieces)
            pieces = tuple(replace(piece, asked=True) for piece in way.pieces) if asked else way.pieces
            old.pieces, old.cost, sources[key] = pieces, way.cost, way
        if how == HEARD:
            old.mended.pop(part, None)
        elif part not in old.scores:
            old.mended[part] = how
        old.scores[part] = max(score + way.share, old.scores.get(part, -math.inf))


def _refused(way: Way) -> bool:
    return any(isinstance(meaning, Refused) for meaning in way.meanings)


def _kind(meaning: Meaning | Refused) -> object:
    """What tells a meaning from others: of a note and the like only that it is one."""
    return type(meaning), getattr(meaning, "field", "") if in_words(meaning) else meaning


def in_words(meaning: Meaning | Refused) -> bool:
    """Whether it is told in words of one's own."""
    return isinstance(meaning, Note | RepairDone) or (
        isinstance(meaning, JobFact) and meaning.field in ("complaint", "unit")
    )


def _changed(text: str, part: str) -> Iterator[tuple[str, str]]:
    """A text read with a change: what was done to it, and what it then is."""
    tokens = tokenise(text)
    words = [token.text for token in tokens]
    if (apart := _RUN_TOGETHER.sub(r"\1 \2", text)) != text:
        yield "run together", apart
    if (once := _TWICE.sub(r"\1", text)) != text:
        yield "twice", once
    for length in range(1, len(words) // 2 + 1):
        if words[length:] == words[:-length]:
            yield "twice", text[: tokens[length].start]
            break
    if part in fitted()["held"]:
        # One that must find a phrase finds words in the noise before it.
        for first in tokens[1 : 1 + int(settings()["tries"]["lost_words"])]:
            yield "beginning lost", text[first.start :]
    if part == FREE:
        yield from (("opener", note) for note in opened(text))


def opened(text: str) -> list[str]:
    """An unconstrained text as a note and the like, where its first word is what is written for such a word."""
    tokens = tokenise(text)
    if len(tokens) < max(2, settings()["tries"]["opened_words"]):
        return []
    rest = text[tokens[1].start :]
    return [f"{opener} {rest}" for opener, written in openers().items() if tokens[0].text in written]


def _add_alike(found: dict[_Key, Hypothesis], sources: dict[_Key, Way], context: Context) -> None:
    """What sounds like one of the likelier meanings, where no listener has weighed it."""
    best: dict[str, float] = {}
    for each in found.values():
        for part, score in each.scores.items():
            if each.pieces and part not in (TYPED, FREE):
                best[part] = max(score, best.get(part, score))
    for key, each in list(found.items()):
        near = [p for p, s in each.scores.items() if p in best and s >= best[p] - settings()["tries"]["alike"]]
        source = sources.get(key)
        if not near or source is None or source.parse is None:
            continue
        for at, said in enumerate(source.parse.said[: len(each.pieces)]):
            for other, often in sound_alikes(said, source.tokens):
                filled = {f.name: f.value for f in other.filled}
                meaning = meaning_of(vocabulary().phrases[said.phrase], filled, context)
                pieces = (*each.pieces[:at], replace(each.pieces[at], meaning=meaning), *each.pieces[at + 1 :])
                new = Hypothesis(pieces, {}, HEARD, math.log(often), each.cost)
                if not isinstance(meaning, Refused) and (kinds := tuple(map(_kind, new.meanings))) not in found:
                    found[kinds] = new
