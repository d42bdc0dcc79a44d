"""What may have been said has a chance each, by fitted weights that all count, and the job has no say in which it was.

`hearings.jsonl` holds what Whisper, or the ear, and PocketSphinx made of some phrases and some chat in the voices of
the hearing benchmark that the weights are fitted on, a line each: what was said (nothing for chat), what each heard.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypothesis_settings
from hypothesis import strategies as st

from journal.facts import Cut, Engine
from journal.hearing.types import Candidate
from journal.wording import Context, belief, decide, figures
from journal.wording.belief import believe, gather
from journal.wording.evidence import Evidence
from journal.wording.types import Decision

TENTHS = Context(engine=Engine(6), baseline=31.5, next_cylinder=3)


@dataclass(frozen=True)
class Utterance:
    """What was made of one."""

    said: str
    candidates: tuple[Candidate, ...]
    free_text: str
    seconds: float
    context: Context

    def by(self, listeners: str) -> Utterance:
        """What some of the listeners made of it; `text` stands for one that writes a text and no more."""
        if listeners == "text":
            return replace(self, candidates=(Candidate(self.free_text, 0.0, "dictation"),), free_text="", seconds=0.0)
        if listeners == "typed":
            return replace(self, candidates=(Candidate(self.free_text, 0.0, "typed"),), free_text="", seconds=0.0)
        kept = tuple(c for c in self.candidates if c.listener in listeners)
        return replace(self, candidates=kept, free_text="" if listeners == "pocketsphinx" else self.free_text)

    def heard_by(self, listeners: str) -> bool:
        """Whether each of them heard it."""
        return {"text", "typed", *(c.listener for c in self.candidates)}.issuperset(listeners.split("+"))

    def decided(self) -> tuple[Decision, ...]:
        """What becomes of it."""
        return decide(self.candidates, self.context, free_text=self.free_text, seconds=self.seconds)


def _read() -> Iterator[Utterance]:
    for line in Path(__file__).with_name("hearings.jsonl").read_text(encoding="utf-8").splitlines():
        told = json.loads(line)
        candidates = tuple(Candidate(text, score, listener) for listener, text, score in told["candidates"])
        context = replace(TENTHS, expects_number=told["awaited"])
        yield Utterance(told["said"], candidates, told["free"], told["seconds"], context)


HEARD = tuple(_read())
_WAITING = replace(TENTHS, question_options=(Cut(4, 13.0), Cut(4, 30.0)))
MORE = tuple(
    Utterance(text, (Candidate(text, 0.0, listener),), "", 0.0, context)
    for text in (
        "one two three four",
        "four cut thirty eight",
        "38",
        "41",
        "4 cut 438",
        "note oil leak",
        "3838",
        "hold on",
        "four cut thirty eight, five cut thirty nine",
    )
    for listener in ("typed", "whisper", "dictation")
    for context in (TENTHS, _WAITING, replace(TENTHS, expects_number=True))
)
"""Texts for which the figures of `deciding.toml` matter."""
WEIGHTS: dict[str, dict[str, float]] = figures.fitted()["weights"]


@pytest.fixture(scope="module")
def every() -> dict[str, list[Utterance]]:
    """By set of listeners, what it made of everything."""
    found = {name: [each.by(name) for each in HEARD if each.heard_by(name)] for name in WEIGHTS}
    found["text"] += [each for each in MORE if each.candidates[0].listener == "dictation"]
    return found


def test_every_weight_has_a_feature_that_is_described() -> None:
    described = figures.fitted()["features"]
    for weights in WEIGHTS.values():
        assert {name.split(": ")[-1] for name in weights} <= set(described)


def test_chances_of_all_that_may_have_been_make_one(every: dict[str, list[Utterance]]) -> None:
    for each in every["pocketsphinx+whisper"]:
        found = believe(each.candidates, each.context, each.free_text, each.seconds)
        assert sum(chance for _, chance in found.said) + found.nothing + found.none == pytest.approx(1.0)


@pytest.fixture(scope="module")
def known(every: dict[str, list[Utterance]]) -> dict[object, Evidence]:
    """What speaks for each hypothesis about each of them: it is the same whatever that weighs."""
    return {
        (each.candidates, each.context, each.free_text): gather(
            each.candidates, each.context, each.free_text, each.seconds
        )
        for said in (*every.values(), MORE)
        for each in said
    }


@pytest.fixture
def quick(known: dict[object, Evidence], monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing is gathered twice."""
    monkeypatch.setattr(belief, "gather", lambda said, context, free, seconds: known[tuple(said), context, free])


