"""What was heard in, a decision for each thing said out: take it, ask, or let it go."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

from journal.facts import Cut, JobFact, Note, RepairDone
from journal.hearing.types import Candidate
from journal.wording.doubt import LIKE, TYPED, Piece, Understanding, understand
from journal.wording.expect import BELIEVABLE, believable, told_short
from journal.wording.meanings import Refused
from journal.wording.network import ending, phrase_begins
from journal.wording.numbers import HOMOPHONES, readings, spell
from journal.wording.pace import too_long
from journal.wording.say import describe, read_back
from journal.wording.sounds import likeness
from journal.wording.tokens import tokenise
from journal.wording.types import Command, CommandWord, Context, Decision, Meaning, Number, Verdict

TAKE_AT = 0.95
"""Certainty from which an entry is taken without a question."""

SHORT_AT = 0.97
"""The same for a reading with fewer decimals than its run's baseline."""

COMMAND_AT = 0.9
"""Certainty from which a command or an answer is acted on; below it is let go, as it can simply be said again."""

TELL_AT = 0.7
"""The same for commands that change nothing."""

ASK_AT = 0.3
"""Probability that something was meant for the tool, from which it is worth a question."""

_UNLIKE = 0.3
"""Likeness to an unconstrained text of the same sound below which it was something else."""

_DOUBTED = 0.85
"""Most certainty where the likeness is poor."""

_CLEAR = 0.8
"""Probability from which an unconstrained text alone is worth a question."""

_AT_A_STRETCH = 0.002
"""The same where a listener has weighed that nothing was said, and no question comes of it otherwise."""

_WORTH_A_REASON = 0.05
"""Probability from which something that makes no sense here is told why."""

_HARMLESS = (CommandWord.REPEAT, CommandWord.READ_BACK, CommandWord.MISSED, CommandWord.OUTLOOK)

_ANSWERS = (CommandWord.YES, CommandWord.NO, CommandWord.FIRST, CommandWord.SECOND, CommandWord.NEITHER)

_NOT_CLEAR = "not clear: say it again"

_NO_QUESTION = "no question waits for it"

_FREE = "free"
"""The listener's name for an unconstrained text."""

_RUN_TOGETHER = re.compile(r"(?<![0-9.])([1-9])[./]?([0-9]{2}(?:\.[0-9])?)(?![0-9])")

_NAMED = re.compile(r"\b(?:cylinders?|number)[.,]?$", re.IGNORECASE)

# "4, 30..." is how Whisper writes that it goes on.
_BROKEN_OFF = re.compile(r"(?:\b(?:point|decimal)|[0-9](?:\.{2,}|…|-))[.,]?$", re.IGNORECASE)

_HARDLY_LESS = 1.6
"""Most by which a text's score falls short of its listener's best when it counts too: a fifth as likely."""

_RIVAL = 0.5
"""Share of the likeliest meaning's chance from which another by the sound alone is asked about: context is no judge."""

_WORTH_NAMING = 0.005
_MOST_ALTERNATIVES = 2
_WORDS_BEGUN = 2
"""Words of a phrase after which it has been begun."""
_LOOKED_AT = 3


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
    heard = _best_text(candidates) or free_text.strip()
    if heard and heard == free_text.strip() and (free := _free_words(candidates, free_text, context)):
        return free
    ways = understand(candidates, context, free_text) if candidates else []
    best = next((w for w in ways if w.pieces), None)
    if best is None or sum(w.probability for w in ways if w.pieces) < ASK_AT:
        if free := _free_words(candidates, free_text, context):
            return free
        worth = _worth_asking(candidates)
        texts = [free_text, *(apart for c in worth for apart in figures_apart(c.text))]
        found = _only_asked(texts, context) or _end_asked(worth, context)
        if not found and _weighed(candidates):
            # Chat is hardly ever a phrase even at a stretch; a phrase in noise often is no more than that.
            found = _only_asked([free_text], context, _AT_A_STRETCH) or _begun(free_text)
        return found or _let_go(heard, _why_nothing(best))
    resembles = likeness(best.heard, free_text) if free_text.strip() else 1.0
    if resembles < _UNLIKE and not _weighed(candidates):
        return _only_asked([free_text], context) or _let_go(heard, f"sounds more like {free_text.strip()!r}")
    if context.baseline is not None and all(_answers_nothing(piece.meaning, context) for piece in best.pieces):
        unasked = replace(context, question_options=())
        texts = [apart for c in _worth_asking(candidates) for apart in figures_apart(c.text)]
        found = _only_asked(texts, unasked) or _only_asked([free_text], unasked, _AT_A_STRETCH)
        if found or (found := _second_best(ways, unasked)):
            return found
    lost = _goes_on(best, candidates, context, free_text) or too_long(best.heard, seconds)
    alike = resembles >= LIKE or best.agreed
    trusted = alike and not lost and not best.alone and not best.outdone
    ceiling = 1.0 if trusted else _DOUBTED
    typed = all(c.listener == TYPED for c in candidates)
    made = tuple(_one(at, best, ways, context, ceiling, typed=typed) for at in range(len(best.pieces)))
    if not _weighed(candidates):
        return made
    return tuple(_again(d.heard, d.certainty) if _unclear(d) else d for d in made)


