"""The parts of one clause in, what is left of them once the speaker's own corrections are made out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from journal.wording.lexicon import Part

_UNUSED = {
    "link": 0.0, "hesitation": 0.0, "aside": 0.05, "fix": 0.2, "again": 0.05, "test": 0.15, "cylinder_word": 0.15,
    "doubtful": 0.0, "done": 0.3, "start": 0.8, "code_state": 0.1, "act": 1.0, "all": 1.0, "neg": 1.5, "both": 0.3,
    "force": 0.3, "turned": 0.4, "unit": 0.6, "quantity": 1.2, "subject": 1.2, "prior": 0.6, "from": 0.0, "please": 0.0,
    "veto": 50.0, "polite": 50.0, "in_order": 0.05, "rise": 0.0, "fall": 0.2, "too": 0.0, "it_now": 0.0,
    "return_to": 1.0, "part_state": 0.3,
}  # fmt: skip
"""Cost of a part that an entry makes no use of, by its role."""
_UNUSED_OTHERWISE = 1.2
_INTENDED = 3.0
_UNUSED_NUMBER = 4.0
_UNUSED_DENIAL = 6.0
_UNKNOWN = 1.0
"""Cost of a word of no meaning."""
_UNKNOWN_BESIDE = 1.0
"""The same besides, straight after a number or straight before what is measured: "two diesel", "tire pressure"."""
_UNKNOWN_IN_DOUBT = 1.2
"""The same besides, where nothing shows that it is this engine that is spoken of."""
_HESITATED = 0.5
_OF_ANYTHING = ("engine_thing", "subject", "part", "quantity", "damage")
_SPOKEN_OF = {
    "cut": _OF_ANYTHING,
    "baseline": _OF_ANYTHING,
    "fuel": _OF_ANYTHING,
    "check": ("engine_thing", "quantity"),
    "condition": ("want",),
    "run start": ("quantity",),
    "run end": _OF_ANYTHING,
    "put back": ("engine_thing", "subject", "part", "damage"),
}
"""Roles of what is spoken of: a reading or a check that makes no use of it may be one of something else."""
_SAYS_LITTLE = ("link", "aside", "again", "fix", "act", "test", "unit", "next", "cylinder_word", "run")


@dataclass(frozen=True)
class Item:
    """A part, a number or cylinders at their place among the words."""

    start: int
    """Index of its first word."""
    end: int
    """Index of the word after it."""
    cost: float = 0.0
    """How unusual the words are for it."""
    parts: tuple[Part, ...] = ()
    """What it may be; none for numbers and cylinders."""
    number: float | None = None
    """Its value, where it is a number."""
    unit: str = ""
    """The unit said with the number."""
    cylinders: tuple[int, ...] = ()
    """The cylinders it names."""
    pause: bool = False
    """Whether a comma, full stop or the like stands before it."""
    after_at: bool = False
    """Whether a word stands before it that a time of day is told with."""
    denies: bool = False
    """Whether its words begin with a denial, which must not be passed over."""
    torn: bool = False
    """Whether it ends where the words could go on as the same number: "thirty" of "thirty eight"."""
    tenths: bool = False
    """Whether it is two figures of which the second may be tenths: "eight six"."""
    joined: bool = False
    """Whether an "and" joins it to a number, of which it may be a part: "eleven and one"."""

    @property
    def unknown(self) -> bool:
        """Whether it is a word of no meaning."""
        return not self.parts and self.number is None and not self.cylinders


@dataclass(frozen=True)
class Fill:
    """One attribute of an entry, with the words that say it."""

    name: str
    """The attribute, as `meanings` knows it."""
    value: object
    """What it is set to."""
    start: int = -1
    """Index of the first word that says it; -1 where none does."""
    end: int = -1
    """Index of the word after it."""


@dataclass(frozen=True)
class Made:
    """One entry that a clause can make."""

    kind: str
    """The kind, as `meanings` builds it."""
    fills: tuple[Fill, ...]
    """What it is made of."""
    cost: float = field(compare=False)
    """How far-fetched it is."""
    asked: bool = False
    """Whether it is to be asked about however clear the words are."""
    strange: bool = field(default=False, compare=False)
    """Whether words of no meaning stand among its own."""
    bare: bool = field(default=False, compare=False)
    """Whether it is no more than a cylinder and a number."""
    instead: bool = field(default=False, compare=False)
    """Whether the speaker says it in place of what was said just before."""
    start: int = field(default=0, compare=False)
    """Index of the first word it was made from."""
    end: int = field(default=0, compare=False)
    """Index of the word after the last."""

    def get(self, name: str) -> object:
        """What an attribute is set to; none where it is not."""
        return next((f.value for f in self.fills if f.name == name), None)


@dataclass
class Clause:
    """The items of a clause with what was corrected left out, and which of them an attempt has used."""

    items: tuple[Item, ...]
    before: Made | None = None
    cost: float = 0.0
    asked: bool = False
    used: set[int] = field(default_factory=set)
    said: tuple[Item, ...] = ()
    roles: frozenset[str] | None = None
    """What its items may be; most attempts ask for a role that none of them has."""

    def __post_init__(self) -> None:
        if self.roles is None:
            self.roles = frozenset(part.role for item in self.items for part in item.parts)

    def take(self, role: str, *values: str) -> str | None:
        """The value of the first unused part with this role, or with one of these values; all that say it are used."""
        found: str | None = None
        if self.roles is not None and role not in self.roles:
            return None
        for index, item in enumerate(self.items):
            for part in item.parts:
                if part.role == role and (not values or part.value in values) and found in (None, part.value):
                    if found is None and index in self.used:
                        continue
                    found = part.value
                    self.used.add(index)
                    break
        return found

    def where(self, role: str, *values: str) -> int | None:
        """Index of the first item with this role."""
        if self.roles is not None and role not in self.roles:
            return None
        for index, item in enumerate(self.items):
            if any(p.role == role and (not values or p.value in values) for p in item.parts):
                return index
        return None

    def has(self, role: str, *values: str) -> bool:
        """Whether some item may have this role."""
        if not values and self.roles is not None:
            return role in self.roles
        return self.where(role, *values) is not None

    def only(self, role: str) -> bool:
        """Whether some item has this role and is no word that means nothing besides."""
        return any(has_role(item, role) and not has_role(item, "link", "aside") for item in self.items)

    def value(self, units: frozenset[str] | None = None) -> Item | None:
        """The only number, used; none where there is none or several, or with a unit that does not belong."""
        found = [(i, item) for i, item in enumerate(self.items) if item.number is not None and i not in self.used]
        if len(found) != 1 or (units is not None and found[0][1].unit not in units):
            return None
        self.used.add(found[0][0])
        return found[0][1]

    def cylinder(self) -> Item | None:
        """The only single cylinder, used; none where there is none or several."""
        found = [(i, item) for i, item in enumerate(self.items) if len(item.cylinders) == 1 and i not in self.used]
        if len(found) != 1:
            return None
        self.used.add(found[0][0])
        return found[0][1]

    def several(self) -> Item | None:
        """The only list of cylinders, used."""
        found = [(i, item) for i, item in enumerate(self.items) if len(item.cylinders) > 1]
        if len(found) != 1:
            return None
        self.used.add(found[0][0])
        return found[0][1]

    def rest(self, *, sure: bool = True) -> float:
        """Cost of what is left unused.

        Args:
            sure: whether what is used shows that this engine is spoken of.
        """
        cost = self.cost
        for index, item in enumerate(self.items):
            cost += item.cost
            if index in self.used:
                continue
            if item.unknown:
                beside = self._beside(index)
                cost += _UNKNOWN + (_UNKNOWN_BESIDE if beside else 0.0) + (0.0 if sure else _UNKNOWN_IN_DOUBT)
            elif item.number is not None or item.cylinders:
                cost += _UNUSED_NUMBER
            elif (item.denies or has_role(item, "neg")) and not self.taken_back(index):
                cost += _UNUSED_DENIAL
            elif has_role(item, "intend"):
                cost += _INTENDED
            elif has_role(item, "veto"):
                cost += _UNUSED["veto"]
            else:
                cost += min((_UNUSED.get(p.role, _UNUSED_OTHERWISE) for p in item.parts), default=_UNUSED_OTHERWISE)
        return cost

    def _unused(self) -> list[Item]:
        return [item for index, item in enumerate(self.items) if index not in self.used]

    def _beside(self, index: int) -> bool:
        """Whether a word of no meaning stands straight after a number or straight before what is measured."""
        item = self.items[index]
        before = self.items[index - 1] if index else None
        after = self.items[index + 1] if index + 1 < len(self.items) else None
        counted = before is not None and (before.number is not None or bool(before.cylinders)) and not item.pause
        named = after is not None and has_role(after, "quantity", "subject", "part") and not after.pause
        return counted or named

    def taken_back(self, index: int) -> bool:
        """Whether a "no" only says that the speaker begins again."""
        follows = self.items[index + 1] if index + 1 < len(self.items) else None
        return has_role(self.items[index], "fix") and (follows is None or follows.pause or follows.number is not None)

    def fresh(self) -> Clause:
        """The same with nothing used."""
        return Clause(self.items, self.before, self.cost, self.asked, said=self.said, roles=self.roles)

    def made(self, kind: str, *fills: Fill | None, extra: float = 0.0, asked: bool = False, sure: bool = True) -> Made:
        """The entry, with the cost of what it leaves unused."""
        strange = [index for index, item in enumerate(self.items) if item.unknown]
        doubtful = any(has_role(item, "doubtful") for item in self.items) or len(strange) > 1
        cut_off = any(self._beside(index) for index in strange) or any(item.torn for item in self.said)
        cost = self.rest(sure=sure) + extra
        other = kind in _SPOKEN_OF and any(
            has_role(item, *_SPOKEN_OF[kind]) and not has_role(item, *_SAYS_LITTLE) for item in self._unused()
        )
        filled = tuple(f for f in fills if f)
        anew = bool(self.items) and has_role(self.items[0], "fix") and self.before is not None
        instead = anew and self.before is not None and self.before.kind == kind
        return Made(
            kind, filled, cost, asked or self.asked or doubtful or cut_off or other, bool(strange), not sure, instead
        )


def settled(items: tuple[Item, ...], before: Made | None) -> Clause:
    """A clause with what was corrected in it dropped: "thirty eight, no, thirty nine" is thirty nine."""
    kept = _without_rises(_without_skipped(items))
    cost, asked = 0.0, False
    denied = [
        i + 1 for i, item in enumerate(kept[:-1])
        if has_role(item, "neg") and not has_role(item, "fix")
        and kept[i + 1].number is not None and not kept[i + 1].pause
    ]  # fmt: skip
    if denied and sum(item.number is not None for item in kept) > 1:
        drop = {i for at in denied for i in (at - 1, at)}
        kept = [item for i, item in enumerate(kept) if i not in drop]
    kept = [item for i, item in enumerate(kept) if not _said_over(kept, i)]
    for is_one in (_is_number, _is_cylinder, _is_quality):
        again = True
        while again:
            again = False
            places = [i for i, item in enumerate(kept) if is_one(item)]
            for first, second in pairwise(places):
                between = kept[first + 1 : second]
                if is_one is _is_quality and between and has_role(between[-1], "neg") and not kept[second].pause:
                    continue
                how = _corrected(between, kept[second + 1 :])
                if how is None and is_one is _is_number and first and has_role(kept[first - 1], "from"):
                    # "Goes from thirty one to thirty six": the second is what is read.
                    how = "fix"
                if how is None:
                    continue
                cost += 0.0 if how == "fix" else _HESITATED
                asked = asked or how == "hesitation"
                inner = (i for i in range(first + 1, second) if has_role(kept[i], "fix", "hesitation", "doubtful"))
                fixes = {first, *inner, *([first - 1] if first and has_role(kept[first - 1], "from") else [])}
                kept = [item for i, item in enumerate(kept) if i not in fixes]
                again = True
                break
    return Clause(tuple(kept), before, cost, asked, said=items)


def _without_skipped(items: Sequence[Item]) -> list[Item]:
    """Without a cylinder that is passed over: "skip three, four's thirty two"."""
    skipped = {
        i for at, item in enumerate(items[:-1])
        if has_role(item, "skip") and items[at + 1].cylinders
        for i in (at, at + 1)
    }  # fmt: skip
    return [item for i, item in enumerate(items) if i not in skipped] if len(skipped) < len(items) else list(items)


def _without_rises(items: list[Item]) -> list[Item]:
    """Without how far a number rose, where it is said what it rose to: "up three to twenty five"."""
    for at, item in enumerate(items[:-2]):
        rise = items[at + 1]
        if has_role(item, "rise", "fall") and rise.number is not None and rise.start == item.end:
            later = [other for other in items[at + 2 :] if other.number is not None]
            if later and not rise.unit and not rise.pause:
                return [*items[:at], *items[at + 2 :]]
    return items


_FOUND = ("quality", "damage", "no_change", "dead")
"""Roles of what is found of a thing."""


def _is_number(item: Item) -> bool:
    return item.number is not None


def _is_cylinder(item: Item) -> bool:
    return len(item.cylinders) == 1


def _is_quality(item: Item) -> bool:
    return has_role(item, *_FOUND) and all(p.role in (*_FOUND, "engine_state") for p in item.parts)


def _said_over(items: Sequence[Item], at: int) -> bool:
    """Whether what is said of something is only said again, straight after: "bad, real bad"."""
    rest = [item for item in items[at + 1 : at + 3] if not has_role(item, "link", "aside")]
    if not rest or not any(p.role in ("quality", "no_change", "dead") for p in items[at].parts):
        return False
    return rest[0].parts == items[at].parts


def has_role(item: Item, *roles: str) -> bool:
    for part in item.parts:  # noqa: SIM110 - asked a thousand times for a sentence: a generator takes twice as long
        if part.role in roles:
            return True
    return False


def _corrected(between: Sequence[Item], after: Sequence[Item]) -> str | None:
    """How what stands before is taken back by what stands after: by a word for it, by hesitating, or not at all."""
    if any(Part("fix", "yes") in item.parts and not _denies_thing(between, at) for at, item in enumerate(between)):
        return "fix"
    if after and any(p.role == "fix" and p.value == "after" for p in after[-1].parts):
        return "fix"
    return "hesitation" if any(has_role(item, "hesitation", "doubtful") for item in between) else None


def _denies_thing(items: Sequence[Item], at: int) -> bool:
    """Whether a "no" says that there is none of what is named straight after it: "no fuel"."""
    if not has_role(items[at], "neg") or at + 1 == len(items):
        return False
    return has_role(items[at + 1], "quantity", "subject", "part") and not items[at + 1].pause


def fill(name: str, item: Item | None, value: object = None) -> Fill | None:
    """An attribute filled by a number or a cylinder."""
    if item is None:
        return None
    if value is None:
        value = item.number if item.number is not None else item.cylinders[0]
    return Fill(name, value, item.start, item.end)


def unit_of(item: Item) -> Fill | None:
    """The unit said with a number."""
    return Fill("unit", item.unit) if item.unit else None