def outcomes(said: list[Utterance]) -> Iterator[tuple[object, ...]]:
    """What becomes of each, without how certain it is."""
    for each in said:
        yield tuple((d.verdict, d.meaning, d.alternatives, d.prompt) for d in each.decided())


def anything_else(said: list[Utterance], before: list[tuple[object, ...]]) -> bool:
    """Whether something else becomes of one of them."""
    return any(now != was for now, was in zip(outcomes(said), before, strict=True))


@pytest.mark.parametrize("listeners", sorted(WEIGHTS))
@pytest.mark.usefixtures("quick")
def test_a_change_of_any_weight_changes_some_decision(
    listeners: str, every: dict[str, list[Utterance]], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = every[listeners]
    before = list(outcomes(said))
    without = []
    for name, weight in WEIGHTS[listeners].items():
        changed = False
        for other in (weight + 15.0, weight - 15.0):
            monkeypatch.setitem(WEIGHTS[listeners], name, other)
            changed = changed or anything_else(said, before)
        monkeypatch.setitem(WEIGHTS[listeners], name, weight)
        without += [] if changed else [name]
    assert without == []


@pytest.mark.parametrize("cost", sorted(figures.settings()["costs"]))
@pytest.mark.usefixtures("quick")
def test_a_change_of_any_cost_changes_some_decision(
    cost: str, every: dict[str, list[Utterance]], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = [*every["ear+pocketsphinx"], *every["pocketsphinx+whisper"], *every["text"], *every["typed"], *MORE]
    before = list(outcomes(said))
    costs = figures.settings()["costs"]
    seen = []
    for factor in (0.0, 1_000.0):
        with monkeypatch.context() as patch:
            patch.setitem(costs, cost, costs[cost] * factor)
            seen.append(anything_else(said, before))
    assert any(seen)


@pytest.mark.parametrize(
    ("table", "name"),
    [(table, name) for table in ("text", "tries", "question") for name in figures.settings()[table] if name != "usual"],
)
def test_a_change_of_any_other_figure_changes_some_decision_or_chance(
    table: str, name: str, every: dict[str, list[Utterance]], monkeypatch: pytest.MonkeyPatch
) -> None:
    said = [*every["ear+pocketsphinx"][::3], *every["pocketsphinx+whisper"][::3], *every["typed"][::3], *MORE]

    def told() -> list[object]:
        return [each.decided() for each in said]

    before, settings = told(), figures.settings()[table]
    seen = []
    for other in (0.0, 5.0 * settings[name] + 1.0):
        with monkeypatch.context() as patch:
            patch.setitem(settings, name, other)
            seen.append(told() != before)
    assert any(seen)


@pytest.mark.parametrize(
    ("table", "name"),
    [("most", name) for name in figures.fitted()["most"]] + [("pace", name) for name in ("onset", "syllable")],
)
def test_a_change_of_what_a_feature_is_made_with_changes_some_chance(
    table: str, name: str, every: dict[str, list[Utterance]], monkeypatch: pytest.MonkeyPatch
) -> None:
    names = ("ear+pocketsphinx", "pocketsphinx+whisper", "ear", "whisper", "pocketsphinx")
    said = [each for name in names for each in every[name][::2]]

    def told() -> list[float]:
        found = (believe(each.candidates, each.context, each.free_text, each.seconds) for each in said)
        return [each.none for each in found]

    before, made_with = told(), figures.fitted()[table]
    monkeypatch.setitem(made_with, name, 0.3 * made_with[name])
    assert told() != before


@given(st.sampled_from(HEARD), st.floats(3, 900))
@hypothesis_settings(max_examples=60, deadline=None)
def test_the_job_never_makes_one_meaning_likelier_than_another(each: Utterance, baseline: float) -> None:
    """Nor less likely: it has a say in whether it was none of them, and in whether to ask.

    A number alone is left out: where a cylinder is next, it may stand for that one's reading, which is always asked.
    """
    context = replace(each.context, next_cylinder=None)
    here = believe(each.candidates, context, each.free_text, each.seconds)
    there = believe(each.candidates, replace(context, baseline=baseline), each.free_text, each.seconds)
    odds = [
        {hypothesis.meanings: math.log(chance) for hypothesis, chance in found.said if chance > 0}
        for found in (here, there)
    ]
    shift = [odds[0][key] - odds[1][key] for key in odds[0].keys() & odds[1].keys()]
    assert not shift or max(shift) - min(shift) < 1e-6
