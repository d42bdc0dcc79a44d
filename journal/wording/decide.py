"""What was heard in, a decision for each thing said out: take it, ask, or let it go, whichever costs least."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

from journal.facts import Baseline, Cut
from journal.hearing.types import Candidate
from journal.wording.belief import Belief, believe
from journal.wording.beside import told_plainly, understood_in_full
from journal.wording.evidence import told_short
from journal.wording.expect import expected
from journal.wording.figures import settings
from journal.wording.hypotheses import TYPED, in_words
from journal.wording.meanings import Refused
from journal.wording.numbers import spell
from journal.wording.say import describe, read_back
from journal.wording.tokens import tokenise
from journal.wording.types import Command, CommandWord, Context, Decision, Meaning, Number, Verdict
from journal.wording.understood import Piece, answers_nothing

_TELLS = (CommandWord.REPEAT, CommandWord.READ_BACK, CommandWord.MISSED, CommandWord.OUTLOOK)
_WAITS = (CommandWord.HOLD, CommandWord.CARRY_ON, CommandWord.SKIP, CommandWord.AGAIN)
_ANSWERS = (CommandWord.YES, CommandWord.NO, CommandWord.FIRST, CommandWord.SECOND, CommandWord.NEITHER)

_CHOOSE_FIRST = (CommandWord.YES, CommandWord.FIRST)
_TO = re.compile(r"\W*to\b", re.IGNORECASE)

NOTHING_FOR_IT = "not for the journal"
"""Why something is let go that makes no sense to the journal at all."""


def decide(
    candidates: Sequence[Candidate], context: Context, *, free_text: str = "", seconds: float = 0.0
) -> tuple[Decision, ...]:
    """What becomes of each thing said in one utterance, in the order said.

    Args:
        candidates: texts from all listeners, pooled.
        context: what the job so far leads one to expect; it can turn a take into a question, never into another value.
        free_text: what an unconstrained recogniser made of the same sound, where there is one.
        seconds: from its first to its last speech; 0 where that is not known.

    Returns:
        One decision for each thing said; a single `LET_GO` without a meaning when nothing was for the tool.
    """
    heard = (candidates[0].text.strip() if candidates else "") or free_text.strip()
    belief = believe(candidates, context, free_text, seconds)
    pieces = belief.said[0][0].pieces if belief.said else ()
    typed = all(each.listener == TYPED for each in candidates)
    choices = [_Choice(at, piece, belief, context, typed=typed) for at, piece in enumerate(pieces)]
    if not choices:
        return (_let_go(heard, NOTHING_FOR_IT),)
    if all(choice.lets_go for choice in choices):
        return (_let_go(heard, choices[0].why_not),)
    return tuple(choice.made for choice in choices)


def decide_text(text: str, context: Context) -> tuple[Decision, ...]:
    """The same for typed words: nothing in them sounds like anything else; what stands beside a number may doubt it."""
    found = decide((Candidate(text, 0.0, TYPED),), context)
    if all(d.verdict is Verdict.LET_GO for d in found) and (plainly := told_plainly(text)) != text:
        asked = decide((Candidate(plainly, 0.0, TYPED),), context)
        return tuple(replace(_in_doubt(d), heard=text) for d in asked) if all(d.meaning for d in asked) else found
    values = {value for d in found if (value := getattr(d.meaning, "value", None)) is not None}
    return found if understood_in_full(text, values) else _one_question(tuple(_in_doubt(d) for d in found))


def _one_question(decisions: tuple[Decision, ...]) -> tuple[Decision, ...]:
    """With several readings of one cylinder, one after another, asked about as one: "thirty eight to thirty nine"."""
    kept: list[Decision] = []
    for each in decisions:
        last = kept[-1] if kept else each
        one, other = last.meaning, each.meaning
        if isinstance(one, Cut) and isinstance(other, Cut) and _TO.match(each.heard):
            # "38 to 39": what is typed is the word, and no cylinder two.
            other = replace(other, cylinder=one.cylinder)
        alike = isinstance(one, Cut) and isinstance(other, Cut) and one.cylinder == other.cylinder and one != other
        if alike and other is not None and last.verdict is each.verdict is Verdict.ASK:
            others = (*last.alternatives, other)
            heard, prompt = f"{last.heard} {each.heard}", question(one, others) if one is not None else ""
            kept[-1] = replace(last, alternatives=others, heard=heard, prompt=prompt)
        else:
            kept.append(each)
    return tuple(kept)


def _in_doubt(decision: Decision) -> Decision:
    """A question about what has a number that was not understood in full; what has none stands."""
    meaning = decision.meaning
    if decision.verdict is not Verdict.TAKE or meaning is None or in_words(meaning):
        return decision
    if isinstance(meaning, Number) or (isinstance(meaning, Command) and meaning.value is not None):
        return _again(decision.heard, decision.certainty)
    return doubted(decision)


def said_twice(before: Decision | None, decision: Decision, context: Context) -> Decision | None:
    """A command or a number that had to be said again and was heard alike both times; none where that settles nothing.

    It is taken where both hearings being wrong would cost less than to ask a third time.

    Args:
        before: what came of the utterance before.
        decision: what came of this one.
        context: the job so far.
    """
    if before is None or any(
        each.verdict is not Verdict.ASK or each.meaning is not None for each in (before, decision)
    ):
        return None
    texts = {" ".join(token.text for token in tokenise(each.heard)) for each in (before, decision)}
    costs = settings()["costs"]
    if len(texts) > 1 or (1.0 - before.certainty) * (1.0 - decision.certainty) * costs["change"] > costs["again"]:
        return None
    [*others, last] = decide_text(decision.heard, context)
    if others or last.verdict is not Verdict.TAKE or not isinstance(last.meaning, Command | Number):
        return None
    return replace(last, certainty=decision.certainty)


def doubted(decision: Decision) -> Decision:
    """A question about what would have been entered."""
    if decision.verdict is not Verdict.TAKE or decision.meaning is None or isinstance(decision.meaning, Command):
        return decision
    return replace(decision, verdict=Verdict.ASK, prompt=question(decision.meaning, decision.alternatives))


def shifted(chance: float, offset: float) -> float:
    """A chance with something added to its log-odds."""
    return 1.0 / (1.0 + math.exp(-offset) * (1.0 - chance) / chance) if 0.0 < chance < 1.0 else chance


@dataclass
class _Choice:
    """What can become of one of the things said, and what that costs."""

    at: int
    """Which of them."""
    piece: Piece
    """The likeliest way to understand it."""
    belief: Belief
    """What all of the utterance may have been."""
    context: Context
    """The job so far."""
    typed: bool
    """Whether it was typed: asked for the same words again, one would type the same."""

    def __post_init__(self) -> None:
        self.costs = settings()["costs"]
        self.chances = _chances(self.at, self.belief)
        if answers_nothing(self.piece.meaning, self.context):
            # What makes no sense here may still be what was said; what does is then worth a question at most.
            self.piece = self._sensible() or self.piece
        self.doubted = self.piece.meaning != next(iter(self.chances))
        self.chance = self.chances[self.piece.meaning][1]
        if isinstance(self.piece.meaning, Number):
            self.chance = self._as_answer(self.piece.meaning)
        self.certainty = min(1.0, self.chance)
        if not self.typed and not isinstance(self.piece.meaning, Number | Command) and not in_words(self.piece.meaning):
            self.chance = shifted(self.certainty, self.context.speaker)
        self.made = self._decision()

    @property
    def lets_go(self) -> bool:
        """Whether nothing comes of it."""
        return self.made.verdict is Verdict.LET_GO

    @property
    def why_not(self) -> str:
        """Why nothing comes of it."""
        return self.made.reason

    def _decision(self) -> Decision:
        meaning, heard, costs = self.piece.meaning, self.piece.heard, self.costs
        lost = (costs["lost_words"] if in_words(meaning) else costs["lost"]) * (1.0 - self.belief.nothing)
        if isinstance(meaning, Refused):
            likely = self.chance >= settings()["question"]["worth_naming"]
            return _let_go(heard, meaning.reason if likely else NOTHING_FOR_IT)
        command = isinstance(meaning, Number) or (isinstance(meaning, Command) and meaning.value is None)
        idle = isinstance(meaning, Command) and meaning.word in _ANSWERS and not self.context.question_options
        named = () if command else self._named()
        unnamed = 1.0 - self.chance - sum(self.chances[m][1] for m in named)
        ways = {"take": self._if_wrong(meaning), "again": costs["again"], "let go": lost}
        if not command:
            ways["ask"] = costs["question"] + costs["unnamed"] * unnamed
        if idle or self.typed:
            del ways["again"]
        if idle and not self.typed:
            del ways["take"]
        partly = any(isinstance(other, Refused) for other in self.belief.said[0][0].meanings)
        if self.doubted or ((self.piece.asked or partly) and not command):
            del ways["take"]
        match min(ways, key=ways.__getitem__):
            case "take":
                return Decision(Verdict.TAKE, meaning, certainty=self.certainty, heard=heard)
            case "ask":
                told = expected(meaning, self.context)
                reason = "may have been heard wrongly" if told else "not what this job leads one to expect"
                prompt = question(meaning, named)
                return Decision(Verdict.ASK, meaning, named, self.certainty, heard, prompt, reason)
            case "again":
                return _again(heard, self.certainty)
        return _let_go(heard, "no question waits for it" if idle else NOTHING_FOR_IT)

    def _if_wrong(self, meaning: Meaning) -> float:
        """What taking it is expected to cost."""
        costs, nothing = self.costs, self.belief.nothing
        wrong = max(0.0, 1.0 - self.chance)
        if isinstance(meaning, Command):
            kind = "tell" if meaning.word in _TELLS else "wait" if meaning.word in _WAITS else "change"
            return wrong * costs[kind] * (self._doubt_of_first if meaning.word in _CHOOSE_FIRST else 1.0)
        if isinstance(meaning, Number):
            return wrong * costs["change"] + (0.0 if self._likely_answer(meaning) else costs["unexpected"])
        if in_words(meaning):
            return wrong * costs["words"]
        unasked = 0.0 if expected(meaning, self.context) else costs["unexpected"]
        unasked += costs["short"] if told_short(self.piece, self.context) else 0.0
        return (wrong - min(wrong, nothing)) * costs["entry"] + min(wrong, nothing) * costs["chat"] + unasked

    @property
    def _doubt_of_first(self) -> float:
        """The chance that the question's first option is wrong: an answer misheard for it does no harm where it is not.

        Where its sound alone would not have made it a question, something else did.
        """
        doubt = self.context.question_doubt
        return doubt if doubt * self.costs["entry"] >= self.costs["question"] else 1.0

    def _named(self) -> tuple[Meaning, ...]:
        """What else a question names, likeliest first."""
        least, most = settings()["question"]["worth_naming"], int(settings()["question"]["most"])
        others = [m for m, (_, chance) in self.chances.items() if chance >= least and m != self.piece.meaning]
        return tuple(m for m in others if not isinstance(m, Refused) and _choosable(m, self.piece.meaning))[:most]

    def _sensible(self) -> Piece | None:
        """The likeliest that makes sense here, where it is worth naming and no command."""
        least = settings()["question"]["worth_naming"]
        for meaning, (piece, chance) in self.chances.items():
            if chance >= least and not isinstance(meaning, Refused | Command | Number):
                return piece
        return None

    def _likely_answer(self, meaning: Number) -> bool:
        """Whether the waiting question names it, or the job leads one to expect it of what that question is about.

        Else it may be the reading of another cylinder.
        """
        asked = [option for option in self.context.question_options if isinstance(option, Cut | Baseline)]
        if not asked or meaning.value in self._options:
            return True
        return any(expected(replace(option, value=meaning.value), self.context) for option in asked if option.value)

    @property
    def _options(self) -> set[float | None]:
        """The numbers that a waiting question names."""
        return {getattr(option, "value", None) for option in self.context.question_options}

    def _as_answer(self, meaning: Number) -> float:
        """The chance of a number; of one that a waiting question names, against the others it names."""
        if meaning.value not in self._options:
            return self.chance
        out = sum(c for m, (_, c) in self.chances.items() if isinstance(m, Number) and m.value not in self._options)
        return self.chance / max(self.chance, 1.0 - out)


def _chances(at: int, belief: Belief) -> dict[Meaning | Refused, tuple[Piece, float]]:
    """For one of the things said, each thing it may be with its words and its chance, likeliest first."""
    found: dict[Meaning | Refused, tuple[Piece, float]] = {}
    length = len(belief.said[0][0].pieces)
    for each, chance in belief.said:
        if len(each.pieces) == length:
            piece, so_far = found.get(each.pieces[at].meaning, (each.pieces[at], 0.0))
            found[piece.meaning] = (piece, so_far + chance)
    likeliest = belief.said[0][0].pieces[at].meaning
    return dict(sorted(found.items(), key=lambda item: (item[0] != likeliest, -item[1][1])))


def _choosable(other: Meaning, meaning: Meaning | Refused) -> bool:
    """Whether a question about one can offer the other: another entry for an entry, another correction for one."""
    if isinstance(meaning, Command):
        return isinstance(other, Command) and other.value is not None
    return not isinstance(other, Command | Number)


def _let_go(heard: str, reason: str) -> Decision:
    return Decision(Verdict.LET_GO, None, certainty=0.0, heard=heard, reason=reason)


def _again(heard: str, certainty: float) -> Decision:
    """A question that no answer but the same words again can settle."""
    prompt = f"{heard.strip(' .,!?')}? Say it again."
    return Decision(Verdict.ASK, None, (), certainty, heard, prompt, "not clear: say it again")


def question(meaning: Meaning, alternatives: Sequence[Meaning]) -> str:
    """The question to put: "four: thirteen, or thirty?"."""
    if not alternatives:
        return f"{_asked_as(meaning)}?"
    other = alternatives[0]
    if isinstance(meaning, Cut) and isinstance(other, Cut) and meaning.cylinder == other.cylinder:
        values = ["no change" if m.value is None else spell(m.value) for m in (meaning, other)]
        return f"{spell(meaning.cylinder)}: {values[0]}, or {values[1]}?"
    return f"{_asked_as(meaning)}, or {_asked_as(other)}?"


def _asked_as(meaning: Meaning) -> str:
    """As it is read back, but free text in full: whether "noted" is right nobody could say."""
    return describe(meaning).rstrip(" .,!?") if in_words(meaning) else read_back(meaning)
