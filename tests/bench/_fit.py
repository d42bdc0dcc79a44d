"""What was kept of the listeners in, the weights of the decision out: `python -m tests.bench._fit FOLDER`.

A conditional logistic regression with a quadratic penalty over the hypotheses of each utterance: which of them was
said, nothing for the tool, or none of these. One set of weights for each set of listeners. Before it writes them
(`--write`), it says how each voice fares under weights fitted on the other voices.
"""

from __future__ import annotations

import argparse
import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize

import journal.wording.figures
from journal.hearing.types import Candidate
from journal.listening import Pooled
from journal.wording.belief import gather
from journal.wording.evidence import BY_PARTS, Features
from tests.bench._items import context, wanted
from tests.bench._judge import said_so
from tests.bench._kept import Cut, Heard, read

PENALTY = 0.1
"""Of the sum of the squared weights, in natural log."""
STRAY = 0.001
"""The share of utterances of which no feature tells what they are: a unit that a voice swallowed, a question that was
heard rightly and reads as a statement. Without it, four such of two thousand make all the others doubtful."""
_AGAINST = {
    "behind", "near", "lacks", "unlike", "other", "slow", "slow number", "fast", "cost", "unfinished", "longer",
    "unopened", "beginning lost", "run together", "twice", "opener", "strange", "idle",
}  # fmt: skip
_FOR = {
    "first", "ahead", "over nothing", "over by words", "over alone", "same", "unexpected", "short", "many",
    "free: run together", "free: twice", "whisper: run together", "whisper: twice", "ear: run together", "ear: twice",
}  # fmt: skip
"""Features that speak against a hypothesis, and for one, whatever a few examples say."""
_AT_MOST = {"beginning lost": -2.0, "ear: near": -1.0}
"""Weights that are no more than this, as few examples tell: what was lost may have been anything, and between two
things that are near each other a listener's own odds count in full."""
LEAST = 6
"""A feature that fewer utterances have gets no weight."""
_FAINT = 0.01
"""Nor does one that would weigh less."""

Floats = npt.NDArray[np.float64]

_BETTER = "better"
"""Stands for the one of the two that is kept, the ear or Whisper."""
SETS: dict[str, tuple[str, ...]] = {
    "both": (_BETTER, "pocketsphinx"),
    "better": (_BETTER,),
    "pocketsphinx": ("pocketsphinx",),
    "text": (),
}
"""For each set of weights its listeners; `text` stands for any that only writes a text."""
_OF_WHISPER = ("pocketsphinx", "text")
"""Fitted where Whisper is kept as it comes."""


TALK = {"text": 12.0}
"""How many times talk counts, beside what is said for the tool, where a set of listeners cannot tell them apart by ear.

Beside the tool there is more talk than was recorded to fit on."""


@dataclass(frozen=True)
class Example:
    """One utterance: the features of each hypothesis, the last of them none of these, and which it was."""

    voice: str
    rows: tuple[Features, ...]
    true: tuple[bool, ...]
    weight: float = 1.0


def pooled(cut: Cut, listeners: Sequence[str]) -> Pooled:
    """What a set's listeners made of an utterance."""
    if not listeners:
        return Pooled((Candidate(cut.hearings[cut.better].free_text, 0.0, "dictation"),))
    return cut.pooled([cut.better if name == _BETTER else name for name in listeners])


def examples(kept: Sequence[Heard], listeners: Sequence[str], talk: float = 1.0) -> list[Example]:
    """What can be learnt from; a phrase that was cut in two is left out, as nobody knows which part said what."""
    found = []
    for heard in kept:
        if len(heard.cuts) != 1:
            continue
        one, here = pooled(heard.cuts[0], listeners), context(heard.item.context)
        told = gather(one.candidates, here, one.free_text, one.seconds)
        true = [said_so(each.meanings, wanted(heard.item)) for each in told.hypotheses]
        rows = (*(told.of(each) for each in told.hypotheses), told.of_none())
        found.append(Example(heard.item.voice, rows, (*true, not any(true)), 1.0 if wanted(heard.item) else talk))
    return found


def fit(learnt: Sequence[Example], penalty: float = PENALTY, held: Features | None = None) -> Features:
    """The weights under which what was said was likeliest, but for a share of strays, `STRAY`.

    Args:
        learnt: what to learn from.
        penalty: of the squared weights.
        held: weights that stay as they are; only the others are fitted.
    """
    often = Counter(name for each in learnt for name in {name for row in each.rows for name in row})
    names = sorted(name for name, count in often.items() if count >= LEAST)
    place = {name: at for at, name in enumerate(names)}
    table = np.zeros((sum(len(each.rows) for each in learnt), len(names)))
    starts, at = [], 0
    for each in learnt:
        starts.append(at)
        for row in each.rows:
            for name, value in row.items():
                if name in place:
                    table[at, place[name]] = value
            at += 1
    true = np.concatenate([each.true for each in learnt])
    weight = np.array([each.weight for each in learnt])
    of = np.repeat(np.arange(len(learnt)), np.diff([*starts, at]))

    def loss(weights: Floats) -> tuple[float, Floats]:
        merit = table @ weights
        top = np.maximum.reduceat(merit, starts)[of]
        odds = np.exp(merit - top)
        odds_true = np.where(true, odds, 1e-300)
        total, total_true = np.add.reduceat(odds, starts), np.add.reduceat(odds_true, starts)
        chance = total_true / total
        with_strays = STRAY + (1.0 - STRAY) * chance
        pull = weight * (1.0 - STRAY) * chance / with_strays
        slope = table.T @ (pull[of] * (odds / total[of] - np.where(true, odds, 0.0) / total_true[of]))
        value = -float(np.sum(weight * np.log(with_strays)))
        return value + penalty * float(weights @ weights), slope + 2 * penalty * weights

    stay = held or {}
    bounds = [(stay[name], stay[name]) if name in stay else _bounds(name) for name in names]
    found = minimize(
        loss, np.array([stay.get(name, 0.0) for name in names]), jac=True, method="L-BFGS-B", bounds=bounds
    ).x
    weights = {name: round(float(weight), 3) for name, weight in zip(names, found, strict=True)}
    return {name: weight for name, weight in weights.items() if abs(weight) >= _FAINT}


