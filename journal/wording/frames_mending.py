"""A clause in, what it puts right or takes back of what was said before out."""

from __future__ import annotations

from collections.abc import Iterator

from journal.wording.clauses import Clause, Fill, Item, Made, fill, has_role
from journal.wording.frames_readings import denies_number, odd

_WORD_FIRST = 0.1
"""Cost of a number put right without "should have been" or the like."""


_CONTROL = ("say again", "read back", "what is missing", "how does it look", "hold on", "carry on", "yes", "no",
            "the first", "the second", "scratch")  # fmt: skip
_BESIDES = ("link", "aside", "hesitation", "polite", "please")
"""Roles of words that may stand beside a request to the journal."""


def _else(clause: Clause, *also: str) -> bool:
    """Whether anything but words without a meaning is left, which count as used then."""
    rest = {i for i in range(len(clause.items)) if i not in clause.used}
    if any(not has_role(clause.items[i], *_BESIDES, *also) for i in rest):
        return True
    clause.used |= rest
    return False


def control(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A request to the journal, in words that say nothing else: "undo that would you", "what's four down as"."""
    for word in _CONTROL if clause.has("control") else ():
        asked = clause.fresh()
        if asked.take("control", word) is None:
            continue
        value = asked.value(frozenset({""})) if word == "yes" else None
        if not _else(asked):
            said = Fill("word", word)
            yield (asked.made("number", fill("value", value)) if value else asked.made("command", said),)
    one = clause.cylinder()
    if one is not None and clause.take("recall") is not None:
        clause.take("recall_end")
        if not _else(clause):
            yield (clause.made("command", Fill("word", "read back"), fill("cylinder", one)),)


def mixed_up(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """What was said was mixed up, and is said anew: "got those two back to front, one's thirty five, two's …"."""
    if clause.take("mixed_up") is not None and not _else(clause, "fix"):
        yield (clause.made("amends"),)


def corrections(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A number put right: "no, I meant thirty four on three", "four should've been thirty three"."""
    if not clause.items or clause.has("act", "back"):
        return
    opened = has_role(clause.items[0], "fix")
    of_something = clause.has("quantity") or any(item.cylinders for item in clause.items)
    opened = opened or (denies_number(clause) and of_something and not clause.has("act", "cut"))
    amended = clause.take("amend", "yes") or clause.take("amend", "maybe")
    if amended is None and has_role(clause.said[0], "amend"):
        amended = clause.take("amend", "first")
    if not opened and amended is None and clause.cylinder() is not None and clause.take("take_back") is not None:
        # "Strike three, it hadn't settled, twenty four and a half now."
        clause = clause.fresh()
        amended = clause.take("take_back")
        clause.used |= {i for i, item in enumerate(clause.items) if has_role(item, "why_not")}
    if not opened and amended is None:
        return
    value, latest, one = clause.value(), clause.take("latest"), clause.cylinder()
    if value is None and one is not None and amended and clause.take("no_change") is not None:
        # "Change number one to no change".
        clause.take("act", "cut")
        what = (Fill("word", "correct"), fill("cylinder", one), Fill("about", "no change"))
        yield (clause.made("command", *what, asked=amended == "maybe"),)
        return
    about = "baseline" if one is None and amended is not None and clause.take("baseline") is not None else None
    if about is None and one is None and value is not None:
        about = clause.take("quantity")
    if value is None or (one is None and latest is None and about is None and not opened):
        return
    clause.take("act", "cut")
    extra = odd(clause, named=False) if one is not None else 0.0
    extra += 0.0 if amended else _WORD_FIRST
    doubtful = amended == "maybe"
    named = Fill("about", about) if about else fill("cylinder", one)
    yield (clause.made("command", Fill("word", "correct"), named, fill("value", value), extra=extra, asked=doubtful),)


def moved(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """A cylinder put right: "it was number four, not three", "actually that's for number five"."""
    places = [(i, item) for i, item in enumerate(clause.items) if len(item.cylinders) == 1]
    if any(item.number is not None for item in clause.items) or not places:
        return
    clause.take("subject")
    denied = [pair for pair in places if _denied(clause, pair[0])]
    word, about = Fill("word", "correct"), Fill("about", "cylinder")
    if len(places) == 2 and len(denied) == 1:
        right = next(item for _, item in places if item is not denied[0][1])
        clause.used |= {i for i, _ in places} | {denied[0][0] - 1}
        clause.take("act", "cut")
        wrong = Fill("instead_of", denied[0][1].cylinders[0], denied[0][1].start, denied[0][1].end)
        yield (clause.made("command", word, about, fill("cylinder", right), wrong),)
    elif len(places) == 1 and (
        clause.has("belongs", "actually") or (has_role(clause.items[0], "fix") and clause.has("belongs"))
    ):
        clause.take("belongs")
        clause.take("fix")
        yield (clause.made("command", word, about, fill("cylinder", clause.cylinder())),)


def _denied(clause: Clause, at: int) -> bool:
    """Whether a "not" stands straight before a cylinder."""
    before: Item | None = clause.items[at - 1] if at else None
    return before is not None and has_role(before, "neg") and not before.cylinders


def taken_back(clause: Clause) -> Iterator[tuple[Made, ...]]:
    """What was read for a cylinder is withdrawn, perhaps with the reason why: "ignore four, it wasn't steady"."""
    if any(item.number is not None for item in clause.items) or clause.take("take_back") is None:
        return
    one = clause.cylinder()
    last = clause.take("latest") if one is None else None
    if last is not None:
        clause.used |= {i for i, item in enumerate(clause.items) if has_role(item, "why_not")}
        many = Fill("about", last) if last != "yes" else None
        if not _else(clause, "fix"):
            yield (clause.made("command", Fill("word", "scratch"), many),)
        return
    about = None if one else clause.take("quantity") or ("part wanted" if clause.take("wanted") else None)
    if one is None and about is None and clause.take("baseline"):
        about = "baseline"
    if one is None and about is None:
        return
    clause.used |= {i for i, item in enumerate(clause.items) if has_role(item, "why_not")}
    what = Fill("about", about) if about else fill("cylinder", one)
    yield (clause.made("command", Fill("word", "scratch"), what),)
