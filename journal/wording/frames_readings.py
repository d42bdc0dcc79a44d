"""A clause in, the cut-out readings and conditions that it may report out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from journal.facts import UNITS, Quantity
from journal.wording.clauses import Clause, Fill, Item, Made, fill, has_role, unit_of

_WATCHED = ("fuel per stroke", "fuel rate", "engine speed", "load", "power")
BY_UNIT = {
    "rpm": "engine speed", "kW": "power", "hp": "power", "L/h": "fuel rate", "gal/h": "fuel rate", "kg/h": "fuel rate",
    "mL/min": "return flow", "mg": "fuel per stroke", "mm3": "fuel per stroke",
}  # fmt: skip
"""What a number with a unit is of, where only the unit tells."""
_CUT_UNITS = frozenset({"", *(unit for q in _WATCHED for unit in UNITS[Quantity(q)])}) - {"N", "N.m", "lb.ft"}
"""Units of what a cylinder is cut for; nobody reads a brake's torque off the scanner."""
_BOTH = 0.4
"""Cost of a number and "no change" said of one cylinder."""
_PART_OF_NUMBER = 1.0
_WANTED = 3.0
"""Cost of a reading in words that ask for a part: "get one for five"."""
_PUT_RIGHT = 0.3
"""Cost of a reading in words that put one right: "I meant thirty six for two"."""
_NOT_SO = 0.9
"""The same where it is said what is not so: "two wasn't thirty seven, it was thirty five"."""
_NEXT_AND_NAMED = 0.7
_BACKWARDS = 0.9
_TIME_OF_DAY = 1.0
_BEGUN_AGAIN = 0.7
_COUNTED = 2.0
_EACH_UNSAID = 2.5
"""Cost of one number for several cylinders without "each" or "all"."""
_ONLY_OIL = {Quantity.OIL_TEMPERATURE: 0.25, Quantity.OIL_PRESSURE: 0.6}
"""Cost of what a number without a unit may be, where only "oil" is said."""
_NO_UNIT = frozenset({""})
_DEGREES = frozenset({"", "deg", "degC", "degF"})


def _no_change(clause: Clause, value: Item | None) -> tuple[bool, bool]:
    """Whether the clause says that nothing changed, and whether only that the cylinder is dead.

    Beside a number, words such as "steady" say nothing of the kind.
    """
    if value is not None and not clause.only("no_change"):
        # "That's four dead, thirty six": what is read counts, whoever made it dead.
        clause.take("dead")
        return False, False
    said = clause.take("no_change") is not None
    dead = clause.take("dead") is not None
    return said or dead, dead and not said


