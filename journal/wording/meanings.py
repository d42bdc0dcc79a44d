"""A phrase with its slots filled in, what it means on this engine out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

from journal.errors import JournalError
from journal.facts import (
    MEASURED,
    MEASURED_AS,
    UNITS,
    Baseline,
    Check,
    Condition,
    Correction,
    Cut,
    JobFact,
    Note,
    PartState,
    PartWanted,
    PhotoCue,
    PressureLevel,
    PutBack,
    Quantity,
    RepairDone,
    Restored,
    RunEnded,
    RunKind,
    RunStarted,
    Subject,
    TroubleCode,
)
from journal.facts.quantities import WATCHED
from journal.wording.expect import expected
from journal.wording.numbers import plain, spell
from journal.wording.things import one_of
from journal.wording.types import Command, CommandWord, Context, Meaning, Number
from journal.wording.unit_sense import as_kept, settle_unit
from journal.wording.vocabulary import Phrase


@dataclass(frozen=True)
class Refused:
    """Understood, but it makes no sense here."""

    reason: str
    """Why, in a few words."""


def meaning_of(phrase: Phrase, filled: dict[str, Any], context: Context) -> Meaning | Refused:
    """What a phrase means.

    Args:
        phrase: the phrase.
        filled: its slots and choices by name.
        context: the engine and what goes on.
    """
    said = {**phrase.set, **filled}
    for name in ("signed", "reading"):
        if name in said:
            said["value"] = said[name]
    if "thou" in said:
        said |= {"value": round(said["thou"] / 1000, 6), "unit": "in"}
    for name in ("cylinder", "other_cylinder"):
        if name in said and (reason := off_engine(said[name], context)):
            return Refused(reason)
    try:
        return _BUILDERS[phrase.kind](said, context)
    except JournalError as error:
        return Refused(str(error))


def after(context: Context, meaning: Meaning | Refused) -> Context:
    """The context for what is said next in the same breath."""
    if not isinstance(meaning, Cut):
        return context
    done = (*context.done, meaning.cylinder)
    following = context.engine.next_to_cut(done, context.held_out) if context.engine else None
    read = () if meaning.value is None else ((meaning.cylinder, meaning.value),)
    return replace(context, done=done, next_cylinder=following, already_cut=(*context.already_cut, *read))


def off_engine(cylinder: int, context: Context) -> str:
    """Why a cylinder cannot be on this engine; empty when it can."""
    most = context.engine.cylinders if context.engine else 20
    if 1 <= cylinder <= most:
        return ""
    return f"there is no cylinder {spell(cylinder)} on this engine"


def _cut(said: dict[str, Any], context: Context) -> Meaning | Refused:
    cylinder = said.get("cylinder")
    if said.get("awaited"):
        if not isinstance(context.awaits, Cut):
            return Refused("no cylinder was asked for: say its number")
        cylinder = context.awaits.cylinder
    measured = context.run_id == "" and isinstance(context.last, Check) and context.last.value is not None
    if said.get("same"):
        cylinder = context.done[-1] if context.done else None
        if cylinder is None:
            return Refused("no cylinder was cut before it: say its number")
    elif said.get("next"):
        cylinder = _last_to_cut(context) if said["next"] == "last" else context.next_cylinder
        if measured and said["next"] != "last" and isinstance(context.last, Check):
            cylinder = _beside(context.last.cylinder, context)
        if cylinder is None:
            return Refused("no next cylinder is known: say its number")
    assert cylinder is not None
    if said.get("alike") and not context.run_id and isinstance(context.last, Check):
        return replace(context.last, cylinder=cylinder)
    if said.get("no_change"):
        if measured and isinstance(context.last, Check):
            return replace(context.last, cylinder=cylinder)
        return Cut(cylinder, None, no_change=True)
    if measured and isinstance(context.last, Check) and "value" in said:
        return _measured_alike(said, cylinder, context.last)
    if "value_of" in said:
        return _alike(said["value_of"], cylinder, context)
    if "rise" in said:
        if context.baseline is None:
            return Refused("there is no baseline to add it to: say the number")
        return Cut(cylinder, round(context.baseline + said["rise"], 6))
    return Cut(cylinder, said["value"], quantity=_other_quantity(said, context), unit=_unit_read(said, context))


def _alike(which: int | str, cylinder: int, context: Context) -> Meaning | Refused:
    """The same of a cylinder as was said last, or of another one."""
    last = context.last
    if which == "last" and isinstance(last, PartWanted | Check):
        return replace(last, cylinder=cylinder)
    if which == "last" and isinstance(last, Cut) and last.no_change:
        return Cut(cylinder, None, no_change=True)
    read = [value for c, value in context.already_cut if which in ("last", c)]
    if read:
        return Cut(cylinder, read[-1])
    if which == "last" and context.baseline is not None:
        return Cut(cylinder, None, no_change=True)
    return Refused("nothing was read before it: say the number")


def _other_quantity(said: dict[str, Any], context: Context) -> Quantity | None:
    """What is read, where it is said to be, or its unit tells it is, something else than what the run watches."""
    named, unit = said.get("quantity"), said.get("unit", "")
    fitting = [q for q in WATCHED if (named is None or q == named) and (not unit or unit in UNITS[q])]
    return None if context.quantity in fitting or not fitting else fitting[0]


def _measured_alike(said: dict[str, Any], cylinder: int, last: Check) -> Meaning:
    """A number for a cylinder where none is cut and another one was just measured: the same measurement of this one."""
    unit = said.get("unit") or last.unit
    return replace(last, cylinder=cylinder, value=said["value"], unit=unit, outcome=MEASURED)


def _beside(cylinder: int | None, context: Context) -> int | None:
    """The cylinder after one by its number."""
    numbers = context.engine.numbers if context.engine else ()
    return next((c for c in sorted(numbers) if cylinder is not None and c > cylinder), None)


def _last_to_cut(context: Context) -> int | None:
    """The last cylinder in order that was not cut yet."""
    done = set(context.done)
    numbers = context.engine.numbers if context.engine else ()
    return next((c for c in reversed(numbers) if c not in done and c not in context.held_out), None)


def _baseline(said: dict[str, Any], context: Context) -> Meaning:
    return Baseline(said["value"], _other_quantity(said, context), _unit_read(said, context))


def _unit_read(said: dict[str, Any], context: Context) -> str:
    """The unit of a reading: none need be carried inside a run, which has its own; before any it is the shop's."""
    quantity = _other_quantity(said, context) or context.quantity
    return _unit(quantity, said, context, condition=False)