def _answers_nothing(meaning: Meaning | Refused, context: Context) -> bool:
    """Whether it makes no sense here, or is a number that the waiting question does not name."""
    if isinstance(meaning, Number) and context.question_options and not context.expects_number:
        return meaning.value not in _options(context)
    return isinstance(meaning, Refused)


def _options(context: Context) -> set[float | None]:
    """The numbers that a waiting question names."""
    return {getattr(option, "value", None) for option in context.question_options}


def _goes_on(best: Understanding, candidates: Sequence[Candidate], context: Context, free_text: str) -> bool:
    """Whether more may have been said than was understood: further figures, or a number that is wanting."""
    figures, last = _figures(best.heard), best.pieces[-1].meaning
    by_score = sorted(candidates, key=lambda c: c.score)
    tops = {c.listener: c.text for c in by_score}
    if len(_figures(_unrepeated(free_text))) > len(figures):
        return True
    if not _in_words(last) and any(_wants_number(text) for text in (free_text, *tops.values())):
        return True
    if isinstance(last, Refused) or not (told_short(last, context) or figures.endswith("0")):
        return False
    least = {c.listener: c.score - _HARDLY_LESS for c in by_score}
    near = {_figures(c.text) for c in candidates if c.score > least[c.listener]}
    return any(each.startswith(figures) for each in near - {figures})


def _wants_number(text: str) -> bool:
    """Whether a number has still to come: "photo overhead cylinder", "31 point", but not "leaks to next cylinder"."""
    text = text.strip()
    named = _NAMED.search(text) is not None and ending([token.text for token in tokenise(text)]) is None
    return named or _BROKEN_OFF.search(text) is not None


def _unclear(decision: Decision) -> bool:
    return decision.reason == _NOT_CLEAR and decision.certainty >= ASK_AT


def _weighed(candidates: Sequence[Candidate]) -> bool:
    """Whether a listener has weighed that nothing was said for the tool."""
    return any(not candidate.text for candidate in candidates)


def _worth_asking(candidates: Sequence[Candidate]) -> list[Candidate]:
    """Those that a listener holds likelier than that nothing was said; all, where none has weighed it."""
    nothing = {c.listener: c.score for c in candidates if not c.text}
    return [c for c in candidates if not nothing or c.score > nothing.get(c.listener, 0.0)]


def _free_words(candidates: Sequence[Candidate], free_text: str, context: Context) -> tuple[Decision, ...]:
    """A note or the like: a listener held to the phrases hears how it begins, the unconstrained text has the rest."""
    said = [token.text for token in tokenise(free_text)]
    begun = [[token.text for token in tokenise(candidate.text)] for candidate in candidates]
    ways = (
        understand((Candidate(free_text, 0.0, _FREE),), context)
        if any(b and b == said[: len(b)] for b in begun)
        else []
    )
    best = ways[0] if ways else None
    if best is None or len(best.pieces) != 1:
        return ()
    if not _in_words(best.pieces[0].meaning):
        return ()
    return (_one(0, best, ways, context, 1.0),)


