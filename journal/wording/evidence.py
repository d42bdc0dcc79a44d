"""Hypotheses in, named features of each out: what speaks for its having been said, by the sound alone.

What a listener holds likely comes as differences of its scores, which are natural logs. A feature that is not there is
missing, as its listener is, and counts nothing. `belief.json` says what each is and what it weighs; before a colon
stands the part that a listener plays.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence

from journal.facts import Cut
from journal.wording.expect import decimals, expected
from journal.wording.hypotheses import FREE, HEARD, Hypothesis, in_words
from journal.wording.meanings import Refused
from journal.wording.numbers import HOMOPHONES, readings
from journal.wording.pace import pace
from journal.wording.sounds import likeness
from journal.wording.tokens import tokenise
from journal.wording.types import Command, Context, Meaning, Number
from journal.wording.understood import ways

Features = dict[str, float]

_BEST_FIRST = ("whisper", "pocketsphinx")
_WRITE_ONLY = ("text", "typed")
"""Parts of listeners whose scores say nothing but how they share what they wrote."""

# Where features of scores end, natural log; within them the weights are fitted.
_MOST, _FAR, _NEAR, _MOST_WORDS = 12.0, 8.0, 2.0, 8.0
_NAMED = re.compile(r"\b(?:cylinders?|number)[.,]?$", re.IGNORECASE)
_PAST_POINT = re.compile(r"\b(?:point|decimal)\s+[a-z0-9]|[0-9]\.[0-9]", re.IGNORECASE)
_BROKEN_OFF = re.compile(r"(?:\b(?:point|decimal)|[0-9](?:\.{2,}|…|-))[.,]?$", re.IGNORECASE)


class Evidence:
    """What speaks for each hypothesis about one utterance."""

    def __init__(
        self, all_of_them: Sequence[Hypothesis], tops: Sequence[str], free_text: str, seconds: float, context: Context
    ) -> None:
        """Gather.

        Args:
            all_of_them: the hypotheses, nothing for the tool among them.
            tops: each listener's likeliest text.
            free_text: what an unconstrained recogniser made of the sound; empty for none.
            seconds: from the first to the last speech; 0 where that is not known.
            context: the job so far.
        """
        self.hypotheses = tuple(all_of_them)
        self._free_text = free_text.strip()
        self._seconds = seconds
        self._context = context
        self._parts = {part for each in all_of_them for part in each.scores} - {FREE}
        self._nothing = next(each for each in all_of_them if not each.pieces)
        said = [each for each in all_of_them if each.pieces]
        by_part = {
            part: sorted((h.scores[part] for h in said if part in h.scores), reverse=True) for part in self._parts
        }
        self._best = {part: scores for part, scores in by_part.items() if scores}
        freely = [each for each in all_of_them if FREE in each.scores and each.how == HEARD]
        self._freely = max(freely, key=lambda each: each.scores[FREE], default=None)
        self._free_figures = figures(unrepeated(self._free_text))
        self._figures = {id(each): figures(each.heard) for each in said}
        self._cut_off = {ways(text, context)[0].meanings for text in (*tops, self._free_text) if unfinished(text)}

    def of(self, each: Hypothesis) -> Features:
        """Its features by name; those that are 0 are left out."""
        told = dict(self._of_nothing() if not each.pieces else self._of_said(each))
        return {name: value for name, value in told.items() if value}

    def of_none(self) -> Features:
        """Those of its having been none of the hypotheses; all that the job has a say in."""
        first = self._likeliest()
        meanings = [m for m in first.meanings if not isinstance(m, Refused)] if first is not None else []
        unexpected = any(not expected(meaning, self._context) for meaning in meanings)
        short = any(told_short(meaning, self._context, first.heard) for meaning in meanings) if first else False
        return {"none": 1.0, "unexpected": float(unexpected), "short": float(short)}

    def _likeliest(self) -> Hypothesis | None:
        """What the listener that hears best holds the likeliest thing said."""
        for part in (*_BEST_FIRST, *self._parts):
            if part in self._best:
                return next(h for h in self.hypotheses if h.pieces and h.scores.get(part) == self._best[part][0])
        return None

    def _of_nothing(self) -> Iterator[tuple[str, float]]:
        yield "nothing", 1.0
        for part in self._parts:
            if part not in self._nothing.scores:
                yield f"{part}: lacks nothing", 1.0
            elif part in _WRITE_ONLY:
                yield f"{part}: share", self._nothing.scores[part]
                yield f"{part}: unsaid", float(part in self._best)
        if self._free_text:
            unsaid = self._freely is not None and bool(self._freely.pieces)
            yield "unsaid", float(unsaid)
            yield "words", 0.0 if unsaid else min(_MOST_WORDS, float(len(tokenise(self._free_text))))

    def _of_said(self, each: Hypothesis) -> Iterator[tuple[str, float]]:
        for part in self._parts:
            yield from self._of_part(part, each)
        firsts = sum(self._best[part][0] == score for part, score in each.scores.items() if part in self._best)
        yield "agreed", float(firsts > 1)
        if self._free_text:
            same = self._freely is each
            yield "same", float(same)
            yield "other", float(not same and self._freely is not None and bool(self._freely.pieces))
            yield "unlike", 1.0 - likeness(each.heard, self._free_text)
            yield "further figures", float(len(self._free_figures) > len(self._figures[id(each)]))
            yield "agreed by text", float(same and firsts == len(self._parts))
        off = pace(each.heard, self._seconds)
        yield ("slow", off) if off > 0 else ("fast", -off)
        yield "cost", each.cost
        yield "pieces", float(len(each.pieces) - 1)
        yield "goes on", self._goes_on(each)
        yield "unfinished", float(each.meanings in self._cut_off and not in_words(each.meanings[-1]))
        yield "heard for", each.worth
        yield each.how, float(each.how != HEARD)
        yield "a number", float(isinstance(each.meanings[0], Number))
        yield "a command", float(isinstance(each.meanings[0], Command))
        yield "strange", float(any(piece.strange for piece in each.pieces))
        yield "idle", float(any(piece.idle for piece in each.pieces))
        yield "long", min(_MOST_WORDS, float(len(tokenise(each.heard))))
        yield "free words", float(in_words(each.meanings[0]))

    def _of_part(self, part: str, each: Hypothesis) -> Iterator[tuple[str, float]]:
        """What the listener in this part has to say of it."""
        if part not in each.scores:
            yield f"{part}: lacks", 1.0
            return
        score = each.scores[part]
        if part in _WRITE_ONLY:
            yield f"{part}: share", score
            return
        behind = min(_MOST, self._best[part][0] - score)
        yield f"{part}: behind", behind
        yield f"{part}: near", min(_NEAR, behind)
        if behind == 0:
            yield f"{part}: first", 1.0
            yield f"{part}: ahead", min(_FAR, *(score - other for other in self._best[part][1:2]), _FAR)
        if part in self._nothing.scores:
            over = max(-_MOST, min(_MOST, score - self._nothing.scores[part]))
            yield f"{part}: over nothing", over
            yield f"{part}: far over nothing", max(0.0, over - _FAR)
        if self._seconds > 0:
            yield f"{part}: fit", max(-_MOST, score / self._seconds)

    def _goes_on(self, each: Hypothesis) -> float:
        """How near another comes that has the same figures and then more, 0 to 1."""
        mine, near = self._figures[id(each)], 0.0
        if not mine:
            return 0.0
        for other in self.hypotheses:
            theirs = self._figures.get(id(other), "")
            if len(theirs) > len(mine) and theirs.startswith(mine):
                both = [part for part in self._best if part in each.scores and part in other.scores]
                near = max([near, *(math.exp(min(0.0, other.scores[p] - each.scores[p])) for p in both)])
        return near


def told_short(meaning: Meaning, context: Context, heard: str = "") -> bool:
    """Whether a reading has fewer decimals than its run's baseline was told with: its end may have been lost.

    It was not where its words (`heard`) go on past the point: "fifty two point zero".
    """
    if _PAST_POINT.search(heard):
        return False
    if not isinstance(meaning, Cut) or meaning.value is None or context.baseline is None:
        return False
    return decimals(meaning.value) < decimals(context.baseline)


def figures(text: str) -> str:
    """The figures of all numbers of a text, one after the other."""
    found, at, words = "", 0, [token.text for token in tokenise(text)]
    while at < len(words):
        longest = max(readings(words, at), key=lambda r: r.end, default=None)
        if longest is not None and (longest.end > at + 1 or words[at].isdigit() or words[at] not in HOMOPHONES):
            found += f"{longest.value:g}".replace(".", "")
        at = longest.end if longest is not None else at + 1
    return found


def unrepeated(text: str) -> str:
    """A text whose sentences stand once each: unconstrained listeners that run on say everything again."""
    sentences = re.split(r"(?<=[.!?])\s+", text)
    return " ".join({re.sub(r"[^a-z0-9.]", "", each.lower()).strip("."): each for each in reversed(sentences)}.values())


def unfinished(text: str) -> bool:
    """Whether a number has still to come: "photo overhead cylinder", "31 point"."""
    return _NAMED.search(text.strip()) is not None or _BROKEN_OFF.search(text.strip()) is not None