def _fuel(said: dict[str, Any], context: Context) -> Meaning:
    """Fuel per stroke: the baseline of a run that watches it, a condition of any other."""
    if context.quantity == Quantity.FUEL_PER_STROKE:
        unit = _unit(Quantity.FUEL_PER_STROKE, said, context, condition=False)
        return Baseline(said["value"], Quantity.FUEL_PER_STROKE, unit)
    return Condition(Quantity.FUEL_PER_STROKE, said["value"], _unit(Quantity.FUEL_PER_STROKE, said, context))


def _unit(quantity: Quantity, said: dict[str, Any], context: Context, *, condition: bool = True) -> str:
    """The unit said, else the shop's, else the only one in which the number makes sense; empty where there is one."""
    if len(UNITS[quantity]) == 1:
        return ""
    return settle_unit(quantity, said["value"], said.get("unit", ""), context, condition=condition)[0]


def _condition(said: dict[str, Any], context: Context) -> Meaning | Refused:
    if said.get("same"):
        last = context.last
        if not isinstance(last, Condition) or context.run_id:
            return Refused("it is not clear what that is of: say what was measured")
        return Condition(last.quantity, said["value"], _unit(last.quantity, said, context))
    quantity = Quantity(said["quantity"])
    if quantity == context.quantity and quantity in (Quantity.FUEL_RATE, Quantity.POWER):
        return Baseline(said["value"], quantity, said.get("unit", ""))
    return Condition(quantity, said["value"], _unit(quantity, said, context))