def _why_nothing(best: Understanding | None) -> str:
    if best is not None and best.probability >= _WORTH_A_REASON:
        for piece in best.pieces:
            if isinstance(piece.meaning, Refused):
                return piece.meaning.reason
    return "not for the journal"


def _figures(text: str) -> str:
    """The figures of all numbers of a text, one after the other."""
    figures, at, words = "", 0, [token.text for token in tokenise(text)]
    while at < len(words):
        longest = max(readings(words, at), key=lambda r: r.end, default=None)
        if longest is not None and (longest.end > at + 1 or words[at].isdigit() or words[at] not in HOMOPHONES):
            figures += f"{longest.value:g}".replace(".", "")
        at = longest.end if longest is not None else at + 1
    return figures


def _unrepeated(text: str) -> str:
    """A text whose sentences stand once each: unconstrained listeners that run on say everything again."""
    sentences = re.split(r"(?<=[.!?])\s+", text.strip())
    return " ".join({re.sub(r"[^a-z0-9.]", "", each.lower()).strip("."): each for each in reversed(sentences)}.values())


def _let_go(heard: str, reason: str) -> tuple[Decision, ...]:
    return (Decision(Verdict.LET_GO, None, certainty=0.0, heard=heard, reason=reason),)


def _only_asked(texts: Sequence[str], context: Context, at_least: float = _CLEAR) -> tuple[Decision, ...]:
    """Questions from the first text that is a phrase, though no listener held to the phrases has heard it so."""
    for text in texts:
        ways = understand((Candidate(text, 0.0, _FREE),), context) if text.strip() else []
        best = next((way for way in ways if way.pieces), None)
        if best is not None and best.probability >= at_least:
            found = tuple(_one(at, best, ways, context, _DOUBTED) for at in range(len(best.pieces)))
            if all(d.verdict is Verdict.ASK for d in found):
                return found
    return ()


def _begun(free_text: str) -> tuple[Decision, ...]:
    """A question where an unconstrained text begins as a phrase does and then gets lost: "oil temperature identity"."""
    words = [token.text for token in tokenise(free_text)]
    end, literal = phrase_begins(words)
    return (_again(" ".join(words[:end]), ASK_AT),) if literal >= _WORDS_BEGUN else ()


def _second_best(ways: Sequence[Understanding], context: Context) -> tuple[Decision, ...]:
    """Questions from the likeliest way that makes sense here, where the likeliest of all does not."""
    for way in ways:
        if way.probability < _WORTH_A_REASON:
            break
        if way.pieces and not any(isinstance(piece.meaning, Refused) for piece in way.pieces):
            found = tuple(_one(at, way, ways, context, _DOUBTED) for at in range(len(way.pieces)))
            return found if all(d.verdict is Verdict.ASK for d in found) else ()
    return ()


def _end_asked(candidates: Sequence[Candidate], context: Context) -> tuple[Decision, ...]:
    """While a run goes on, questions from a text's end where its beginning was lost: "2, 4, 44.3" may be four, 44.3."""
    if context.baseline is None:
        return ()
    for candidate in candidates[:_LOOKED_AT]:
        if candidate.listener == TYPED:
            continue
        for first in tokenise(candidate.text)[1:_LOOKED_AT]:
            found = _only_asked([candidate.text[first.start :]], context)
            meanings = [d.meaning for d in found]
            if found and all(isinstance(m, Cut) and believable(m, context) >= BELIEVABLE for m in meanings):
                return found
    return ()


def figures_apart(text: str) -> list[str]:
    """A text whose figures were run together, with the cylinder's set apart: "438", "4.38" and "4/38" as "4 38"."""
    apart = _RUN_TOGETHER.sub(r"\1 \2", text)
    return [apart] if apart != text else []


def decide_text(text: str, context: Context) -> tuple[Decision, ...]:
    """The same for typed words: nothing in them sounds like anything else."""
    return decide((Candidate(text, 0.0, TYPED),), context)


def _best_text(candidates: Sequence[Candidate]) -> str:
    return candidates[0].text.strip() if candidates else ""