def readings(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """What the scanner shows with cylinders cut."""
    named_anew = clause.has("baseline") or (clause.has("subject") and not clause.has("quantity"))
    if not named_anew and clause.before is not None and clause.before.kind in ("check", "part wanted"):
        return
    if clause.only("quality") and not any(clause.has(role) for role in ("no_change", "dead", "act", "too")):
        return
    if (at := _returned_to(clause)) is not None:
        clause.used.add(at)
    value = clause.value(_CUT_UNITS)
    same, only_dead = _no_change(clause, value)
    prior: str | int | None = None
    if value is None and (model := _same_as(clause)) is not None:
        prior, same = model, False
    elif value is None and not same and _only_too(clause):
        # "Five's good too": the same was found of it.
        prior = ("yes" if clause.take("quality") else "last") if clause.take("too") else None
    elif value is None and clause.has("prior", "last"):
        prior, same = clause.take("prior", "last"), False
    elif value is None and clause.has("prior") and not same:
        prior = clause.take("prior")
    elif value is None and same and clause.has("prior") and clause.before is not None and clause.before.kind == "cut":
        prior = "yes"
    if value is None and not same and prior is None:
        return
    acted = clause.take("act", "cut") is not None
    named = clause.take("quantity", *_WATCHED) is not None
    again = clause.take("again") is not None
    marked = any(item.cylinders and item.cost == 0 for item in clause.items)
    sure = acted or named or marked or same
    extra = _BOTH if value is not None and same else 0.0
    if not acted:
        extra += odd(clause, named) + (_WANTED if clause.has("want") else 0.0)
    extra += _PUT_RIGHT if value is not None and has_role(clause.said[0], "amend") else 0.0
    extra += _NOT_SO if not acted and denies_number(clause) else 0.0
    alike = same and value is None and not acted and clause.has("prior")
    # "Change number one to no change" puts right what only a number can.
    asked = only_dead and value is None
    if same and value is None and (clause.has("amend", "yes") or has_role(clause.said[0], "amend")):
        return
    if isinstance(prior, int):
        what: tuple[Fill | None, ...] = (Fill("value_of", prior),)
    elif prior is not None and clause.before is not None and clause.before.kind == "cut":
        earlier = next((f for f in clause.before.fills if f.name == "value"), None)
        what = (replace(earlier, start=-1, end=-1) if earlier else Fill("no_change", True),)
        asked = prior != "last"
    elif prior is not None:
        what, asked = (Fill("value_of", "last"),), prior != "last"
    elif value is not None and (rise := _rise(clause, value)) is not None:
        what, asked = (fill("rise", value, rise),), True
    elif value is not None:
        what = (fill("value", value), unit_of(value))
    else:
        what = (Fill("no_change", True), Fill("alike", True) if alike else None)
    if value is not None and same:
        asked = True
    if clause.has("next"):
        which = clause.take("next")
        cylinder = None
        if any(item.cylinders for item in clause.items):
            cylinder = clause.cylinder()
            extra += _NEXT_AND_NAMED
        name = fill("cylinder", cylinder) if cylinder else Fill("next", which)
        yield (clause.made("cut", name, *what, asked=asked or which == "last", extra=extra, sure=sure),)
        return
    one = clause.cylinder()
    if one is None and clause.take("same_one") is not None:
        yield (clause.made("cut", Fill("same", True), *what, asked=asked or not again, extra=extra, sure=sure),)
        return
    if one is not None:
        added = one.joined and value is not None and value.end < one.start
        if same and value is not None and value.end <= one.start:
            # "Two thirty five, and number three no change" is no 235 of three.
            extra += _BOTH
        yield (clause.made("cut", fill("cylinder", one), *what, asked=asked or added, extra=extra, sure=sure),)
        return
    many = clause.several()
    if many is not None:
        each = clause.take("both") or clause.take("all")
        extra += 0.0 if each else _EACH_UNSAID
        first = clause.made("cut", _first(many), *what, asked=asked, extra=extra, sure=sure)
        others = [
            replace(first, cost=0.0, fills=(Fill("cylinder", c, many.start, many.end), *first.fills[1:]))
            for c in many.cylinders[1:]
        ]
        yield (first, *others)


def _rise(clause: Clause, value: Item) -> float | None:
    """How far a number rose, where that is all that is said: "gone up six"."""
    for index, item in enumerate(clause.items):
        said = has_role(item, "rise", "fall") and not has_role(item, "link", "act")
        if said and item.end == value.start and not value.pause and value.number is not None:
            clause.used.add(index)
            return -value.number if has_role(item, "fall") else value.number
    return None


def _only_too(clause: Clause) -> bool:
    """Whether no more is said of a cylinder than "as well": "five as well"."""
    plain = ("too", "link", "aside", "cylinder_word", "hesitation", "quality")
    rest = [item for item in clause.items if len(item.cylinders) != 1]
    return clause.has("too") and all(has_role(item, *plain) for item in rest) and len(rest) < len(clause.items)


def _returned_to(clause: Clause) -> int | None:
    """Where it is said that a cylinder is cut once more: "back on number one again"."""
    return next((at for at in _before_a_cylinder(clause, "return_to")), None)


def _before_a_cylinder(clause: Clause, role: str) -> list[int]:
    """The items with a role that stand straight before a single cylinder."""
    return [
        at for at, (item, after) in enumerate(pairwise(clause.items))
        if has_role(item, role) and len(after.cylinders) == 1 and not after.pause
    ]  # fmt: skip


def in_order(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A number for each of several cylinders: "one two three, thirty five, thirty six, thirty five in that order"."""
    numbers = [item for item in clause.items if item.number is not None]
    places = [item for item in clause.items if item.cylinders]
    named = [(c, item) for item in places for c in item.cylinders]
    told = clause.take("in_order") is not None
    if len(numbers) < 2 or any(item.unit not in _CUT_UNITS for item in numbers) or clause.has("baseline"):
        return
    if not named and told and clause.take("all") is not None:
        named = [(at, item) for at, item in enumerate(numbers, 1)]
    elif not places or not (places[-1].end <= numbers[0].start or numbers[-1].end <= places[0].start):
        return
    if len(named) != len(numbers) or len({c for c, _ in named}) != len(named):
        return
    acted = clause.take("act", "cut") is not None
    clause.take("both")
    clause.take("quantity", *_WATCHED)
    clause.used |= {i for i, item in enumerate(clause.items) if item.number is not None or item.cylinders}
    sure = told or acted or any(item.cost == 0 for item in places)
    asked = not places or not sure or any(item.joined for item in places[1:])
    fills = [
        (Fill("cylinder", c, item.start, item.end), fill("value", number), unit_of(number))
        for (c, item), number in zip(named, numbers, strict=True)
    ]
    first = clause.made("cut", *fills[0], asked=asked, extra=0.0 if sure else _EACH_UNSAID, sure=sure)
    yield (first, *(replace(first, cost=0.0, fills=tuple(f for f in each if f)) for each in fills[1:]))


def _same_as(clause: Clause) -> int | None:
    """The cylinder that another one reads the same as: "three's the same as two"."""
    for index, item in enumerate(clause.items[1:], 1):
        if len(item.cylinders) == 1 and has_role(clause.items[index - 1], "same_as"):
            clause.used |= {index - 1, index}
            return item.cylinders[0]
    return None


def _first(several: Item) -> Fill:
    return Fill("cylinder", several.cylinders[0], several.start, several.end)


def denies_number(clause: Clause) -> bool:
    """Whether a number is said not to be so: "one seventy, not one ninety"."""
    said = clause.said
    return any(
        has_role(item, "neg") and not has_role(item, "fix") and said[at].number is not None and not said[at].pause
        for at, item in enumerate(said[:-1], 1)
    )


def odd(clause: Clause, named: bool) -> float:
    """Cost of a cylinder and a number that are hardly a reading: "engine speed six fifty five", "six cylinders"."""
    for one, other in pairwise(clause.said):
        if one.number is not None and other.end > other.start and has_role(other, "cylinder_word") and not other.pause:
            return _COUNTED
    if len(clause.said) > 1 and has_role(clause.said[0], "fix") and clause.said[1].pause:
        return _BEGUN_AGAIN
    for one, other in pairwise(clause.said):
        together = one.end == other.start and not other.pause
        if together and other.cylinders and one.number is not None:
            return _BACKWARDS
        if together and one.cylinders and other.number is not None:
            return _PART_OF_NUMBER if named else _TIME_OF_DAY if one.after_at else 0.0
    return 0.0


def repeated(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A number said twice in two ways: "thirty, three oh"."""
    numbers = [(i, item) for i, item in enumerate(clause.items) if item.number is not None]
    if len(numbers) == 2 and numbers[0][1].number == numbers[1][1].number:
        clause.used |= {i for i, _ in numbers}
        yield (replace(clause.made("number", fill("value", numbers[0][1])), asked=False),)


def all_but(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """ "All of them thirty six except three, that's thirty one"."""
    numbers = [(i, item) for i, item in enumerate(clause.items) if item.number is not None]
    if not clause.has("all") or len(numbers) not in (1, 2) or _all_in(clause):
        return
    if any(item.unit not in _CUT_UNITS for _, item in numbers) or clause.has("baseline"):
        return
    clause.take("all")
    clause.take("both")
    clause.take("act", "cut")
    clause.take("quantity", *_WATCHED)
    one = clause.cylinder()
    excepted = clause.take("except")
    if (one is None) != (excepted is None) or (len(numbers) == 2 and one is None):
        return
    clause.used |= {i for i, _ in numbers}
    first = numbers[0][1]
    fills = [Fill("all", True), Fill("but", one.cylinders[0] if one else 0), fill("value", first), unit_of(first)]
    unmoved = one is not None and len(numbers) == 1 and clause.take("no_change") is not None
    if unmoved:
        clause.take("same_one")
    made = [clause.made("cut", *fills, asked=True)]
    if one is not None and unmoved:
        made.append(Made("cut", tuple(f for f in (fill("cylinder", one), Fill("no_change", True)) if f), 0))
    if one is not None and len(numbers) == 2:
        second = numbers[1][1]
        made.append(
            Made("cut", tuple(f for f in (fill("cylinder", one), fill("value", second), unit_of(second)) if f), 0)
        )
    yield tuple(made)


def _all_in(clause: Clause) -> bool:
    """Whether all cylinders are said to work: "with all eight lit"."""
    if not clause.has("all") or clause.has("except") or any(item.cylinders for item in clause.items):
        return False
    return clause.has("act", "on") or (clause.has("act", "back") and not clause.has("act", "cut"))


def baseline(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """The reading with nothing further cut."""
    value = clause.value(_CUT_UNITS)
    if value is None or _returned_to(clause) is not None:
        return
    named = clause.take("baseline") is not None
    if not named and _all_in(clause):
        clause.take("act", "on")
        clause.take("act", "back")
        clause.take("cylinder_word")
    elif not named:
        # "Two's back on, thirty one."
        if (
            clause.has("act", "cut")
            or clause.take("act", "back") is None
            or clause.has("quantity", "engine speed", "injection pressure")
        ):
            return
        if clause.has("again") and _before_a_cylinder(clause, "act"):
            # "Back on one again, thirty six" is what one reads.
            return
        if clause.cylinder() is None and clause.several() is None and clause.take("all") is None:
            return
        place = next((item for item in clause.items if item.cylinders), None)
        if place is not None and place.start > value.start and not place.pause:
            # "Four five and six back on" is no forty five.
            return
    elif any(item.cylinders for item in clause.items):
        clause.take("cylinder_word")
    clause.take("quantity", *_WATCHED)
    clause.take("start")
    clause.take("all")
    yield (clause.made("baseline", fill("value", value), unit_of(value), asked=value.tenths),)


def conditions(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """How the engine stands: fuel, speed, pressures, temperatures, load."""
    if any(item.cylinders for item in clause.items):
        return
    value = clause.value()
    if value is None or clause.has("amend", "yes") or denies_number(clause):
        return
    unit = value.unit
    if clause.take("it_now") is not None:
        yield (clause.made("condition", Fill("same", True), fill("value", value), unit_of(value), sure=False),)
        return
    named = [q for q in Quantity if clause.has("quantity", q)]
    if clause.has("baseline"):
        named = [q for q in named if q is not Quantity.FUEL_PER_STROKE]
    if not named and clause.has("run", "idle") and unit in ("", "rpm"):
        named = [Quantity.ENGINE_SPEED]
    by_unit = Quantity(BY_UNIT[unit]) if unit in BY_UNIT else None
    if by_unit is not None and all(q is Quantity.FUEL_PER_STROKE or unit not in UNITS[q] for q in named):
        clause.take("quantity", *named)
        named = [by_unit]
    used = set(clause.used)
    for quantity in named:
        clause.used = set(used)
        allowed = {*UNITS[quantity], ""} | (_DEGREES if "temperature" in quantity else _NO_UNIT)
        if unit not in allowed:
            continue
        clause.take("quantity", quantity)
        clause.take("force")
        if quantity is Quantity.ENGINE_SPEED:
            clause.take("run", "idle")
            clause.take("quantity", "engine speed")
        general = _ONLY_OIL.get(quantity, 0.0) if not unit and _only_oil(clause) else 0.0
        kind = "fuel" if quantity is Quantity.FUEL_PER_STROKE else "condition"
        told = Fill("quantity", str(quantity)) if kind == "condition" else None
        # "That's off now, reading seventy two" is no fuel with all cylinders in.
        asked = value.tenths or (kind == "fuel" and clause.has("act", "cut"))
        said = replace(value, unit="") if unit == "deg" else value
        yield (clause.made(kind, told, fill("value", value), unit_of(said), extra=general, asked=asked),)


def _only_oil(clause: Clause) -> bool:
    """Whether "oil" is all that is said of what is measured."""
    return not any(p.role == "quantity" and p.value in _ONLY_OIL and item.end - item.start > 1
                   for item in clause.items for p in item.parts)  # fmt: skip
