"""A meaning in, a few words for speaking or a short line for the screen out."""

from __future__ import annotations

from collections.abc import Callable

from journal.facts import (
    MEASURED,
    MEASURED_AS,
    UNITS,
    Baseline,
    Check,
    ClockSetBack,
    Condition,
    Correction,
    Cut,
    JobFact,
    Note,
    PartAnswer,
    PartWanted,
    PhotoCue,
    PutBack,
    Quantity,
    RepairDone,
    RunEnded,
    RunKind,
    RunStarted,
    Subject,
    TroubleCode,
)
from journal.facts.checks import SWAPPED
from journal.facts.quantities import SPOKEN_UNITS
from journal.facts.units import convert
from journal.wording.numbers import plain, spell
from journal.wording.types import Command, Meaning, Number

Figures = Callable[[float], str]
"""A number in words or in figures."""

Amount = Callable[[float, str], str]
"""The same with its unit."""


def read_back(meaning: Meaning) -> str:
    """What was taken, in few words, for speaking: "four, thirty-eight"."""
    match meaning:
        case Cut(cylinder, value, _, _, unit):
            return f"{spell(cylinder)}, {'no change' if value is None else spoken_amount(value, unit)}"
        case Baseline(value, _, unit):
            return f"baseline {spoken_amount(value, unit)}"
        case Condition(quantity, value, unit):
            return f"{quantity} {spoken_amount(value, _told(quantity, unit))}"
        case Number(value):
            return spell(value)
        case Command(word, cylinder, value):
            parts = [str(word), spell(cylinder) if cylinder else "", spell(value) if value is not None else ""]
            return " ".join(part for part in parts if part)
        case RunStarted():
            return _run(meaning, spell, spoken_amount, " ")
        case Correction(_, RunStarted(idle_fuel=float(fuel))):
            return f"no-torque fuel {spell(fuel)}, this run only"
        case Correction(_, body):
            return read_back(body)
        case Check():
            return _check(meaning, spell, spoken_amount)
        case TroubleCode(spn, fmi):
            return f"code {' '.join(spell(int(f)) for f in str(spn))}, F M I {spell(fmi)}"
        case JobFact(field, value):
            return f"{field} {_spoken(value)}"
        case Note():
            return "noted"
        case RepairDone():
            return "repair noted"
        case PhotoCue(subject, cylinder):
            return f"photos of {subject}" + (f", {spell(cylinder)}" if cylinder else "")
        case PartWanted(what, many, cylinder):
            said = f"wanted, {spell(many) + ' ' if many > 1 else ''}{what}"
            return said + (f", cylinder {spell(cylinder)}" if cylinder else "")
        case PutBack(back):
            return f"{back} back"
        case RunEnded():
            return "run ended"
        case _:
            return "taken"


def describe(meaning: Meaning) -> str:
    """A meaning as a short line for the screen: "cylinder 4 cut: 38"."""
    match meaning:
        case Cut(cylinder, value, _, _, unit):
            return f"cylinder {cylinder} cut: {'no change' if value is None else _amount(value, unit)}"
        case Baseline(value, _, unit):
            return f"baseline: {_amount(value, unit)}"
        case Condition(quantity, value, unit):
            return f"{quantity}: {_amount(value, unit or UNITS[quantity][0])}"
        case Number(value):
            return plain(value)
        case Command(word, cylinder, value):
            where = f" cylinder {cylinder}" if cylinder else ""
            return f"{word}{where}" + (f": {plain(value)}" if value is not None else "")
        case RunStarted():
            return f"run: {_run(meaning, plain, _amount, ', ')}"
        case Correction(_, body):
            return f"corrected: {describe(body)}"
        case Check():
            return _check(meaning, plain, _amount)
        case TroubleCode(spn, fmi):
            return f"code SPN {spn} FMI {fmi}"
        case JobFact(field, value):
            return f"{field}: {value}"
        case Note(text):
            return f"note: {text}"
        case RepairDone(text, cylinder):
            return f"repair{f' cylinder {cylinder}' if cylinder else ''}: {text}"
        case PhotoCue(subject, cylinder):
            return f"next photos: {subject}" + (f", cylinder {cylinder}" if cylinder else "")
        case PartWanted(what, many, cylinder):
            return f"wanted: {many} x {what}" + (f", cylinder {cylinder}" if cylinder else "")
        case PartAnswer(state=state, availability=where):
            return f"the part: {where or state}"
        case PutBack(back):
            return f"put back: {back}"
        case RunEnded():
            return "end of run"
        case ClockSetBack():
            return "the clock was set back here: times before may be wrong, their order is right"
        case _:
            return _BESIDE[type(meaning).__name__]


