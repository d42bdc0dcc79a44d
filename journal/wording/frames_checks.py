"""A clause in, the checks that it may report out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from journal.facts.checks import SWAPPED
from journal.wording.clauses import Clause, Fill, Item, Made, fill, has_role
from journal.wording.lexicon import outcomes

_DEGREES = frozenset({"", "deg", "degC", "degF"})
_MEASURED_UNITS: dict[str, frozenset[str]] = {
    "lash": frozenset({"", "mm", "in", "thou"}),
    "lobe lift": frozenset({"", "mm", "in", "thou"}),
    "injector resistance": frozenset({"", "ohm"}),
    "leak-down": frozenset({"", "%"}),
    "compression": frozenset({"", "psi", "bar", "kPa"}),
    "port temperature": _DEGREES,
    "fuel supply": frozenset({"", "psi", "bar", "kPa", "MPa"}),
    "injector return flow": frozenset({"mL/min"}),
}
"""Subjects that are measured, and the units of their numbers."""
_REACH = 2
"""Words at most between a denial and what it denies."""
_OF_THE_ENGINE = 0.5
"""Cost of a cylinder named with what belongs to the whole engine."""
_BY_CHECK_UNIT = {"ohm": "injector resistance"}
_ENGINE_WIDE = frozenset(
    {"injection pressure circuit", "fuel supply", "air in fuel", "oil", "coolant", "intake and exhaust"}
)
_WANTS_CYLINDER = frozenset({"air test", "compression", "leak-down", "port temperature", "injector resistance",
                             "driver signal", "lash", "lobe lift", "injector seat", "injector swap",
                             "injector return flow", "relative compression", "injector circuit test"})  # fmt: skip
_HARDLY = 1.0
"""Cost from which a word is hardly the cylinder that it sounds like: the "to" of "moved to five"."""
_ELECTRICAL = frozenset({"wiring", "connector", "injector resistance", "driver signal", "injector circuit test"})
"""Subjects said in a breath of one injector's circuit: "four's wiring is good and the connector's clean"."""


