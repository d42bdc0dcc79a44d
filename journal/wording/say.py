"""A meaning in, a few words for speaking or a short line for the screen out."""

from __future__ import annotations

from journal.facts import (
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    JobFact,
    Note,
    PartWanted,
    PhotoCue,
    PutBack,
    RepairDone,
    RunEnded,
    RunKind,
    RunStarted,
    TroubleCode,
)
from journal.wording.numbers import plain, spell
from journal.wording.types import Command, Meaning, Number


def read_back(meaning: Meaning) -> str:
    """What was taken, in few words, for speaking: "four, thirty-eight"."""
    match meaning:
        case Cut(cylinder, value):
            return f"{spell(cylinder)}, {'no change' if value is None else spell(value)}"
        case Baseline(value):
            return f"baseline {spell(value)}"
        case Condition(quantity, value):
            return f"{quantity} {spell(value)}"
        case Number(value):
            return spell(value)
        case Command(word, cylinder, value):
            parts = [str(word), spell(cylinder) if cylinder else "", spell(value) if value is not None else ""]
            return " ".join(part for part in parts if part)
        case RunStarted():
            return _run(meaning, spell, " ")
        case Correction(_, RunStarted(idle_fuel=float(fuel))):
            return f"no-torque fuel {spell(fuel)}, this run only"
        case Correction(_, body):
            return read_back(body)
        case Check():
            return _check(meaning, spell)
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
            return f"{quantity}: {_amount(value, unit)}"
        case Number(value):
            return plain(value)
        case Command(word, cylinder, value):
            where = f" cylinder {cylinder}" if cylinder else ""
            return f"{word}{where}" + (f": {plain(value)}" if value is not None else "")
        case RunStarted():
            return f"run: {_run(meaning, plain, ', ')}"
        case Correction(_, body):
            return f"corrected: {describe(body)}"
        case Check():
            return _check(meaning, plain)
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
        case PutBack(back):
            return f"put back: {back}"
        case RunEnded():
            return "end of run"
        case _:
            return type(meaning).__name__


def _amount(value: float, unit: str) -> str:
    return f"{plain(value)} {unit}".strip()


def _spoken(value: str) -> str:
    try:
        return spell(float(value))
    except ValueError:
        return ""


def _run(run: RunStarted, number: type[str] | object, joint: str) -> str:
    figures = spell if number is spell else plain
    parts = [{RunKind.IDLE: "idle cut-out"}.get(run.run, str(run.run))]
    if run.held_out:
        parts.append(joint.join(figures(c) for c in run.held_out) + " out")
    if run.pressure is not None:
        parts.append(f"{run.pressure} pressure")
    if run.pressure_value is not None:
        parts.append(f"{figures(run.pressure_value)} {run.pressure_unit}")
    if run.after_repair:
        parts.append("after repair")
    if run.repeat:
        parts.append("repeat")
    if run.idle_fuel is not None:
        parts.append(f"no-torque fuel {figures(run.idle_fuel)}, this run only")
    return ", ".join(parts)


def _check(check: Check, number: object) -> str:
    figures = spell if number is spell else plain
    outcome = check.outcome if check.value is None else f"{figures(check.value)} {check.unit}".strip()
    if check.part:
        outcome = f"{check.part} {outcome}"
    if check.place and check.other_cylinder is None:
        outcome += f" to {check.place}"
    if check.place and check.other_cylinder is not None:
        outcome += f" to cylinder {figures(check.other_cylinder)}"
    where = f"cylinder {figures(check.cylinder)} " if check.cylinder else ""
    return f"{where}{check.subject} {outcome}"