def _one(
    at: int,
    best: Understanding,
    ways: Sequence[Understanding],
    context: Context,
    ceiling: float,
    *,
    typed: bool = False,
) -> Decision:
    piece = best.pieces[at]
    chances = _chances(at, best, ways)
    meaning = piece.meaning
    certainty = chances[meaning]
    others = [m for m in chances if m != meaning and not isinstance(m, Refused)]
    if isinstance(meaning, Refused):
        return Decision(Verdict.LET_GO, None, certainty=0.0, heard=piece.heard, reason=meaning.reason)
    if isinstance(meaning, Number) or (isinstance(meaning, Command) and meaning.value is None):
        return _command(piece, meaning, min(_as_answer(meaning, chances, context), ceiling), context)
    weighed = {m: chances[m] * believable(m, context) for m in (meaning, *others)}
    missing = max(0.0, 1.0 - sum(chances.values()))
    certainty = min(ceiling, weighed[meaning] / (sum(weighed.values()) + missing))
    believed = believable(meaning, context) >= BELIEVABLE
    rivals = {m for m in others if chances[m] >= _RIVAL * chances[meaning]}
    enough = SHORT_AT if told_short(meaning, context) else TAKE_AT
    asked = piece.asked or (piece.strange and not typed)
    if believed and certainty >= enough and not rivals and not asked:
        return Decision(Verdict.TAKE, meaning, certainty=certainty, heard=piece.heard)
    least = _WORTH_NAMING * max(weighed.values())
    worth = (m for m in others if (weighed[m] > least or m in rivals) and _choosable(m, meaning))
    named = sorted(worth, key=lambda m: -weighed[m])
    alternatives = tuple(named[:_MOST_ALTERNATIVES])
    return Decision(
        Verdict.ASK,
        meaning,
        alternatives,
        certainty,
        piece.heard,
        question(meaning, alternatives),
        "not what this job leads one to expect" if not believed else "may have been heard wrongly",
    )


def _choosable(other: Meaning, meaning: Meaning) -> bool:
    """Whether a question about one can offer the other: another entry for an entry, another correction for one."""
    if isinstance(meaning, Command):
        return isinstance(other, Command) and other.value is not None
    return not isinstance(other, Command | Number)


def _chances(at: int, best: Understanding, ways: Sequence[Understanding]) -> dict[Meaning | Refused, float]:
    """For one of the things said, the probability of each thing it may be, by the sound alone."""
    chances: dict[Meaning | Refused, float] = {}
    for way in ways:
        if len(way.pieces) == len(best.pieces):
            meaning = way.pieces[at].meaning
            chances[meaning] = chances.get(meaning, 0.0) + way.probability
    return chances


def _as_answer(meaning: Command | Number, chances: dict[Meaning | Refused, float], context: Context) -> float:
    """Certainty of a command or a number; of one that a waiting question names, against the others it names."""
    values = _options(context)
    if not isinstance(meaning, Number) or meaning.value not in values:
        return chances[meaning]
    rivals = sum(chance for m, chance in chances.items() if not isinstance(m, Number) or m.value in values)
    return chances[meaning] / (rivals + max(0.0, 1.0 - sum(chances.values())))


def _command(piece: Piece, meaning: Command | Number, certainty: float, context: Context) -> Decision:
    harmless = isinstance(meaning, Command) and meaning.word in _HARMLESS
    if certainty >= (TELL_AT if harmless else COMMAND_AT):
        return Decision(Verdict.TAKE, meaning, certainty=min(1.0, certainty), heard=piece.heard)
    idle = isinstance(meaning, Command) and meaning.word in _ANSWERS and not context.question_options
    reason = _NO_QUESTION if idle else _NOT_CLEAR
    return Decision(Verdict.LET_GO, None, certainty=certainty, heard=piece.heard, reason=reason)


def _again(heard: str, certainty: float) -> Decision:
    """A question that no answer but the same words again can settle."""
    return Decision(Verdict.ASK, None, (), certainty, heard, f"{heard.strip(' .,!?')}? Say it again.", _NOT_CLEAR)


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
    return describe(meaning) if _in_words(meaning) else read_back(meaning)


def _in_words(meaning: Meaning | Refused) -> bool:
    return isinstance(meaning, Note | RepairDone) or (
        isinstance(meaning, JobFact) and meaning.field in ("complaint", "unit")
    )
