"""An utterance's words in, the entries they may make by their parts in any order out, each way with a cost."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from journal.wording import frames_checks, frames_job, frames_mending, frames_readings
from journal.wording.clauses import Fill, Item, Made, settled
from journal.wording.cylinders import ORDINALS, cylinder_at, several_at
from journal.wording.lexicon import Part, Said, lexicon
from journal.wording.numbers import atoms, readings
from journal.wording.things import Thing, one_of, thing_at

_FAMILIES = (
    frames_readings.readings, frames_readings.all_but, frames_readings.baseline, frames_readings.conditions,
    frames_readings.repeated, frames_readings.in_order, frames_checks.checks, frames_checks.swaps, frames_job.runs,
    frames_job.put_back, frames_job.ends, frames_job.codes, frames_job.photos, frames_job.parts,
    frames_job.part_states, frames_job.repairs, frames_job.complaints, frames_job.counts, frames_mending.corrections,
    frames_mending.moved, frames_mending.taken_back, frames_mending.control, frames_mending.mixed_up,
)  # fmt: skip
_NEEDS = {
    frames_readings.baseline: {"baseline", "act"}, frames_job.codes: {"spn", "fmi", "code"},
    frames_job.runs: {"run", "cut_out", "held", "repeat", "one_by_one", "start"},
    frames_job.photos: {"photo", "photo_of"},
    frames_job.parts: {"wanted", "belongs"}, frames_mending.corrections: {"fix", "neg", "amend", "take_back"},
    frames_mending.moved: {"neg", "belongs"},
    frames_readings.all_but: {"all"}, frames_job.put_back: {"act", "override"},
    frames_job.ends: {"end", "cut_out", "test"}, frames_job.part_states: {"part_state"},
    frames_job.repairs: {"fixed", "renewed"}, frames_job.complaints: {"complaint"},
    frames_mending.taken_back: {"take_back"}, frames_mending.control: {"control", "recall"},
    frames_mending.mixed_up: {"mixed_up"},
}  # fmt: skip
"""Roles without any of which a family makes nothing of a clause."""
_WIDTH = 14
_WORST = 4.5
_MOST_MADE = 24
"""Things that anybody says in a breath; without a bound a thousand number words would take ten seconds."""
_MOST_ITEMS = 40
"""The same of the parts of one clause."""
_MISSPELT = 0.5
_BARE_CYLINDER = 0.06
_NEW_CLAUSE = 0.25
"""Cost of beginning a clause where nothing but the sense says so."""
_SPLIT = 0.15
_SPLIT_TENS = 0.8
_TORN = 3.0
"""Cost of ending a number before a word that goes on with it."""
_GOES_ON = frozenset({"point", "decimal", "dot", "comma", "hundred", "thousand"})
_RANGES = frozenset({"to", "through", "thru"})
_COUNTED = frozenset({"hundred", "thousand"})
_ZERO = frozenset({"oh", "o", "zero", "nought", "naught"})
_NUMBERED_BESIDES = frozenset(
    {"check", "condition", "part wanted", "trouble code", "job fact", "run start", "photo cue"}
)
"""Kinds that a number or a cylinder beside them may belong to."""
_EVEN = frozenset({"even", "flat"})
_TIMED = frozenset({"at", "by", "around", "about", "till", "until"})
_POINTING = frozenset(
    {
        "this",
        "that",
        "which",
        "other",
        "good",
        "bad",
        "last",
        "next",
        "new",
        "old",
        "same",
        "another",
        "each",
        "every",
        "front",
        "back",
        "rear",
        "frontmost",
        "rearmost",
    }
)
"""Words after which "one" is no cylinder."""
_OF_A_CYLINDER = frozenset({"on", "number", "cylinder"})
_PRONOUN = 1.5
"""Cost of "one" as a reading."""
_BARE_ORDINAL = 0.4
_PART_OF_A_NUMBER = 0.5
"""Cost of a cylinder after a number and "and"."""
_CUT_SHORT = 0.6
"""Cost of words apart that are an expression together."""
_CROWDED = 0.6
_MORE_PARTS = 0.7
_ONE_FIGURE = 0.6
_PAUSE_IN_NUMBER = 0.4
_PAUSE_IN_THOUSANDS = 1.0
"""The same where it would make thousands: "thirty four, thirty five" are two readings."""
_BINDING = frozenset({"veto", "intend"})
"""Roles whose words are not taken apart: what they say of the clause is not got round."""
_DENIALS = frozenset({"no", "not", "never", "nothing", "without"})
_HARMLESS = frozenset({"fix", "link", "aside"})
_NOTHING = Part("link", "yes")
_DOUBTFUL = Part("doubtful", "yes")
_NAMES = frozenset({"quantity", "subject", "part", "baseline", "engine_thing"})
_JOINS = frozenset({"and", "then", "so", "but"})
_NUMBER_WORDS = frozenset({"point", "decimal", "double", "triple", "a", "minus", "dot"})


@dataclass(frozen=True)
class Way:
    """One way of understanding the whole utterance."""

    made: tuple[Made, ...]
    """The entries, in order."""
    cost: float
    """How far the words are from them."""


@lru_cache(maxsize=8_000)
def entries_of(items: tuple[Item, ...], before: Made | None) -> tuple[tuple[Made, ...], ...]:
    """Every way a clause makes entries, cheapest first, at most three.

    Args:
        items: its parts in the order said.
        before: the last entry of the clause before it, which may lend its subject or its cylinder.
    """
    clause = settled(items, before)
    roles = clause.roles or frozenset()
    found = [
        made for family in _FAMILIES if not (needs := _NEEDS.get(family)) or needs & roles
        for made in family(clause.fresh())
    ]  # fmt: skip
    best: dict[object, tuple[Made, ...]] = {}
    for made in sorted(found, key=_cost):
        best.setdefault(tuple((m.kind, frozenset((f.name, f.value) for f in m.fills)) for m in made), made)
    start, end = items[0].start, items[-1].end
    kept = [made for made in best.values() if _cost(made) < _WORST][:3]
    return tuple(tuple(replace(m, start=start, end=end) for m in made) for made in kept)


def _cost(made: tuple[Made, ...]) -> float:
    return sum(m.cost for m in made)


def ways(words: Sequence[Said], cylinders: int) -> list[Way]:
    """Every way to understand an utterance by its parts, cheapest first.

    Args:
        words: its words, as `said_words` gives them.
        cylinders: how many the engine has.
    """
    if not words or _asks([w.text for w in words]):
        return []
    return _Search(list(words), cylinders).run()


def _asks(words: Sequence[str]) -> bool:
    """Whether somebody is asked something; "can you get me …" asks for a part."""
    _, parts = max(lexicon().at(words, 0), key=lambda pair: pair[0], default=(0, ()))
    return any(p.role in ("asking", "polite") for p in parts)


def ends_expression(words: Sequence[str]) -> bool:
    """Whether the last word ends an expression of several words: "back in" wants nothing after it, "good on" does."""
    last = len(words)
    return any(end == last for at in range(max(0, last - 5), last - 1) for end, _ in lexicon().at(words, at))


class _Search:
    """A walk along the words that gathers parts into clauses and closes a clause where it makes sense."""

    def __init__(self, words: list[Said], cylinders: int) -> None:
        self.said = words
        self.words = [w.text for w in words]
        self.cylinders = cylinders
        roles = [
            (end, part.role)
            for at in range(len(self.words))
            for end, parts in lexicon().at(self.words, at)
            for part in parts
        ]
        self.wants = any(role in ("want", "please") for _, role in roles)
        self.photo = any(role == "photo" for _, role in roles)
        self.coded = {end for end, role in roles if role == "fmi"}

    def run(self) -> list[Way]:
        last = len(self.words)
        # For each place: what was made so far and the parts since, with their cost.
        places: list[dict[tuple[tuple[Made, ...], tuple[Item, ...]], float]] = [{} for _ in range(last + 1)]
        places[0][((), ())] = 0.0
        for at in range(last):
            here = sorted(places[at].items(), key=_promise)[:_WIDTH]
            if not here:
                continue
            steps = list(self._steps(at))
            for (made, items), cost in here:
                for step in steps:
                    self._put(places, step.end, made, self._with(items, step), cost + step.cost)
                if items and (extra := self._break(at)) is not None:
                    for closed in entries_of(items, made[-1] if made else None):
                        if closed[0].kind == "number":
                            # A number alone is all that is said.
                            continue
                        for step in steps:
                            total = cost + _cost(closed) - _item_costs(items) + extra + step.cost
                            self._put(places, step.end, (*made, *closed), self._with((), step), total)
        found: dict[tuple[Made, ...], float] = {}
        for (made, items), cost in sorted(places[last].items(), key=_promise)[: 2 * _WIDTH]:
            if not items:
                if made:
                    found[made] = min(cost, found.get(made, 99.0))
                continue
            for closed in entries_of(items, made[-1] if made else None):
                whole = (*made, *closed)
                total = cost + _cost(closed) - _item_costs(items)
                found[whole] = min(total, found.get(whole, 99.0))
        kept = (
            Way(_mixed(self._each(_units_shared(_parts_shared(_amended(_replaced(made)))))), cost)
            for made, cost in found.items()
            if cost < _WORST
        )
        return sorted((way for way in kept if way.made), key=lambda way: way.cost)

    def _each(self, made: tuple[Made, ...]) -> tuple[Made, ...]:
        """With what is said of all cylinders said of each."""
        out: list[Made] = []
        for one in made:
            if one.get("all") is None:
                out.append(one)
                continue
            rest = tuple(f for f in one.fills if f.name not in ("all", "but"))
            out += [
                replace(one, fills=(Fill("cylinder", c), *rest))
                for c in range(1, self.cylinders + 1)
                if c != one.get("but")
            ]
        return tuple(out)

    def _with(self, items: tuple[Item, ...], step: Item) -> tuple[Item, ...]:
        """The parts so far with one more, where it means anything."""
        if step.parts and all(p.role == "link" for p in step.parts):
            return items
        if items and not step.pause and any(self.said[at].pause for at in range(items[-1].end, step.start)):
            # The pause stood before a word that means nothing.
            step = replace(step, pause=True)
        return (*items, step)

    def _put(
        self, places: list[dict[tuple[tuple[Made, ...], tuple[Item, ...]], float]], end: int,
        made: tuple[Made, ...], items: tuple[Item, ...], cost: float,
    ) -> None:  # fmt: skip
        if len(made) > _MOST_MADE or len(items) > _MOST_ITEMS:
            return
        key = (made, items)
        if cost < _WORST and cost < places[end].get(key, 99.0):
            places[end][key] = cost

    def _break(self, at: int) -> float | None:
        """Cost of a new clause before a word."""
        if self.said[at].pause or self.words[at] in _JOINS or (at and self.words[at - 1] in _JOINS):
            return 0.0
        return _NEW_CLAUSE

    def _steps(self, at: int) -> Iterator[Item]:
        """What the words from here may be."""
        word, pause = self.words[at], self.said[at].pause
        known = False
        matched = sorted(lexicon().at(self.words, at), key=lambda pair: -pair[0])
        if self.wants and (thing := thing_at(self.said, at)) and not _has_own_name(thing, matched):
            yield self._thing(thing, at, pause)
            if thing.end > max((end for end, _ in matched), default=0):
                return
        longest: frozenset[str] = frozenset()
        whole, torn_at = self._whole(at, matched)
        for end, every in matched[:3]:
            known = True
            if longest & _BINDING:
                break
            if longest & _NAMES and any(p.role in _NAMES for p in every):
                # "Fuel return" is no fuel, and "lobe lift" no lobe.
                continue
            longest = longest or frozenset(p.role for p in every)
            parts = tuple(p for p in every if p.role != "asking" and (self.wants or p.role != "quantity_word"))
            if not parts:
                continue
            if any(p.role == "cylinder_word" for p in parts):
                yield from self._cylinders(end, at, pause, 0.0)
            if (placed := next((p.value for p in parts if p.role == "placed"), None)) is not None:
                cylinder = 1 if placed == "front" else self.cylinders
                yield Item(at, end, parts=(_DOUBTFUL,), cylinders=(cylinder,), pause=pause)
                continue
            for few in (int(p.value) for p in parts if p.role == "first_few"):
                yield Item(at, end, cylinders=tuple(range(1, min(few, self.cylinders) + 1)), pause=pause)
            short = 0.0 if end >= whole or end <= torn_at else _CUT_SHORT
            denies = (word in _DENIALS or word.endswith("n't")) and not any(p.role in _HARMLESS for p in parts)
            yield Item(at, end, short, parts, pause=pause, denies=denies)
        if at and not pause and word in _EVEN and (atoms(self.words[at - 1]) or self.words[at - 1] in _GOES_ON):
            # "Four hundred even" is that number, and no judgement.
            yield Item(at, at + 1, parts=(_NOTHING,))
            return
        number = word in _NUMBER_WORDS or any(a.cost < 0.5 for a in atoms(word))
        if (
            number
            and word == "one"
            and at
            and (self.words[at - 1] in _POINTING or self.words[at - 1] in ORDINALS)
            and not pause
        ):
            yield Item(at, at + 1, parts=(_NOTHING,), pause=pause)
            known, number = True, self._goes_on(at + 1)
        if number:
            known = True
            yield from self._cylinders(at, at, pause, _BARE_CYLINDER)
            yield from self._numbers(at, pause)
        if word in ORDINALS and ORDINALS[word] <= self.cylinders:
            yield from self._ordinal(at, pause)
        if not known and (meant := lexicon().alike(word)):
            for end, parts in lexicon().at((meant,), 0):
                yield Item(at, at + end, _MISSPELT, parts, pause=pause)
        if not known:
            yield Item(at, at + 1, pause=pause)

    def _whole(self, at: int, matched: Sequence[tuple[int, tuple[Part, ...]]]) -> tuple[int, int]:
        """Where the words from here end as the longest expression, and where in it a longer way begins to read on.

        "Is in spec" is no "is in", and "bent pushrod" is what a photo is of only where one is spoken of.
        """
        whole = max(
            (end for end, parts in matched if self.photo or any(p.role != "photo_of" for p in parts)), default=at
        )
        inside = (k for k in range(at + 1, whole) if any(end > whole for end, _ in lexicon().at(self.words, k)))
        return whole, next(inside, at)

    def _goes_on(self, at: int) -> bool:
        """Whether a word may go on with a number that "one" begins: "one eighty nine"."""
        return at < len(self.words) and any(a.size in ("tens", "teen") for a in atoms(self.words[at]))

    def _thing(self, thing: Thing, at: int, pause: bool) -> Item:
        """A part that is wanted, by the name it was called."""
        parts = (Part("wanted", thing.name),) if thing.known else (Part("wanted", thing.name), _DOUBTFUL)
        return Item(at, thing.end, parts=parts, pause=pause)

    def _ordinal(self, at: int, pause: bool) -> Iterator[Item]:
        cylinders = (ORDINALS[self.words[at]],)
        after = self.words[at + 1] if at + 1 < len(self.words) else ""
        if after == "one":
            yield Item(at, at + 2, cylinders=cylinders, pause=pause)
        for end, parts in lexicon().at(self.words, at + 1) if after else ():
            if any(p.role == "cylinder_word" for p in parts):
                yield Item(at, end, cylinders=cylinders, pause=pause)
        yield Item(at, at + 1, _BARE_ORDINAL, cylinders=cylinders, pause=pause)

    def _cylinders(self, at: int, start: int, pause: bool, extra: float) -> Iterator[Item]:
        before = self.words[start - 1] if start else ""
        timed = before in _TIMED
        if self.wants and (before == "and" or pause):
            # "A hose and six washers": so many washers rather than a hose for cylinder six.
            extra += _MORE_PARTS
        elif before == "to" and start == at and not pause and self._goes_on(at + 1):
            # "Crept up to one eighty two" is hardly cylinder one.
            extra += _PART_OF_A_NUMBER
        elif before == "and" and start == at and start > 1 and atoms(self.words[start - 2]) and not pause:
            # "Eleven and one" is hardly eleven with cylinder one out.
            extra += _PART_OF_A_NUMBER
        for end, cylinder, cost in cylinder_at(self.words, at, self.cylinders):
            joined = before == "and" and start == at and start > 1 and bool(atoms(self.words[start - 2])) and not pause
            yield Item(start, end, extra + cost, cylinders=(cylinder,), pause=pause, after_at=timed, joined=joined)
        for end, several, cost in several_at(self.words, at, self.cylinders):
            if len(several) > 1 and max(several) <= self.cylinders:
                yield Item(start, end, extra + cost, cylinders=several, pause=pause)

    def _numbers(self, at: int, pause: bool) -> Iterator[Item]:
        word = self.words[at]
        found = readings(self.words, at, most_figures=6, signed=True)
        longest = max((r.end for r in found), default=at)
        for reading in found:
            torn = False
            pauses = sum(self.said[i].pause for i in range(at + 1, reading.end))
            cost = reading.cost + pauses * (_PAUSE_IN_THOUSANDS if reading.value >= 1000 else _PAUSE_IN_NUMBER)
            if reading.end < longest and not self.said[reading.end].pause:
                tens = any(a.size == "tens" for a in atoms(self.words[reading.end - 1]))
                digit = any(a.size == "digit" for a in atoms(self.words[reading.end]))
                counted = self.words[reading.end - 1] in _COUNTED
                torn = (tens and digit) or (counted and bool(atoms(self.words[reading.end])))
                goes_on = self.words[reading.end] in _GOES_ON
                cost += _SPLIT + (_SPLIT_TENS if tens and digit else 0.0) + (_TORN if goes_on else 0.0)
            two = reading.end == at + 2 and all(_figure(word) for word in self.words[at : at + 2])
            # "Eight six" may be eighty six or eight point six.
            tenths = two and reading.value >= 10 and self.words[at + 1] not in _ZERO
            if at > 1 and self.words[at - 1] in _RANGES and _figure(self.words[at - 2]) and _figure(word):
                # The five of "one to five two hundred" may be where a range ends.
                torn = torn or reading.end > at + 1
            if pauses and reading.value % 1 and reading.end < len(self.words) and not self.said[reading.end].pause:
                # The two of "came up to thirty seven, two came up to …" is whose turn it is.
                torn = torn or _figure(self.words[reading.end - 1])
            end, unit = self._unit(reading.end)
            bare = not unit and at not in self.coded and "." not in self.words[at]
            if bare and at and self.words[at - 1] in _OF_A_CYLINDER and reading.value < 10:
                cost += _PRONOUN
            if bare and reading.end == at + 1 and reading.value < 10:
                cost += _PRONOUN if self.words[at] == "one" else _ONE_FIGURE
            yield Item(at, end, cost, number=reading.value, unit=unit, pause=pause, torn=torn, tenths=tenths)

    def _unit(self, at: int) -> tuple[int, str]:
        """The unit that follows a number, with the index after it."""
        if at >= len(self.words) or self.said[at].pause:
            return at, ""
        units = [(end, p.value) for end, parts in lexicon().at(self.words, at) for p in parts if p.role == "unit"]
        return max(units, default=(at, ""))


def _figure(word: str) -> bool:
    """Whether a word is a single figure, said and not written."""
    return any(a.size == "digit" and not a.written and a.cost == 0 for a in atoms(word))


def _has_own_name(thing: Thing, matched: Sequence[tuple[int, tuple[Part, ...]]]) -> bool:
    return any(end == thing.end and any(p.role == "wanted" for p in parts) for end, parts in matched)


def _promise(place: tuple[tuple[tuple[Made, ...], tuple[Item, ...]], float]) -> float:
    """Cost of a place, and of what its numbers hardly lead to: a clause has one number and one cylinder as a rule."""
    (_, items), cost = place
    if any(p.role == "fmi" or (p.role, p.value) == ("swap", "each") for item in items for p in item.parts):
        return cost
    numbers = sum(item.number is not None for item in items)
    cylinders = sum(len(item.cylinders) == 1 for item in items)
    unknown = sum(item.unknown for item in items)
    return cost + unknown + _CROWDED * (max(0, numbers - 1) + max(0, cylinders - 1))


def _mixed(made: tuple[Made, ...]) -> tuple[Made, ...]:
    """With a bare cylinder and number among other things asked about: the number may belong to those.

    So may fuel with nothing cut belong to a cylinder that is asked about.
    """
    if any(m.kind == "cut" and m.asked for m in made):
        made = tuple(replace(m, asked=True) if m.kind == "fuel" else m for m in made)
    if len(made) > 1 and any(m.kind == "number" for m in made):
        # "Thirty five, was it, thirty six": the number alone may be the reading just said.
        made = tuple(replace(m, asked=True) if m.kind == "cut" else m for m in made)
    if not any(m.kind in _NUMBERED_BESIDES for m in made):
        return made
    return tuple(replace(m, asked=True) if m.kind == "cut" and m.bare else m for m in made)


def _item_costs(items: tuple[Item, ...]) -> float:
    """What the items have cost already when they were gathered; an entry's cost holds it too."""
    return sum(item.cost for item in items)


