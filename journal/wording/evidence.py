"""Hypotheses in, named features of each out: what speaks for its having been said, by the sound alone.

What a listener holds likely comes as differences of its scores, which are natural logs. A feature that is not there is
missing, as its listener is, and counts nothing. `belief.json` says what each is and what it weighs; before a colon
stands the part that a listener plays.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence

from journal.facts import Cut
from journal.wording.expect import decimals, expected
from journal.wording.figures import fitted
from journal.wording.hypotheses import FREE, HEARD, Hypothesis, in_words
from journal.wording.meanings import Refused
from journal.wording.numbers import atoms
from journal.wording.pace import as_said, pace, syllables
from journal.wording.sounds import likeness
from journal.wording.tokens import tokenise
from journal.wording.types import Command, Context, Number
from journal.wording.understood import Piece, ways

Features = dict[str, float]

_BEST_FIRST = ("ear", "whisper", "pocketsphinx")
_TORN_PART, _TORN = "ear", 2.0
"""Between two things within this of each other, natural log, the ear is torn; Whisper's weights were fitted without."""
_WRITE_ONLY = ("text", "typed")
"""Parts of listeners whose scores say nothing but how they share what they wrote."""

BY_PARTS = "by parts: "
"""Before the name of a feature of what was understood by its parts: listeners that are held to phrases do not have it,
so that the same evidence tells something else of it. It counts beside the feature itself."""

_NAMED = re.compile(r"\b(?:cylinders?|number)[.,]?$", re.IGNORECASE)
_PAST_POINT = re.compile(r"\b(?:point|decimal)\s+[a-z0-9]|[0-9]\.[0-9]", re.IGNORECASE)
_BROKEN_OFF = re.compile(r"(?:\b(?:point|decimal)|[0-9](?:\.{2,}|…|-))[.,]?$", re.IGNORECASE)