def _run(said: dict[str, Any], context: Context) -> Meaning | Refused:
    held = tuple(sorted(said.get("cylinders", ())))
    for cylinder in held:
        if reason := off_engine(cylinder, context):
            return Refused(reason)
    if "half" in said:
        found = _half(said["half"], context)
        if isinstance(found, Refused):
            return found
        held = found
    quantity = Quantity(said["quantity"]) if "quantity" in said else Quantity.FUEL_PER_STROKE
    own = dict(context.units).get(quantity, UNITS[quantity][0])
    pressure = {"value": said.get("pressure_value"), "unit": said.get("pressure_unit", "")}
    unit = _unit(Quantity.INJECTION_PRESSURE, pressure, context) if pressure["value"] is not None else ""
    return RunStarted(
        RunKind(said.get("run", "half engine")),
        quantity,
        own if own != UNITS[quantity][0] else "",
        held_out=held,
        pressure=PressureLevel(said["pressure"]) if "pressure" in said else None,
        pressure_value=said.get("pressure_value"),
        pressure_unit=unit or UNITS[Quantity.INJECTION_PRESSURE][0],
        after_repair="after_repair" in said,
        repeat=bool(said.get("repeat")),
        idle_fuel=said.get("idle_fuel"),
    )


def _idle_fuel(said: dict[str, Any], context: Context) -> Meaning | Refused:
    """The fuel that makes no torque, of the run in progress: what was said when it was started is corrected."""
    if context.run is None:
        return Refused("no run that was announced is in progress: say it when a run is started")
    return Correction(context.run_id, replace(context.run, idle_fuel=said["idle_fuel"]))


def _half(half: str, context: Context) -> tuple[int, ...] | Refused:
    if context.engine is None:
        return Refused("the engine's layout is not known: say the cylinders that are out")
    numbers = tuple(context.engine.numbers)
    if half in ("odd", "even"):
        return numbers[0::2] if half == "odd" else numbers[1::2]
    if half in ("first", "second"):
        if len(context.engine.banks) != 2:
            return Refused("the banks are not known: say the cylinders that are out")
        return tuple(sorted(context.engine.banks[half == "second"]))
    if len(numbers) % 2:
        return Refused("an odd number of cylinders has no halves: say the cylinders that are out")
    middle = len(numbers) // 2
    return numbers[:middle] if half == "front" else numbers[middle:]


def _check(said: dict[str, Any], context: Context) -> Meaning:
    turned = said.get("crank_turned")
    other = said.get("other_cylinder")
    place = said.get("place")
    if said["subject"] == Subject.AIR_TEST and other is not None:
        place = "next cylinder"
    subject = Subject(said["subject"])
    value, unit = said.get("value"), said.get("unit", "")
    if value is not None and subject in MEASURED_AS:
        value, unit = as_kept(value, _unit(MEASURED_AS[subject], said, context) or unit)
    return Check(
        subject,
        said["outcome"],
        said.get("cylinder", getattr(context.last, "cylinder", None) if said.get("same") else None),
        part=said.get("part"),
        place=place,
        value=value,
        unit=unit,
        crank_turned=None if turned is None else turned == "yes",
        other_cylinder=other,
    )


def _put_back(said: dict[str, Any], context: Context) -> Meaning | Refused:
    which, held = set(said.get("which", ())), set(context.held_out)
    if which & held and not which >= held:
        return Refused("others are still held out: say all that are back, or how a new run is held")
    return PutBack(Restored(said["what"]))


def _code(said: dict[str, Any], context: Context) -> Meaning | Refused:
    if said["spn"] % 1 or said["fmi"] % 1:
        return Refused("a trouble code has whole numbers")
    return TroubleCode(int(said["spn"]), int(said["fmi"]))


def _part(said: dict[str, Any], context: Context) -> Meaning:
    return PartWanted(said["description"], int(said.get("quantity", 1)), said.get("cylinder"))