def _replaced(made: tuple[Made, ...]) -> tuple[Made, ...]:
    """Without what the speaker said anew: "two injectors, no, three injectors"."""
    return tuple(m for at, m in enumerate(made) if at + 1 == len(made) or not made[at + 1].instead)


def _amended(made: tuple[Made, ...]) -> tuple[Made, ...]:
    """Readings said anew after words that they were mixed up, as corrections."""
    if not any(m.kind == "amends" for m in made):
        return made
    out = []
    for one in made[[m.kind for m in made].index("amends") + 1 :]:
        if one.kind != "cut" or one.get("value") is None:
            return ()
        kept = tuple(f for f in one.fills if f.name in ("cylinder", "value", "unit"))
        out.append(replace(one, kind="command", fills=(Fill("word", "correct"), *kept)))
    return tuple(out) if made[0].kind == "amends" else ()


_OF_A_CYLINDER_EACH = frozenset(
    {"injector", "valve bridge", "rocker", "pushrod", "valve spring", "cam follower", "injector cup", "injector seals"}
)
"""Parts of which every cylinder has its own."""


def _parts_shared(made: tuple[Made, ...]) -> tuple[Made, ...]:
    """Parts for the cylinders they are for: "two injectors, one for two and one for five", "a rocker and a bridge for
    three"."""
    out: list[Made] = []
    for at, one in enumerate(made):
        rest = made[at + 1 :]
        if one.kind != "part wanted" or one.get("cylinder") is not None or not rest or rest[0].kind != "part wanted":
            out.append(one)
            continue
        name = one_of(str(one.get("description")))
        each = [m for m in rest if m.kind == "part wanted" and one_of(str(m.get("description"))) == name]
        count = sum(int(str(m.get("quantity") or 1)) for m in each)
        if each and count == int(str(one.get("quantity") or 1)) and all(m.get("cylinder") for m in each):
            continue
        place = next((f for f in rest[0].fills if f.name == "cylinder"), None)
        if place is not None and name in _OF_A_CYLINDER_EACH and not one.get("quantity"):
            out.append(replace(one, fills=(*one.fills, place)))
            continue
        out.append(one)
    return tuple(out)


def _units_shared(made: tuple[Made, ...]) -> tuple[Made, ...]:
    """A unit said with one of several numbers of one subject is that of all: "three ninety, three eighty psi"."""
    out = list(made)
    pairs = [(at, at + 1) for at in range(len(out) - 2, -1, -1)] + [(at, at - 1) for at in range(1, len(out))]
    for at, other in pairs:
        one, beside = out[at], out[other]
        if one.kind == beside.kind == "check" and one.get("subject") == beside.get("subject"):
            unit = beside.get("unit")
            if unit and not one.get("unit") and one.get("value") is not None:
                out[at] = replace(one, fills=(*one.fills, Fill("unit", unit)))
    return _told_once(out)


def _told_once(made: list[Made]) -> tuple[Made, ...]:
    """Without what only says again what was said of a subject: "seated and clean"."""
    kept: list[Made] = []
    for one in made:
        before = kept[-1] if kept else one
        told, anew = ({(f.name, f.value) for f in m.fills} for m in (before, one))
        if kept and one.kind == before.kind == "check" and told < anew:
            # "Chafed through, down to bare copper on two".
            kept[-1] = one
        elif not kept or one.kind != "check" or not anew <= told:
            kept.append(one)
    return tuple(kept)