def _held(learnt: Sequence[Example], weights: Features, new: Sequence[str]) -> Features | None:
    """The weights that stay where only some features are new; none where all are fitted."""
    names = {name for each in learnt for row in each.rows for name in row if not name.startswith(tuple(new))}
    return {name: weights.get(name, 0.0) for name in names} if new else None


def _bounds(name: str) -> tuple[float | None, float | None]:
    """Between which values a feature's weight may lie."""
    what = name.split(": ")[-1]
    if name.startswith(BY_PARTS):
        return None, None
    if name in _AT_MOST:
        return None, _AT_MOST[name]
    if name in _FOR or what in _FOR:
        return 0.0, None
    return (None, 0.0) if what in _AGAINST else (None, None)


def chances(weights: Features, each: Example) -> Floats:
    """The chance of each of its hypotheses."""
    merit = np.array([sum(weights.get(name, 0.0) * value for name, value in row.items()) for row in each.rows])
    odds: Floats = np.exp(merit - merit.max())
    return odds / odds.sum()


def across(learnt: Sequence[Example], penalty: float, folds: int = 5) -> list[tuple[float, bool, str]]:
    """For each utterance, under weights fitted on other voices: its likeliest's chance, and whether it was said."""
    voices = sorted({each.voice for each in learnt})
    found = []
    for fold in range(folds):
        held = set(voices[fold::folds])
        if not any(each.voice in held for each in learnt):
            continue
        weights = fit([each for each in learnt if each.voice not in held], penalty)
        for each in learnt:
            if each.voice in held:
                made = chances(weights, each)
                found.append((float(made.max()), bool(each.true[int(made.argmax())]), each.voice))
    return found


def reliability(found: Sequence[tuple[float, bool]]) -> list[str]:
    """A line for each band of chances: how many, and how many of them were right."""
    edges = (0.0, 0.5, 0.7, 0.8, 0.9, 0.95, 0.98, 0.99, 1.0001)
    lines = []
    for low, high in pairwise(edges):
        some = [right for chance, right in found if low <= chance < high]
        if some:
            share = 100 * sum(some) / len(some)
            lines.append(f"certainty {low:.2f} to {min(high, 1):.2f}: {len(some):5}, right {share:5.1f} %")
    return lines


def main() -> None:
    """Fit, and say how well."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("--write", action="store_true")
    ask.add_argument("--only", default="", help="one set of listeners")
    ask.add_argument("--penalty", type=float, default=PENALTY)
    ask.add_argument(
        "--new",
        action="append",
        default=[],
        help="how features begin that are fitted alone",
    )
    ask.add_argument("--also", default="", help="what else of the folder to fit on: looked-at")
    asked = ask.parse_args()
    kept = read(asked.folder, "fit") + (read(asked.folder, asked.also) if asked.also else [])
    told: dict[str, Any] = dict(journal.wording.figures.fitted())
    told["weights"] = dict(told["weights"])
    better = next(cut.better for heard in kept for cut in heard.cuts)
    for which, listeners in SETS.items():
        if asked.only not in ("", which) or (better != "whisper" and which in _OF_WHISPER):
            continue
        name = "+".join(sorted(better if each == _BETTER else each for each in listeners)) or which
        learnt = examples(kept, listeners, TALK.get(which, 1.0))
        print(
            f"{name}: {len(learnt)} utterances, {sum(each.true[-1] for each in learnt)} of them none of the hypotheses"
        )
        if not asked.new:
            held_out = across(learnt, asked.penalty)
            sure = [right for chance, right, _ in held_out if chance >= 0.98]
            print(f"surer than 0.98: {100 * len(sure) / len(learnt):.1f} % of them, {sure.count(False)} wrong")
            print("\n".join(reliability([(chance, right) for chance, right, _ in held_out])))
        stay = told["weights"][name] if asked.new else {}
        told["weights"][name] = stay | fit(learnt, asked.penalty, _held(learnt, stay, asked.new))
    made = {
        "on": datetime.now(UTC).strftime("%Y-%m-%d"),
        "utterances": len(kept),
        "voices": sorted({heard.item.voice for heard in kept}),
        "penalty": asked.penalty,
    }
    told["fitted"] = told["fitted"] | {", ".join((better, *asked.new)): made}
    if asked.write:
        place = Path(journal.wording.figures.__file__).with_name("belief.json")
        place.write_text(json.dumps(told, indent=1, sort_keys=True) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