class Evidence:
    """What speaks for each hypothesis about one utterance."""

    def __init__(
        self,
        all_of_them: Sequence[Hypothesis],
        tops: Mapping[str, str],
        free_text: str,
        seconds: float,
        context: Context,
    ) -> None:
        """Gather.

        Args:
            all_of_them: the hypotheses, nothing for the tool among them.
            tops: the likeliest text of the listener in each part.
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
        by_part = {part: [each for each in said if part in each.scores] for part in self._parts}
        self._best = {part: max(each.scores[part] for each in some) for part, some in by_part.items() if some}
        self._rivals = {
            part: [each.scores[part] for each in some if part not in each.mended and sensible(each)]
            for part, some in by_part.items()
        }
        self._tops = {part: unrepeated(text) for part, text in tops.items()}
        self._written = next((self._nothing.scores[part] for part in _BEST_FIRST if part in self._nothing.scores), None)
        self._settled = _settled(self._rivals.get(_TORN_PART, ()))
        freely = [each for each in all_of_them if FREE in each.scores and FREE not in each.mended]
        self._freely = max(freely, key=lambda each: each.scores[FREE], default=None)
        self._cut_off = {
            ways(text, context)[0].meanings for text in (*tops.values(), self._free_text) if unfinished(text)
        }

    def of(self, each: Hypothesis) -> Features:
        """Its features by name; those that are 0 are left out."""
        told = dict(self._of_nothing() if not each.pieces else self._of_said(each))
        most = fitted()["most"]
        ends = {name: most.get(name, most.get(name.split(": ")[-1], math.inf)) for name in told}
        told = {name: max(-ends[name], min(ends[name], value)) for name, value in told.items() if value}
        if any(piece.by_parts for piece in each.pieces):
            told |= {
                f"{BY_PARTS}{name}": value for name, value in (*told.items(), ("one", 1.0), *self._of_written(each))
            }
        return told

    def of_none(self) -> Features:
        """Those of its having been none of the hypotheses; all that the job has a say in."""
        first = self._likeliest()
        meanings = [m for m in first.meanings if not isinstance(m, Refused)] if first is not None else []
        unexpected = any(not expected(meaning, self._context) for meaning in meanings)
        short = first is not None and any(told_short(piece, self._context) for piece in first.pieces)
        told = {
            "none": 1.0,
            "unexpected": float(unexpected),
            "short": float(short),
            "stretched": self._stretched(first),
        }
        return told | {
            f"{part}: many": float(len(scores)) for part, scores in self._rivals.items() if part not in _WRITE_ONLY
        }

    def _stretched(self, first: Hypothesis | None) -> float:
        """Whether the words are far from what can be said, by what each thing said costs: it may be something else."""
        if first is None or isinstance(first.meanings[0], Command | Number):
            return 0.0
        return float(first.cost / len(first.pieces) > fitted()["from"]["stretched"])

    def _likeliest(self) -> Hypothesis | None:
        """What the listener that hears best holds the likeliest thing said."""
        for part in (*_BEST_FIRST, *self._parts):
            if part in self._best:
                return next(h for h in self.hypotheses if h.pieces and h.scores.get(part) == self._best[part])
        return None

    def _apart(self, each: Hypothesis) -> float:
        """How far the ear holds it below what it writes freely, 0 to 1: what is hardly less likely is not unlike it."""
        return min(1.0, max(0.0, -each.scores.get(_TORN_PART, -_TORN)) / _TORN)

    def _words(self, each: Hypothesis) -> float:
        """How many words it has, as said; without the ear as written, as the others' weights were fitted so."""
        return float(len(as_said(each.heard) if _TORN_PART in self._parts else tokenise(each.heard)))

    def _of_nothing(self) -> Iterator[tuple[str, float]]:
        yield "nothing", 1.0
        for part in self._parts:
            senseless = self._nothing.senseless.get(part, -math.inf)
            yield f"{part}: senseless", float(senseless > self._best.get(part, -math.inf))
            if part not in self._nothing.scores:
                yield f"{part}: lacks nothing", 1.0
            elif part in _WRITE_ONLY:
                yield f"{part}: share", self._nothing.scores[part]
                yield f"{part}: unsaid", float(part in self._best)
        if self._free_text:
            unsaid = self._freely is not None and bool(self._freely.pieces)
            words = unechoed(self._free_text)
            yield "unsaid", float(unsaid)
            yield "words", 0.0 if unsaid else float(len(words))
            yield "figures", float(any(atoms(word) for word in words))

    def _of_said(self, each: Hypothesis) -> Iterator[tuple[str, float]]:
        for part in self._parts:
            yield from self._of_part(part, each)
        if self._free_text:
            yield "same", self._settled * float(self._freely is each)
            other = FREE not in each.scores and self._freely is not None and bool(self._freely.pieces)
            yield "other", self._settled * float(other)
            yield "unlike", self._apart(each) * (1.0 - likeness(each.heard, self._free_text))
        off = pace(each.heard, self._seconds)
        yield ("slow", off) if off > 0 else ("fast", -off)
        if off > 0 and len(each.pieces) == 1:
            yield "slow number", off * off * float(isinstance(each.meanings[0], Number))
        yield "cost", each.cost
        yield "pieces", float(len(each.pieces) - 1)
        yield "unfinished", float(each.meanings in self._cut_off and not in_words(each.meanings[-1]))
        yield "heard for", each.worth
        yield each.how, float(each.how != HEARD)
        for part, how in each.mended.items():
            yield f"{part}: {how}", float(each.how == HEARD)
        yield "a number", float(isinstance(each.meanings[0], Number))
        yield "a command", float(isinstance(each.meanings[0], Command))
        yield "strange", float(any(piece.strange for piece in each.pieces))
        yield "idle", float(any(piece.idle for piece in each.pieces))
        yield "long", self._words(each)
        yield "free words", float(in_words(each.meanings[0]))
        yield "unopened", float(in_words(each.meanings[0]) and bool(self._free_text) and FREE not in each.scores)

    def _of_written(self, each: Hypothesis) -> Iterator[tuple[str, float]]:
        """How sure of its free text a listener is that writes one, where that means it: nothing lies a margin below."""
        if FREE in each.scores and self._written is not None:
            yield "written", self._written
            yield "written by words", 10 * self._written / len(as_said(self._free_text))

    def _of_part(self, part: str, each: Hypothesis) -> Iterator[tuple[str, float]]:
        """What the listener in this part has to say of it."""
        if text := self._tops.get(part, ""):
            longer = math.log(max(1, syllables(text)) / max(1, syllables(each.heard)))
            yield f"{part}: longer", max(0.0, longer)
            yield f"{part}: unlike", 1.0 - likeness(each.heard, text)
        if part not in each.scores:
            yield f"{part}: lacks", 1.0
            return
        score = each.scores[part]
        if part in _WRITE_ONLY:
            yield f"{part}: share", score
            return
        behind = self._best[part] - score
        yield f"{part}: behind", behind
        yield f"{part}: near", behind
        if behind == 0:
            yield f"{part}: first", self._settled if part == _TORN_PART else 1.0
            yield (
                f"{part}: ahead",
                score - max((other for other in self._rivals[part] if other < score), default=-math.inf),
            )
        if part in self._nothing.scores:
            over = score - self._nothing.scores[part]
            yield f"{part}: over nothing", over
            yield f"{part}: over by words", over * self._words(each) / 10
            yield f"{part}: over alone", over if len(self._rivals[part]) == 1 else 0.0
        if self._seconds > 0:
            yield f"{part}: fit", score / self._seconds


def _settled(rivals: Sequence[float]) -> float:
    """How much it counts what the ear holds likeliest, and what it writes freely, 0 to 1.

    Little where it is torn between two of these, natural log, as it writes one of them then.
    """
    first, *others = sorted(rivals, reverse=True) or [0.0]
    return min(1.0, (first - others[0]) / _TORN) if others else 1.0


def sensible(each: Hypothesis) -> bool:
    """Whether something may come of it: it makes sense here, and is no number that nothing waits for."""
    return not any(piece.idle or isinstance(piece.meaning, Refused) for piece in each.pieces)


def told_short(piece: Piece, context: Context) -> bool:
    """Whether a reading has fewer decimals than its run's baseline was told with: its end may have been lost."""
    meaning = piece.meaning
    if _PAST_POINT.search(piece.heard):
        return False
    if not isinstance(meaning, Cut) or meaning.value is None or context.baseline is None:
        return False
    return decimals(meaning.value) < decimals(context.baseline)


def unrepeated(text: str) -> str:
    """A text whose sentences stand once each: unconstrained listeners that run on say everything again."""
    sentences = re.split(r"(?<=[.!?])\s+", text)
    return " ".join({re.sub(r"[^a-z0-9.]", "", each.lower()).strip("."): each for each in reversed(sentences)}.values())


def unechoed(text: str) -> list[str]:
    """The words of a text that begins again and goes on so to its end, as listeners that run on write it, once."""
    words = [token.text for token in tokenise(text)]
    return next((words[:n] for n in range(1, len(words)) if words[n:] == words[:-n]), words)


def unfinished(text: str) -> bool:
    """Whether a number has still to come: "photo overhead cylinder", "31 point"."""
    return _NAMED.search(text.strip()) is not None or _BROKEN_OFF.search(text.strip()) is not None