_BESIDE = {
    "PartAnswer": "answer on a part",
    "Photo": "photo",
    "PhotoPlaced": "where a photo belongs",
    "PhotoMark": "mark on a photo",
    "Seen": "number on a photo",
    "GateOverridden": "order without the checks",
    "WriteUpEdited": "words of the write-up",
    "EngineChanged": "engine put right",
    "JobOpened": "job opened",
    "JobClosed": "job closed",
    "JobReopened": "job opened again",
    "Question": "question",
    "Answer": "answer",
    "Withdrawal": "taken back",
}
"""Entries that come in beside what is said, by what they are called in code: most can be taken back too."""


def spoken_amount(value: float, unit: str) -> str:
    """A number with its unit, for speaking; a part of an inch is said in thousandths. An empty unit is not said."""
    if unit == "in" and abs(value) < 1:
        value, unit = convert(value, "in", "thou"), "thou"
    return f"{spell(value)} {SPOKEN_UNITS.get(unit, unit)}".strip()


def _told(quantity: Quantity, unit: str) -> str:
    """The unit as far as it need be told: one that a quantity always has need not."""
    return (unit or UNITS[quantity][0]) if len(UNITS[quantity]) > 1 else ""


def _amount(value: float, unit: str) -> str:
    return f"{plain(value)} {unit}".strip()


def _spoken(value: str) -> str:
    try:
        return spell(float(value))
    except ValueError:
        return ""


def _run(run: RunStarted, figures: Figures, amount: Amount, joint: str) -> str:
    parts = [{RunKind.IDLE: "idle cut-out"}.get(run.run, str(run.run))]
    if run.unit:
        parts.append(f"in {SPOKEN_UNITS.get(run.unit, run.unit) if figures is spell else run.unit}")
    if run.held_out:
        parts.append(joint.join(figures(c) for c in run.held_out) + " out")
    if run.pressure is not None:
        parts.append(f"{run.pressure} pressure")
    if run.pressure_value is not None:
        parts.append(amount(run.pressure_value, run.pressure_unit))
    if run.after_repair:
        parts.append("after repair")
    if run.repeat:
        parts.append("repeat")
    if run.idle_fuel is not None:
        parts.append(f"no-torque fuel {figures(run.idle_fuel)}, this run only")
    return ", ".join(parts)


def _check(check: Check, figures: Figures, amount: Amount) -> str:
    said = [] if check.outcome == MEASURED else [check.outcome]
    if check.value is not None:
        measured = MEASURED_AS.get(check.subject)
        said.append(amount(check.value, check.unit or (UNITS[measured][0] if measured else "")))
    outcome = ", ".join(said)
    if check.part:
        outcome = f"{check.part} {outcome}"
    if check.place and check.other_cylinder is None:
        outcome += f" to {check.place}"
    if check.place and check.other_cylinder is not None:
        outcome += f" to cylinder {figures(check.other_cylinder)}"
    where = f"cylinder {figures(check.cylinder)} " if check.cylinder else ""
    if check.subject is Subject.INJECTOR_SWAP and check.other_cylinder is not None:
        came = f", {outcome}" if outcome != SWAPPED else ""
        return f"{where}{check.subject} with {figures(check.other_cylinder)}{came}"
    return f"{where}{check.subject} {outcome}"
