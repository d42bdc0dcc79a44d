"""Hypotheses with their features in, the chance of each out: the fitted model."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from journal.hearing.types import Candidate
from journal.wording.evidence import Evidence, Features
from journal.wording.figures import fitted
from journal.wording.hypotheses import Hypothesis, hypotheses, part_of
from journal.wording.types import Context


@dataclass(frozen=True)
class Belief:
    """What may have been said in one utterance."""

    said: tuple[tuple[Hypothesis, float], ...]
    """Each hypothesis by which something was said, with its chance, likeliest first."""
    nothing: float
    """The chance that nothing was said for the tool."""
    none: float
    """The chance that something was said that is none of these."""


def believe(candidates: Sequence[Candidate], context: Context, free_text: str = "", seconds: float = 0.0) -> Belief:
    """What may have been said, and how likely each is; see `journal.wording.decide.decide` for the arguments."""
    weights: Features = fitted()["weights"][parts(candidates)]
    told = gather(candidates, context, free_text, seconds)
    merits = [dot(weights, told.of(each)) for each in told.hypotheses]
    ranked = sorted(zip(told.hypotheses, merits, strict=True), key=lambda pair: -pair[1])
    none = dot(weights, told.of_none())
    top = max(none, ranked[0][1])
    chances = [(each, math.exp(merit - top)) for each, merit in ranked]
    total = math.exp(none - top) + sum(chance for _, chance in chances)
    return Belief(
        tuple((each, chance / total) for each, chance in chances if each.pieces),
        sum(chance for each, chance in chances if not each.pieces) / total,
        math.exp(none - top) / total,
    )


def gather(candidates: Sequence[Candidate], context: Context, free_text: str, seconds: float) -> Evidence:
    """The hypotheses about an utterance with what speaks for each."""
    every = hypotheses(candidates, free_text, context)
    tops: dict[str, str] = {}
    for each in sorted(candidates, key=lambda each: -each.score):
        if each.text:
            tops.setdefault(part_of(each.listener), each.text)
    return Evidence(every, tops, free_text, seconds, context)


def parts(candidates: Sequence[Candidate]) -> str:
    """Which of the fitted sets of weights is for these listeners: one for each set of parts they play."""
    played = {part_of(each.listener) for each in candidates} or {"text"}
    fit: list[str] = [name for name in fitted()["weights"] if played.issuperset(name.split("+"))]
    return max(fit, key=lambda name: name.count("+"))


def dot(weights: Features, features: Features) -> float:
    """The sum of the features, each times its weight."""
    return sum(weights.get(name, 0.0) * value for name, value in features.items())