def _part_again(said: dict[str, Any], context: Context) -> Meaning | Refused:
    """Another of the part that was just wanted, or more of it."""
    last = context.last
    if not isinstance(last, PartWanted):
        return Refused("no part was just wanted: say which one")
    many = int(said.get("quantity", 1))
    if "cylinder" in said:
        return replace(last, cylinder=said["cylinder"], quantity=many)
    return Correction(context.last_id, replace(last, quantity=many))


def _part_state(said: dict[str, Any], context: Context) -> Meaning | Refused:
    """How far a wanted part has come."""
    name, cylinder = one_of(str(said["description"])), said.get("cylinder")
    named = [(wanted, known) for wanted, known in context.parts if _is_called(wanted.description, name)]
    own = [pair for pair in named if cylinder is None or pair[0].cylinder == cylinder]
    if not own:
        return Refused(f"no {name} is wanted")
    if len(own) > 1:
        return Refused(f"more than one {name} is wanted: say for which cylinder, or tap it on the page")
    state = PartState(said["state"])
    later = _BACK_ORDERED if state is PartState.ANSWERED else ""
    known = own[0][1]
    return replace(known, state=state, availability=later or known.availability, note="")


def _is_called(description: str, name: str) -> bool:
    """Whether a part goes by a name: "washers" of "six copper washers"."""
    return set(name.split()) <= {one_of(word) for word in description.lower().split()}


_BACK_ORDERED = "back-ordered"


def _number(said: dict[str, Any], context: Context) -> Meaning | Refused:
    if context.question_options or context.expects_number:
        return Number(said["value"])
    if context.awaits is not None:
        # The cylinder is the one that was asked for: none is heard.
        awaited = replace(context.awaits, value=said["value"])
        if isinstance(awaited, Condition):
            return replace(awaited, unit=_unit(awaited.quantity, said, context))
        return replace(awaited, unit=_unit_read(said, context))
    if context.baseline is not None and context.next_cylinder is not None:
        cut = Cut(context.next_cylinder, said["value"])
        if expected(cut, context):
            return cut
    return Refused("a number alone: say which cylinder or what it is")


def _which_cylinder(said: dict[str, Any], context: Context) -> Meaning | Refused:
    """The cylinder as an answer: the option of the waiting question that is about it.

    With none waiting, "it was four, not three" puts the cylinder of what was said last right.
    """
    if not context.question_options and "other_cylinder" in said:
        return Command(CommandWord.CORRECT, said["cylinder"], about="cylinder", instead_of=said["other_cylinder"])
    options = [getattr(option, "cylinder", None) for option in context.question_options]
    if options.count(said["cylinder"]) != 1:
        return Refused("a cylinder alone: say what was read")
    picks = (CommandWord.YES,) if len(options) == 1 else (CommandWord.FIRST, CommandWord.SECOND)
    at = options.index(said["cylinder"])
    return Command(picks[at]) if at < len(picks) else Refused("say the reading again")


def _command(said: dict[str, Any], context: Context) -> Meaning:
    about, named = said.get("about", ""), said.get("instead_of")
    return Command(CommandWord(said["word"]), said.get("cylinder"), said.get("value"), about, named)


_BUILDERS: dict[str, Callable[[dict[str, Any], Context], Meaning | Refused]] = {
    "cut": _cut,
    "baseline": _baseline,
    "fuel": _fuel,
    "condition": _condition,
    "run start": _run,
    "repeat": lambda said, context: _run({**said, "run": "idle", "repeat": True}, context),
    "idle fuel": _idle_fuel,
    "run end": lambda said, context: RunEnded(),
    "put back": _put_back,
    "check": _check,
    "trouble code": _code,
    "photo cue": lambda said, context: PhotoCue(said["subject"], said.get("cylinder")),
    "note": lambda said, context: Note(said["text"]),
    "job fact": lambda said, context: JobFact(said["field"], said.get("text") or plain(said["count"])),
    "part wanted": _part,
    "part again": _part_again,
    "part state": _part_state,
    "repair": lambda said, context: RepairDone(said["text"]),
    "command": _command,
    "number": _number,
    "which cylinder": _which_cylinder,
}
