"""The numbers off a screen in; which may be what a run watches, and how the engine stood, out."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence, Set
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from rapidfuzz import fuzz

from journal.facts import UNITS, Condition, Quantity
from journal.facts.quantities import PRINTED_UNITS
from journal.record.job import Job, Run
from journal.record.shop_labels import Vouched
from journal.wording.figures import settings
from journal.wording.types import Context
from journal.wording.unit_sense import settle_unit

if TYPE_CHECKING:
    from journal.seeing.types import Labelled

CONDITIONS = (
    Quantity.ENGINE_SPEED,
    Quantity.INJECTION_PRESSURE,
    Quantity.DESIRED_INJECTION_PRESSURE,
    Quantity.FUEL_PRESSURE,
    Quantity.OIL_PRESSURE,
    Quantity.BOOST_PRESSURE,
    Quantity.CRANKCASE_PRESSURE,
    Quantity.COOLANT_TEMPERATURE,
    Quantity.OIL_TEMPERATURE,
    Quantity.LOAD,
)
"""What a screen shows of how the engine stood; entered once a run, as it is said once."""

_WHICH = re.compile(r"[0-9]|\b[^\W\d_]\b")
"""What tells one of several labels that are alike: figures, and words of one letter, as in "Bank A"."""

Labels = Mapping[Quantity, Sequence[Vouched]]
"""The labels that a technician said to stand for a quantity."""


def of_label(
    numbers: Sequence[Labelled], run: Run, labels: Labels, read: Sequence[Vouched] = ()
) -> tuple[tuple[Labelled, ...], bool]:
    """The numbers that may be what the run watches, and whether a technician said that their label stands for it.

    Args:
        numbers: what stands on the photo.
        run: the run.
        labels: what was said of labels.
        read: the labels that the run's readings have been read from, each with the unit of its reading.

    Returns:
        The numbers. One whose label was vouched for and that shows no unit has that label's: the one that it was
        vouched for with and that the run has read it in, where these are not two.
    """
    watched = run.start.quantity
    usable = [n for n in numbers if n.value is not None and n.label and (not n.unit or n.unit in UNITS[watched])]
    told = labels.get(watched, ())
    kept = [n for n in usable if any(_is_label(n.label, each.label) for each in told)]
    if len(kept) == 1:
        units = {each.unit for each in (*told, *read) if each.unit and _is_label(kept[0].label, each.label)}
        return (_in_its_unit(kept[0], run, units),), True
    named = kept or [n for n in usable if n.quantity is watched]
    named = named or [n for n in usable if n.quantity is None and n.unit]
    return tuple(named), False


def _in_its_unit(number: Labelled, run: Run, units: Set[str]) -> Labelled:
    """A number of a label that stands for these units, none or one or more; in doubt where the photo shows another."""
    from journal.seeing.units import likest_unit  # Pillow comes with it, which nothing but photos needs

    if number.unit:
        return number
    shown = {likest_unit(text) for text in number.loose_units} & {*UNITS[run.start.quantity]}
    if len(units) > 1 or shown - (units or {_unit_of(run)}):
        return replace(number, unit_missing=True)
    if not units or (number.other_unit and likest_unit(number.other_unit) not in units):
        return number
    return replace(number, unit=next(iter(units)), unit_missing=False)


def labels_read(job: Job, run: Run) -> tuple[Vouched, ...]:
    """The labels that a run's readings were read from, each with the unit that its reading has."""
    chosen = {asked.question.entry.id: asked.answer.body.choice for asked in job.questions if asked.answer is not None}
    return tuple(
        Vouched(fact.body.label, reading.unit)
        for reading in (*run.baselines, *run.cuts)
        for fact in job.seen.get(reading.entry, ())
        if fact.body.option is None or fact.body.option == chosen.get(reading.entry)
    )


def _is_label(label: str, told: str) -> bool:
    """Whether a label is one that was told, misread letters and all; what tells one of several must be the same."""
    label, told = _plain(label), _plain(told)
    which = [_WHICH.findall(text) for text in (label, told)]
    return which[0] == which[1] and fuzz.ratio(label, told) >= 100 * settings()["seen"]["label_alike"]


def _plain(label: str) -> str:
    return " ".join(label.casefold().split())


@dataclass(frozen=True)
class Stood:
    """How the engine stood, by one number."""

    body: Condition
    """What it says."""
    number: Labelled
    """The number."""


def conditions(numbers: Sequence[Labelled], run: Run, context: Context) -> list[Stood]:
    """How the engine stood; what is in doubt is left to the next photo, as that costs less than a question."""
    costs, made = settings()["costs"], []
    for quantity in CONDITIONS:
        shown = [n for n in numbers if n.quantity is quantity]
        if quantity is run.start.quantity or len(shown) != 1 or not shown[0].sure or shown[0].value is None:
            continue
        value = shown[0].value
        unit, _ = settle_unit(quantity, value, shown[0].unit, context, condition=True)
        body = Condition(quantity, value, "" if unit == UNITS[quantity][0] else unit)
        if (1.0 - chance(shown[0])) * costs["entry"] < costs["lost"]:
            made.append(Stood(body, shown[0]))
    return made


def chance(number: Labelled) -> float:
    """How likely a number stands on the screen as it was read, 0 to 1."""
    seen = settings()["seen"]
    return seen["right"] if number.sure else min(seen["doubted"], number.certainty)


def unit_differs(number: Labelled, run: Run) -> bool:
    return bool(number.unit) and number.unit != _unit_of(run)


def _unit_of(run: Run) -> str:
    return run.start.unit or UNITS[run.start.quantity][0]


def decimals_shown(number: Labelled) -> int:
    """How many decimals a number is written with, noughts at its end among them."""
    tail = re.split("[.,]", number.written)[-1] if re.search("[.,]", number.written) else ""
    digits = re.sub("[^0-9]", "", number.written)
    return 0 if number.value is not None and abs(number.value) == float(digits or 0) else len(tail)


def as_shown(number: Labelled) -> str:
    """A number as it was read, with its unit where it has one."""
    unit = PRINTED_UNITS.get(number.unit, number.unit)
    return f"{number.written} {unit}" if unit else number.written
