"""A clause in, the runs, photos, codes, parts, repairs and facts about the job that it may report out."""

from __future__ import annotations

from collections.abc import Iterator

from journal.wording.clauses import Clause, Fill, Item, Made, fill, has_role
from journal.wording.frames_readings import BY_UNIT
from journal.wording.things import one_of

_PRESSURE_UNITS = frozenset({"MPa", "bar", "psi", "kPa"})
_MOST_PARTS = 99
_PART_NUMBERS_FROM = 1000
_FROM_A_METER = 1000
"""Hours or miles from which a number with that unit is off a meter, and no time or way that something took."""
_MOST_FMI = 31
"""The failure mode identifier has five bits (SAE J1939-73, from memory)."""
_UNNAMED_FMI = 0.3
_UNNAMED_CODE = 0.45
_LEAST_UNNAMED = 100
"""Number from which one before "FMI" is a suspect parameter number without a word for it."""
_NOT_SAID_WHICH = 0.6
"""Cost of half an engine without the cylinders that are out."""
_NO_SUBJECT = 0.2
"""Cost of a photo of which only the cylinder is said."""
_REPAIRED = ("fixable", "subject", "part", "wanted")


def runs(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A cut-out test begins, with the conditions it is done under."""
    if any(has_role(i, "baseline") for i in clause.items) and not clause.has("cut_out"):
        return
    half = clause.take("run", "half engine")
    scanner = None if half else clause.take("run", "scanner result")
    idle = clause.take("run", "idle")
    cut_out = clause.take("cut_out")
    test = clause.take("test")
    start = clause.take("start")
    if clause.has("over") and not start:
        return
    clause.take("intend")
    repeat = clause.take("repeat")
    fills: list[Fill | None] = []
    many, group = _held(clause)
    if many is not None:
        fills.append(Fill("cylinders", many.cylinders, many.start, many.end))
    if group is not None:
        fills.append(Fill("half", group))
    held = many is not None or group is not None
    pressed = clause.take("level")
    by_number = _set_pressure(clause)
    if pressed is not None and not by_number:
        fills.append(Fill("pressure", pressed))
    fills += by_number
    if (value := clause.take("repaired")) is not None:
        fills.append(Fill("after_repair", value))
    if (watched := clause.take("watched") or _rate(clause)) is not None:
        fills.append(Fill("quantity", watched))
    if clause.take("idle_fuel") is not None:
        if (fuel := clause.value()) is None:
            return
        fills.append(fill("idle_fuel", fuel))
    one_by_one = clause.take("one_by_one")
    cuts = clause.take("act", "cut") if not held else None
    if cuts or one_by_one:
        clause.take("cylinder_word")
        clause.take("all")
    clause.take("again")
    asked, extra = False, 0.0
    pressed_hard = pressed is not None or any(f is not None and f.name == "pressure_value" for f in fills)
    if half or held:
        kind, name = "run start", "half engine"
        asked = not held or not half
        extra = 0.0 if held else _NOT_SAID_WHICH
        if not half and not (start or test or clause.has("held")) and many is None:
            return
    elif scanner:
        kind, name = "run start", "scanner result"
    elif repeat and not idle and not cut_out:
        kind, name = "repeat", ""
    elif (idle and (cut_out or test or start or pressed_hard or cuts)) or cut_out or (one_by_one and cuts):
        kind, name = "run start", "idle"
        asked = bool(cuts) and not (cut_out or test)
    elif start and (test or pressed_hard):
        kind, name = "repeat", ""
        asked = not pressed_hard
    else:
        return
    if name:
        fills.insert(0, Fill("run", name))
    yield (clause.made(kind, *fills, asked=asked, extra=extra, sure=bool(half or cut_out or held)),)


def _rate(clause: Clause) -> str | None:
    """What is watched, where only the unit of it is named: "on litres per hour"."""
    for index, item in enumerate(clause.items):
        unit = next((p.value for p in item.parts if p.role == "unit"), "")
        if item.number is None and BY_UNIT.get(unit) == "fuel rate":
            clause.used.add(index)
            return BY_UNIT[unit]
    return None


def _held(clause: Clause) -> tuple[Item | None, str | None]:
    """The cylinders held out: listed, or by the name of a half."""
    if not clause.has("held") and not clause.has("run", "half engine"):
        return None, None
    many = clause.several()
    group = None
    if many is None and clause.has("half"):
        group = clause.take("half")
    if many is not None or group is not None:
        clause.take("held")
        clause.take("act", "cut")
        clause.take("cylinder_word")
        clause.take("half")
    return many, group


def _set_pressure(clause: Clause) -> list[Fill | None]:
    """The injection pressure as a number."""
    used = set(clause.used)
    value = clause.value()
    if value is None:
        return []
    named = clause.take("quantity", "injection pressure") or clause.take("override")
    if value.unit not in _PRESSURE_UNITS and not (value.unit == "" and named is not None):
        clause.used = used
        return []
    clause.take("force")
    clause.take("quantity", "injection pressure")
    unit = Fill("pressure_unit", value.unit) if value.unit else None
    return [fill("pressure_value", value), unit]


def put_back(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """Cylinders that fire again, or a pressure that is as it belongs."""
    if any(item.number is not None for item in clause.items) or clause.has("run") or clause.has("cut_out"):
        return
    pressure = clause.fresh()
    if pressure.take("override") is not None and pressure.take("released") is not None:
        pressure.take("act")
        pressure.take("again")
        pressure.take("quantity")
        pressure.take("released")
        yield (pressure.made("put back", Fill("what", "injection pressure")),)
    back, latest = clause.where("act", "back"), clause.where("latest")
    clause.take("act", "back")
    on = None if back else clause.take("act", "on")
    if back is None and on is None:
        return
    many = clause.several()
    one = None if many else clause.cylinder()
    everything = clause.take("all") is not None
    cylinders = clause.take("cylinder_word") is not None
    clause.take("again")
    if back is None and not everything:
        return
    if many is None and one is None and not everything and not cylinders and not clause.has("half"):
        return
    group = clause.take("half") if clause.has("half") else None
    which = () if everything or group else many.cylinders if many else one.cylinders if one else ()
    fills = [Fill("what", "cylinders")] + ([Fill("which", which)] if which else [])
    # "Take back the last three" may be three readings.
    unsure = on is not None or (back is not None and latest is not None and back < latest)
    yield (clause.made("put back", *fills, asked=unsure, extra=0.2 if on is not None else 0.0, sure=False),)


def ends(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A run is over: by an expression for it, or a test and that it is finished."""
    if clause.take("end") is not None:
        yield (clause.made("run end"),)
    elif (clause.has("cut_out") or clause.has("test")) and not clause.has("subject"):
        begins = any(has_role(item, "start") and not has_role(item, "test", "over") for item in clause.items)
        if begins or clause.take("over") is None:
            return
        clause.take("cut_out")
        clause.take("test")
        clause.take("run", "idle")
        yield (clause.made("run end"),)


def codes(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A trouble code by its two numbers."""
    numbers = [(i, item) for i, item in enumerate(clause.items) if item.number is not None]
    counted = clause.where("times_seen")
    if counted and len(numbers) == 3 and numbers[2][0] == counted - 1:
        clause.used |= {counted, numbers.pop()[0]}
    named = clause.take("spn") is not None
    mode_at = clause.where("fmi")
    told = len(numbers) == 2 and mode_at is not None and numbers[0][0] < mode_at < numbers[1][0]
    told = told and (numbers[0][1].number or 0) >= _LEAST_UNNAMED
    coded = clause.take("code") is not None
    if len(numbers) != 2 or not (named or coded or told):
        return
    fmi = clause.take("fmi") is not None
    if not fmi and (not named or (numbers[1][1].number or 0) > _MOST_FMI or numbers[0][1].end != numbers[1][1].start):
        return
    clause.used |= {i for i, _ in numbers}
    clause.take("code_state")
    spn, mode = fill("spn", numbers[0][1]), fill("fmi", numbers[1][1])
    extra = 0.0 if fmi else _UNNAMED_FMI
    extra += _UNNAMED_CODE if not named and not coded else 0.0
    yield (clause.made("trouble code", spn, mode, asked=not fmi, extra=extra),)


def photos(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """Where the next photos belong."""
    more = clause.before is not None and clause.before.kind == "photo cue"
    photo = clause.where("photo")
    said = clause.take("photo") is not None
    subject = clause.take("photo_of") if said or more else None
    if subject is None and not (said and any(len(item.cylinders) == 1 for item in clause.items[(photo or 0) :])):
        return
    clause.take("photo_of")
    clause.take("intend")
    if photo and clause.items[photo - 1].cylinders and clause.items[photo - 1].end == clause.items[photo].start:
        # "Two photos" are that many.
        clause.used.add(photo - 1)
    # "Photo, cylinder four": what can be shown of a cylinder as it is cut is on the scanner's screen.
    of = Fill("subject", subject or "scanner")
    yield (clause.made("photo cue", of, fill("cylinder", clause.cylinder()), extra=0.0 if subject else _NO_SUBJECT),)


def parts(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A part the job needs, how many and for which cylinder; one each where as many are named as cylinders."""
    more = clause.before is not None and clause.before.kind == "part wanted"
    wants = clause.take("want") is not None
    asks = wants or clause.take("please") is not None or more
    thing = next((item for item in clause.items if has_role(item, "wanted")), None)
    if thing is None:
        yield from _more_parts(clause, wants=wants)
        return
    if not asks:
        return
    clause.take("intend")
    name = clause.take("wanted")
    count, figure = _how_many(clause, thing)
    many = clause.several()
    one = None if many else clause.cylinder()
    if one is not None and one.end == thing.start and one.cost > 0:
        # "Six injectors" are that many, not the one of cylinder six.
        return
    amount = count if count is not None else 1
    if (number := _part_number(clause, thing)) is not None:
        name = f"{name} {number}"
    said = Fill("description", one_of(str(name)) if amount > 1 else name)
    if any(_counts(item) for i, item in enumerate(clause.items) if i not in clause.used):
        # "One for two and one for five" is more than one part.
        return
    if many is not None and amount == len(many.cylinders):
        each = [Fill("cylinder", c, many.start, many.end) for c in many.cylinders]
        first = clause.made("part wanted", said, each[0], extra=-figure)
        yield (first, *(Made("part wanted", (said, other), 0.0) for other in each[1:]))
        return
    quantity = Fill("quantity", amount) if count is not None else None
    yield (clause.made("part wanted", said, fill("cylinder", one), quantity, extra=-figure),)


def part_states(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """How far a wanted part has come: "the injector's on order", "the washers turned up"."""
    state = next((p.value for item in clause.items for p in item.parts if p.role == "part_state"), None)
    thing = next((item for item in clause.items if has_role(item, "wanted", "fixable", "part")), None)
    if state is None or thing is None or any(item.number is not None for item in clause.items):
        return
    name = next((p.value for p in thing.parts if p.role == "wanted"), None)
    clause.take("part_state", state)
    clause.used.add(clause.items.index(thing))
    words = Fill("called", (thing.start, thing.end), thing.start, thing.end)
    what = Fill("description", name) if name else words
    # "The pushrod's in" may mean the shop as well as the engine.
    told = Fill("state", "fitted" if state == "in" else state)
    yield (clause.made("part state", what, fill("cylinder", clause.cylinder()), told, asked=state == "in"),)


def _more_parts(clause: Clause, *, wants: bool) -> Iterator[tuple[Made, ...]]:
    """More of the part just named: "one for two and one for five", "better get one for six as well"."""
    one = clause.cylinder()
    place = next((at for at, item in enumerate(clause.items) if item is one), 0)
    if place == 0 or not has_role(clause.items[place - 1], "belongs"):
        return
    before = clause.items[:place]
    count = next((int(p.value) for item in before for p in item.parts if p.role == "quantity_word"), None)
    if count is None and wants:
        count = 1
    if count is None or one is None:
        return
    clause.take("quantity_word")
    clause.take("too")
    if clause.before is not None and clause.before.kind == "part wanted":
        name = clause.before.get("description")
        what = (Fill("description", one_of(str(name))), fill("cylinder", one), Fill("quantity", count))
        yield (clause.made("part wanted", *what),)
    elif wants:
        yield (clause.made("part again", fill("cylinder", one), Fill("quantity", count)),)


def _counts(item: Item) -> bool:
    """Whether a word is a cylinder or a number of parts."""
    return bool(item.cylinders) or any(p.role == "quantity_word" and p.value != "1" for p in item.parts)


def _part_number(clause: Clause, thing: Item) -> int | None:
    """The number of the part in somebody's catalogue, said after its name."""
    for index, item in enumerate(clause.items):
        whole = item.number is not None and item.number % 1 == 0 and not item.unit
        if whole and item.start >= thing.end and (item.number or 0) >= _PART_NUMBERS_FROM:
            clause.used.add(index)
            clause.take("cylinder_word")
            clause.take("part_number")
            return int(item.number or 0)
    return None


def _how_many(clause: Clause, thing: Item) -> tuple[int | None, float]:
    """How many of a part are wanted, none where it is not said; and what its number cost as a bare figure."""
    for index, item in enumerate(clause.items):
        many = next((int(p.value) for p in item.parts if p.role == "quantity_word"), None)
        if many is None and item.number is not None and item.number % 1 == 0 and not item.unit:
            many = int(item.number)
        beside = clause.items[max(0, index - 1) : index] + clause.items[index + 1 : index + 2]
        told = any(has_role(other, "quantity_of") for other in beside)
        if many is not None and 1 <= many <= _MOST_PARTS and (item.end == thing.start or told):
            clause.used.add(index)
            clause.take("quantity_of")
            return many, item.cost
    figures = [(i, item) for i, item in enumerate(clause.items) if item.number is not None]
    if len(figures) == 1 and len(clause.said) > len(clause.items) and any(has_role(i, "fix") for i in clause.said):
        # "Two injectors, make that three": what was put right stands after the name.
        index, item = figures[0]
        if item.number is not None and item.number in range(1, _MOST_PARTS + 1) and not item.unit:
            clause.used.add(index)
            return int(item.number), item.cost
    return None, 0.0


def repairs(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """What was repaired, in the words said."""
    if clause.take("fixed") is None and (clause.take("renewed") is None or not clause.has("done")):
        return
    if not any(has_role(item, *_REPAIRED) for item in clause.items):
        return
    if clause.has("another_day") or any(item.unit in ("hours", "miles") for item in clause.items):
        # "Filters were changed at eighteen hundred hours" tells of another day: that is worth a note.
        start, end = clause.items[0].start, clause.items[-1].end
        clause.used |= set(range(len(clause.items)))
        yield (clause.made("note", Fill("words", (start, end), start, end), sure=False),)
        return
    used = (*_REPAIRED, "fixed", "renewed", "done", "quality", "act", "all")
    clause.used |= {i for i, item in enumerate(clause.items) if has_role(item, *used) or item.number is not None}
    start, end = clause.items[0].start, clause.items[-1].end
    one = clause.cylinder()
    yield (clause.made("repair", Fill("words", (start, end), start, end), fill("cylinder", one)),)


def complaints(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """What the customer complains of, in the words said: "and the complaint is rough idle"."""
    if not clause.items or not has_role(clause.items[0], "complaint") or len(clause.items) < 2:
        return
    start, end = clause.items[0].end, clause.items[-1].end
    clause.used |= set(range(len(clause.items)))
    yield (clause.made("job fact", Fill("field", "complaint"), Fill("words", (start, end), start, end)),)


def counts(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """Hours run or mileage."""
    value = clause.value(frozenset({"", "hours", "miles"}))
    if clause.has("subject") or clause.has("fixed"):
        # "We did the overhead at five thousand hours" tells of another day.
        return
    if value is None or not (clause.has("fact") or (value.unit and (value.number or 0) >= _FROM_A_METER)):
        return
    fact = {"hours": "hours", "miles": "mileage"}.get(value.unit) or clause.take("fact")
    if fact:
        clause.used |= {i for i, item in enumerate(clause.items) if has_role(item, "fact")}
        amount = value.number or 0.0
        # "Eleven five on the meter" is eleven thousand five hundred.
        short = amount < 100 and amount % 1 != 0 and not value.unit
        count = Fill("count", amount * 1000 if short else amount, value.start, value.end)
        yield (clause.made("job fact", Fill("field", fact), count, asked=short, sure=False),)