def checks(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """Inspections and measurements that are no cut-out readings."""
    idioms = {p.value for item in clause.items for p in item.parts if p.role == "idiom"}
    subjects = {p.value: None for item in clause.items for p in item.parts if p.role == "subject"}
    value = next((item for item in clause.items if item.number is not None), None)
    if value is not None and value.unit in _BY_CHECK_UNIT:
        subjects.setdefault(_BY_CHECK_UNIT[value.unit])
    if _play(clause):
        subjects.setdefault("lash")
    elif clause.has("part"):
        subjects.setdefault("overhead")
    if value is None and (
        clause.has("quantity", "desired injection pressure")
        or (clause.has("force") and clause.has("quantity", "injection pressure"))
    ):
        # "Injection pressure holds at desired" is no word on leaks.
        idioms = {idiom for idiom in idioms if not idiom.startswith("injection pressure circuit")}
        subjects = {"pressure as desired": None}
    if not subjects and clause.has("quality", "open", "short") and (clause.has("cylinder_word") or _no_more(clause)):
        subjects.setdefault("injector resistance")
    if clause.has("quality", "leaking", "holding"):
        subjects.setdefault("air test")
        if value is not None and value.unit == "%":
            subjects.setdefault("leak-down")
    if clause.before is not None and clause.before.kind == "check" and not idioms:
        subjects.setdefault(str(clause.before.get("subject")))
    for idiom in sorted(idioms):
        subject, outcome = idiom.split("/")
        yield from _check(clause.fresh(), subject, outcome, idiom)
    for subject in subjects:
        yield from _check(clause.fresh(), subject)


def _no_more(clause: Clause) -> bool:
    """Whether no more is said than a cylinder and what is found of it: "two is open circuit"."""
    first, *rest = clause.items
    plain = all(has_role(item, "quality", "link", "aside") and not item.pause for item in rest)
    return bool(first.cylinders) and plain


def _play(clause: Clause) -> bool:
    """Whether a valve is said to be loose or tight, which is its lash and no damage."""
    said = [item for item in clause.items if has_role(item, "damage")]
    return clause.has("part", "valve") and all(
        any(p.role == "quality" and p.value in ("loose", "tight") for p in item.parts) for item in said
    ) and clause.has("quality", "loose", "tight")  # fmt: skip


def _check(clause: Clause, subject: str, outcome: str = "", idiom: str = "") -> Iterator[tuple[Made, ...]]:
    named = clause.take("idiom", idiom) if idiom else clause.take("subject", subject)
    inherited = named is None and clause.before is not None and clause.before.get("subject") == subject
    value = clause.value(_MEASURED_UNITS.get(subject, frozenset()))
    into = _leaks_into(clause) if subject == "air test" else None
    each = clause.several() if value is None and into is None else None
    cylinder = None if each else clause.cylinder()
    part = clause.take("part") if subject == "overhead" else None
    extra, asked = 0.0, False
    fills: list[Fill] = []
    if into is not None:
        fills.append(Fill("other_cylinder", into.cylinders[0], into.start, into.end))
        outcome = "leaks"
    if idiom:
        clause.take("subject", subject)
    else:
        told, extra, asked = _outcome(clause, subject, part)
        outcome = told or outcome
        if not outcome and value is None and not clause.has("place"):
            return
    if subject in ("air test", "leak-down") and (place := clause.take("place")):
        fills.append(Fill("place", place))
        if subject == "air test" and not outcome:
            outcome = "leaks"
    if subject == "air test":
        clause.take("quality", "leaking", "holding")
        if clause.has("turned"):
            fills.append(Fill("crank_turned", clause.take("turned")))
        lent = clause.before is not None and clause.before.get("cylinder") is not None
        if named is None and not inherited and cylinder is None and each is None and not lent:
            return
        if outcome == "holds" and any(f.name == "place" for f in fills):
            # What holds leaks nowhere.
            return
        if named is None and not inherited:
            # "Three leaks" without air or where to says too little; "holds" hardly more.
            extra += 0.0 if fills else 0.35
            asked = asked or not (fills or clause.has("turned"))
    if part is not None and outcome == "damaged":
        fills.append(Fill("part", part))
    lends = subject in _WANTS_CYLINDER or (
        subject in _ELECTRICAL and clause.before is not None and clause.before.get("subject") in _ELECTRICAL
    )
    if cylinder is None and each is None and clause.before is not None and lends and clause.before.get("cylinder"):
        fills.append(next(f for f in clause.before.fills if f.name == "cylinder"))
        extra += 0.1
    if subject == "pressure as desired":
        clause.take("quantity", "desired injection pressure")
        clause.take("quantity", "injection pressure")
        clause.take("force")
    if subject == "lash" and _play(clause):
        clause.take("part", "valve")
        clause.take("damage")
    if subject in _ENGINE_WIDE:
        clause.used |= {i for i, item in enumerate(clause.items) if has_role(item, "quantity") and _says(item, subject)}
    if cylinder is not None and subject in _ENGINE_WIDE:
        asked = True
        extra += _OF_THE_ENGINE
    if value is not None and subject == "lobe lift" and not value.unit:
        return
    if cylinder is None and each is None and subject not in _ENGINE_WIDE and clause.take("same_one") is not None:
        fills.append(Fill("same", True))
    if (
        cylinder is None
        and each is None
        and not any(f.name in ("cylinder", "same") for f in fills)
        and subject in _WANTS_CYLINDER
        and outcome != "even"
    ):
        asked = True
        extra += 0.5
    if value is not None:
        amount, unit = value.number, value.unit
        if unit == "thou" and amount is not None:
            amount, unit = round(amount / 1000, 6), "in"
        unit = "" if unit == "deg" else "ohm" if subject == "injector resistance" else unit
        unit = "%" if subject == "leak-down" else unit
        fills += [Fill("value", amount, value.start, value.end)]
        fills += [Fill("unit", unit)] if unit else []
    fills = [Fill("subject", subject), Fill("outcome", outcome or "measured"), *fills]
    fills += [f for f in (fill("cylinder", cylinder),) if f]
    if any(_of_another(item, subject) for i, item in enumerate(clause.items) if i not in clause.used):
        asked = True
    if named is None and not inherited and part is None and not idiom:
        extra += 0.1
    clause.take("again")
    clause.take("test")
    clause.take("all")
    clause.take("act")
    sure = each is not None or any(f.name in ("cylinder", "value") for f in fills)
    if value is not None and not value.unit and value.end == value.start + 1 and (value.number or 0) in range(1, 10):
        # A figure alone may be a cylinder: "lash, one and two".
        asked = True
    made = clause.made("check", *fills, extra=extra, asked=asked, sure=sure)
    if each is None:
        yield (made,)
        return
    rest = tuple(f for f in made.fills if f.name != "cylinder")
    several = [Fill("cylinder", c, each.start, each.end) for c in each.cylinders]
    yield tuple(replace(made, fills=(*rest, one), cost=made.cost if at == 0 else 0.0) for at, one in enumerate(several))


def _leaks_into(clause: Clause) -> Item | None:
    """The second of two cylinders, into which the first one leaks."""
    places = [(i, item) for i, item in enumerate(clause.items) if len(item.cylinders) == 1]
    leaks = clause.where("quality", "leaking")
    if len(places) != 2 or leaks is None or leaks > places[1][0]:
        return None
    clause.used.add(places[1][0])
    return places[1][1]


def _outcome(clause: Clause, subject: str, part: str | None) -> tuple[str, float, bool]:
    """What is said of a subject as one of its outcomes, empty when nothing is; its cost, and whether to ask."""
    if subject == "overhead" and part is not None and clause.has("damage"):
        denied = _denied(clause, clause.where("damage"))
        clause.take("damage")
        clause.take("quality", "broken", "loose", "worn", "bad", "tight", "open")
        return ("sound", 0.1, False) if denied else ("damaged", 0.0, False)
    table = outcomes()
    # "Okay, lash is tight": a word that may mean nothing says what is found only where no other does.
    said_first = sorted(enumerate(clause.items), key=lambda pair: has_role(pair[1], "link"))
    for index, item in said_first:
        if (index in clause.used and len(item.parts) < 2) or clause.taken_back(index):
            continue
        if index and has_role(item, "link") and clause.items[index - 1].number is not None and not item.pause:
            # A word that may mean nothing is no judgement of the number before it.
            continue
        for said in sorted(item.parts, key=lambda part: part.role != "quality"):
            if said.role not in ("quality", "no_change", "dead"):
                continue
            name = said.value if said.role == "quality" else {"no_change": "even", "dead": "absent"}[said.role]
            denied = _denied(clause, index)
            found = table.get((subject, f"not {name}" if denied else name))
            if found:
                clause.used.add(index)
                return found[0], 0.0, found[1]
    where = clause.where("neg", "not")
    if (
        where is not None
        and not clause.taken_back(where)
        and (found := table.get((subject, "none")) or table.get((subject, "not present")))
    ):
        clause.used.add(where)
        return found[0], 0.05, found[1]
    return "", 0.0, False


def _of_another(item: Item, subject: str) -> bool:
    """Whether a word can only name another subject."""
    names = has_role(item, "subject") and not has_role(item, "link", "aside", "act", "quality", "cylinder_word")
    return names and not _says(item, subject)


def _says(item: Item, subject: str) -> bool:
    """Whether a word may name a subject, or none."""
    named = {p.value for p in item.parts if p.role == "subject"}
    return not named or subject in named


def _denied(clause: Clause, at: int | None) -> bool:
    """Whether a word of denial stands before an item, nothing but what means nothing between; it counts as used."""
    if at is None:
        return False
    for index in range(at - 1, -1, -1):
        item = clause.items[index]
        if clause.items[at].start - item.end > _REACH:
            return False
        if has_role(item, "neg") and not item.cylinders and item.number is None:
            clause.used.add(index)
            return True
        if not has_role(item, "link", "subject", "part", "aside"):
            return False
    return False


def swaps(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """Two injectors exchanged, and whether the miss went with one."""
    places = [(i, item) for i, item in enumerate(clause.items) if item.cylinders and item.cost < _HARDLY]
    named = [c for _, item in places for c in item.cylinders]
    # "Two's injector is in five and five's in two."
    both_ways = len(named) == 4 and named[:2] == named[:1:-1]
    exchanged = clause.take("swap", "each") is not None or both_ways
    moved = clause.take("swap") is not None or clause.take("repaired") is not None or exchanged
    outcome = clause.take("moved") or (SWAPPED if exchanged else None)
    clause.take("from")
    told = moved or outcome == "miss moved"
    if not told or outcome is None or (outcome == SWAPPED and len(dict.fromkeys(named)) != 2):
        return
    if outcome == SWAPPED:
        clause.take("fixable", "yes")
        clause.take("wanted", "injector")
        clause.take("done")
    clause.used |= {i for i, _ in places}
    clause.take("subject", "injector swap")
    clause.take("cylinder_word")
    if len(named) < 1 or len(dict.fromkeys(named)) > 2:
        return
    one, other = (*dict.fromkeys(named), None)[:2]
    stands = named[2] if len(named) > 2 else None
    if outcome == "miss moved" and stands == one:
        return
    place = places[0][1]
    fills = [Fill("subject", "injector swap"), Fill("outcome", outcome), Fill("cylinder", one, place.start, place.end)]
    if other is not None:
        fills.append(Fill("other_cylinder", other, places[-1][1].start, places[-1][1].end))
    yield (clause.made("check", *fills, asked=not moved and other is None),)
