"""Hypothesis strategies for every kind of entry, and for whole jobs of entries that refer to each other."""

from __future__ import annotations

import dataclasses
import functools
import types
import typing
from datetime import UTC, datetime, timedelta
from enum import Enum
from typing import Any

from hypothesis import strategies as st

from journal.errors import BadInput
from journal.facts import (
    KINDS,
    LEAK_PLACES,
    MEASURED,
    OUTCOMES,
    PARTS,
    UNITS,
    Answer,
    Baseline,
    Body,
    Check,
    Condition,
    Correction,
    Cut,
    Engine,
    Entry,
    JobFact,
    JobOpened,
    PhotoMark,
    Quantity,
    Question,
    RunStarted,
    Seen,
    Source,
    Subject,
    Withdrawal,
    new_id,
)
from journal.facts.bodies import FACT_FIELDS

START = datetime(2026, 3, 1, 8, 0, tzinfo=UTC)
words = st.text(max_size=12)
numbers = st.floats(allow_nan=False, allow_infinity=False)
cylinders = st.integers(1, 20)
shas = st.sampled_from(["ab" * 32, "cd" * 32, "ef" * 32])
times = st.integers(-40, 40).map(lambda s: (START + timedelta(seconds=s)).isoformat()) | st.just("")


@st.composite
def engines(draw: st.DrawFn) -> Engine:
    count = draw(st.integers(1, 20))
    order = tuple(draw(st.permutations(range(1, count + 1)))) if draw(st.booleans()) else ()
    drivers = (tuple(range(1, count // 2 + 1)), tuple(range(count // 2 + 1, count + 1))) if draw(st.booleans()) else ()
    return Engine(count, order, drivers=tuple(group for group in drivers if group))


def _unit_of(draw: st.DrawFn, quantity: Quantity | None) -> str:
    return draw(st.sampled_from(["", *UNITS[quantity]])) if quantity else ""


@functools.cache
def _hints(kind: type) -> dict[str, Any]:
    return typing.get_type_hints(kind)


def _special(draw: st.DrawFn, kind: type) -> dict[str, Any]:
    """Fields that must fit each other."""
    quantity = draw(st.sampled_from(Quantity))
    if kind is Check:
        subject = draw(st.sampled_from(Subject))
        return {
            "subject": subject,
            "outcome": draw(st.sampled_from([*OUTCOMES[subject], MEASURED])),
            "value": draw(numbers),
            "part": draw(st.none() | st.sampled_from(sorted(PARTS))),
            "place": draw(st.none() | st.sampled_from(sorted(LEAK_PLACES))),
        }
    if kind is Cut:
        value = draw(st.none() | numbers)
        return {"value": value, "no_change": value is None, "quantity": None, "unit": ""}
    if kind is Condition:
        return {"quantity": quantity, "unit": _unit_of(draw, quantity)}
    if kind is Baseline:
        asked = draw(st.none() | st.just(quantity))
        return {"quantity": asked, "unit": _unit_of(draw, asked)}
    if kind is RunStarted:
        return {"quantity": quantity, "unit": _unit_of(draw, quantity), "pressure_unit": "bar"}
    if kind is Seen:
        x0, x1 = sorted((draw(st.floats(0, 1)), draw(st.floats(0, 1))))
        y0, y1 = sorted((draw(st.floats(0, 1)), draw(st.floats(0, 1))))
        return {"x0": x0, "x1": x1, "y0": y0, "y1": y1}
    if kind is PhotoMark:
        fractions = {name: draw(st.floats(0, 1)) for name in ("x0", "y0", "x1", "y1")}
        return {"shape": draw(st.sampled_from(["ring", "arrow"])), **fractions}
    if kind is JobFact:
        return {"field": draw(st.sampled_from(FACT_FIELDS))}
    return {}


def _value(draw: st.DrawFn, name: str, hint: Any, ids: st.SearchStrategy[str], depth: int) -> Any:
    if name in ("target", "question", "part") and hint is str:
        return draw(ids)
    if name in ("sha256", "photo"):
        return draw(shas)
    if name == "taken_at":
        return draw(times)
    if hint is Engine:
        return draw(engines())
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        choices = [c for c in typing.get_args(hint) if c is not type(None)]
        if len(choices) > 1:
            inner = draw(bodies(ids, depth + 1))
            return inner if hint == Body or draw(st.booleans()) else None
        return None if draw(st.booleans()) else _value(draw, name, choices[0], ids, depth)
    if origin is tuple:
        item = typing.get_args(hint)[0]
        return tuple(_value(draw, name, item, ids, depth) for _ in range(draw(st.integers(0, 2))))
    if isinstance(hint, type) and issubclass(hint, Enum):
        return draw(st.sampled_from(list(hint)))
    if "cylinder" in name or name == "held_out":
        return draw(cylinders)
    plain = {int: st.integers(1, 31), float: numbers, str: words, bool: st.booleans()}[hint]
    return draw(plain)


@st.composite
def bodies(draw: st.DrawFn, ids: st.SearchStrategy[str], depth: int = 0) -> Body:
    """Any body; identifiers in it come from `ids`."""
    acts = (Question, Answer, Correction, Withdrawal)
    kinds = [kind for kind in KINDS.values() if depth < 2 or kind not in acts]
    # Half of what is drawn acts on other entries: that is where replay can go wrong.
    kind = draw(st.sampled_from(kinds) | st.sampled_from(acts)) if depth == 0 else draw(st.sampled_from(kinds))
    hints = _hints(kind)
    fields = _special(draw, kind)
    for field in dataclasses.fields(kind):
        if field.name not in fields:
            fields[field.name] = _value(draw, field.name, hints[field.name], ids, depth)
    if kind.__name__ == "GateOverridden":
        fields["reason"] += "because"
    try:
        return typing.cast(Body, kind(**fields))
    except BadInput:
        # A combination the kind itself refuses: something simple stands in, so that no example is thrown away.
        return Baseline(1.0)


@st.composite
def jobs(draw: st.DrawFn) -> list[Entry]:
    """Well-formed entries of one job with an opening, in no particular order of time, naming each other freely."""
    job = new_id(START)
    count = draw(st.integers(1, 25))
    seconds = [0, *(draw(st.integers(-3, 30)) for _ in range(count))]
    moments = [START + timedelta(seconds=second) for second in seconds]
    ids = [new_id(moment) for moment in moments]
    named = st.sampled_from(ids) | st.just(new_id(START))
    opening = JobOpened("pump", draw(engines()), "misses")
    entries = []
    for number, (id_, at) in enumerate(zip(ids, moments, strict=True)):
        body = opening if number == 0 else draw(bodies(named))
        source = draw(st.sampled_from(Source))
        certainty = draw(st.floats(0, 1))
        entries.append(Entry(id_, job, at, body, 60, draw(words), source, draw(words), "", certainty))
    return entries
