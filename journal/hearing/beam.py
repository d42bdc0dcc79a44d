"""One encoded utterance and what may be written, turned into the best texts: a beam search held to the grammar.

An unconstrained text of the same sound is written alongside, in the same runs of the decoder: what chat would score.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from journal.hearing.decoder import Decoder, Heard
from journal.hearing.modelfile import Floats
from journal.hearing.writing import Writing


@dataclass(frozen=True)
class Search:
    """How wide and how long to look."""

    beams: int = 8
    """Texts followed side by side."""
    free_beams: int = 1
    """Unconstrained texts followed alongside; none to write no such text."""
    longest: int = 40
    """Most tokens in a text."""
    behind: float = 8.0
    """A text so much less likely than the best finished one is given up, natural log."""
    hopeless: float = 16.0
    """A text so much less likely than the finished unconstrained one is given up, natural log."""


@dataclass(frozen=True)
class Written:
    """A finished text."""

    tokens: tuple[int, ...]
    """Its tokens, without the end mark."""
    score: float
    """Log-probability of its tokens and of ending there."""
    ending: float = 0.0
    """The part of it that is for ending there; low where sound is left unexplained."""


@dataclass(frozen=True)
class _Open:
    tokens: tuple[int, ...]
    score: float
    state: int
    """State of the writing; -1 for an unconstrained text."""
    row: int
    """Which row of the decoder's memory it goes on from."""


def search(
    decoder: Decoder,
    heard: Heard,
    prompt: list[int],
    writing: Writing,
    end: int,
    how: Search,
    banned: npt.NDArray[np.int64],
) -> tuple[list[Written], list[Written]]:
    """The best texts that the grammar allows, and the best that anything allows; best first.

    Args:
        decoder: the model.
        heard: the utterance.
        prompt: tokens before the text.
        writing: what may be written.
        end: the token that ends a text.
        how: width and length.
        banned: tokens that no unconstrained text may hold.
    """
    texts = decoder.begin(heard, prompt)
    held = [_Open((), 0.0, 0, 0)]
    free = [_Open((), 0.0, -1, 0)] if how.free_beams else []
    done: list[Written] = []
    done_free: list[Written] = []
    for length in range(how.longest):
        scores = texts.scores
        held = _grow_held(held, scores, writing, end, how, done)
        free = _grow_free(free, scores, end, how, banned, done_free, first=length == 0)
        held = _still_worth(held, _bar(done, how.beams, how.behind))
        held = _still_worth(held, _bar(done_free, 1, how.hopeless))
        free = _still_worth(free, _bar(done_free, how.free_beams, 0.0))
        if not held:
            # Nothing is learnt from an unconstrained text that is already behind the best held one.
            free = _still_worth(free, _bar(done, 1, 0.0))
        both = [*held, *free]
        if not both:
            break
        texts = decoder.step(heard, texts, [each.row for each in both], [each.tokens[-1] for each in both])
        held = [_Open(each.tokens, each.score, each.state, row) for row, each in enumerate(held)]
        free = [_Open(each.tokens, each.score, -1, len(held) + row) for row, each in enumerate(free)]
    return sorted(done, key=_worst_last), sorted(done_free, key=_worst_last)


def _worst_last(text: Written) -> float:
    return -text.score


def _grow_held(
    texts: list[_Open], scores: Floats, writing: Writing, end: int, how: Search, done: list[Written]
) -> list[_Open]:
    found: list[tuple[float, _Open, int]] = []
    for text in texts:
        options = writing.options(text.state)
        if options.may_end:
            ending = float(scores[text.row, end])
            done.append(Written(text.tokens, text.score + ending, ending))
        if not len(options.tokens):
            continue
        totals = text.score + scores[text.row, options.tokens]
        kept = 0
        for index in np.argsort(-totals):
            token = int(options.tokens[index])
            if writing.after(options, token) >= 0:
                found.append((float(totals[index]), text, token))
                kept += 1
            if kept == how.beams:
                break
    found.sort(key=lambda each: -each[0])
    return [
        _Open((*text.tokens, token), score, writing.after(writing.options(text.state), token), text.row)
        for score, text, token in found[: how.beams]
    ]


def _grow_free(
    texts: list[_Open],
    scores: Floats,
    end: int,
    how: Search,
    banned: npt.NDArray[np.int64],
    done: list[Written],
    first: bool,
) -> list[_Open]:
    found = []
    for text in texts:
        row = scores[text.row].copy()
        row[banned] = -np.inf
        if first:
            row[end] = -np.inf
        best = np.argpartition(-row, how.free_beams)[: how.free_beams + 1]
        for token in best[np.argsort(-row[best])]:
            grown = _Open((*text.tokens, int(token)), text.score + float(row[token]), -1, text.row)
            if token == end:
                done.append(Written(text.tokens, grown.score, float(row[token])))
            else:
                found.append(grown)
    found.sort(key=lambda each: -each.score)
    return found[: how.free_beams]


def _bar(done: list[Written], enough: int, behind: float) -> float:
    """The score below which an open text cannot come out among the best: scores only ever fall as a text grows."""
    if not done:
        return -np.inf
    scores = sorted((text.score for text in done), reverse=True)
    return max(scores[0] - behind, scores[enough - 1] if len(scores) >= enough else -np.inf)


def _still_worth(texts: list[_Open], bar: float) -> list[_Open]:
    return [text for text in texts if text.score > bar]
