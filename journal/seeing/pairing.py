"""Texts with their places in, each number with the label and the unit that belong to it by the layout out.

A number's label stands to the left of it in its row, or above or below it; which of these a screen does is told by all
of its numbers together. In a table a label may hold for several numbers: a row's, told apart by what stands over each
column, or a column's, told apart by what begins each row.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from enum import Enum

import numpy as np
import numpy.typing as npt

from journal.facts import Quantity
from journal.seeing.figures import Figure, decimal_sign, figure_in
from journal.seeing.types import Labelled, Meant, SeenText
from journal.seeing.units import unit_like, unit_nearly, unit_of, unit_written

IN_ROW = 0.5
"""Texts are in one row where their middles are no further apart than that part of the higher one's height."""
ALIGNED = 0.25
"""How far texts of a row may be off it, as a part of the lower one's height, while its direction is looked for."""
WORD_GAP = 0.9
"""Pieces of a label are no further apart than so many of their heights."""
SAME_HEIGHT = 1.4
"""The higher of them is no more than so many times as high as the other."""
TOUCHING = 0.5
"""Two numbers of a row that are nearer to each other than so many of their heights may be one."""
UNIT_GAP = 3.0
"""A unit follows its number within so many of the number's heights, or with nothing but gap between in a table."""
UNIT_OFF = 1.6
"""A unit over or under its number has its middle no further from the number's than so many of the number's heights."""
HEADING_OFF = 4.0
"""The same for one in brackets, as headings have them."""
LABEL_GAP = 4.0
"""A label stands over or under its number within so many of the larger one's heights."""
ELSEWHERE = 1.2
"""What it costs a label to stand where most of the screen's do not; a gap of a number's height costs `PER_HEIGHT`."""
PER_HEIGHT = 0.15
PASSED = 0.4
"""What it costs for each number that stands between a label and its number."""
UNMEANT = 0.8
"""What it costs a label to mean no quantity that is given in the number's unit."""
MARGIN = 0.3
"""Two labels whose costs are nearer to each other than that are both possible."""


class Where(Enum):
    """Where a label stands, as seen from its number."""

    LEFT = "left"
    ABOVE = "above"
    BELOW = "below"


@dataclass
class _Number:
    text: SeenText
    figure: Figure
    unit: SeenText | None = None
    misread: SeenText | None = None
    """What stands where its unit would and looks like one."""
    labels: list[_Candidate] = field(default_factory=list)


@dataclass(frozen=True)
class _Candidate:
    label: int
    where: Where
    passed: int
    """Numbers between them."""
    gap: float
    """From edge to edge, in heights of the number."""
    quantity: Quantity | None
    alike: float


def paired(texts: Sequence[SeenText], meant: Meant) -> tuple[Labelled, ...]:
    """The numbers on a screen, in the order of the texts.

    Args:
        texts: what stands on it, numbers, labels and units apart.
        meant: what a label and a unit mean.

    Returns:
        every number, those without a label too; certainty is that of the reading alone, and `doubt` says what the
        layout or the words leave open.
    """
    texts = _joined(texts)
    plane = _Plane(texts)
    figures = {i: figure for i, text in enumerate(texts) if (figure := figure_in(text.text)) is not None}
    units = [i for i, text in enumerate(texts) if i not in figures and unit_written(text.text)]
    labels = [i for i, text in enumerate(texts) if i not in figures and _worded(text.text)]
    misread = [i for i, text in enumerate(texts) if i not in (*figures, *units) and unit_like(text.text)]
    numbers = {i: _Number(texts[i], figure) for i, figure in figures.items()}
    for i, number in numbers.items():
        number.unit = _unit_for(i, number, units, list(numbers), plane)
        number.misread = _unit_for(i, number, misread, list(numbers), plane)
    chosen = _chosen(numbers, labels, plane, meant)
    if _filled(numbers, chosen, units, misread, labels, plane):
        chosen = _chosen(numbers, labels, plane, meant)  # a label means another thing in another unit
    sign = decimal_sign(figures.values())
    loose = tuple(texts[u].text for u in _loose((*units, *misread), numbers, plane))
    return tuple(_told(i, numbers, chosen, plane, sign, meant, labels, loose) for i in numbers)


def _chosen(
    numbers: dict[int, _Number], labels: Sequence[int], plane: _Plane, meant: Meant
) -> dict[int, list[_Candidate]]:
    """For each number its labels, the likeliest first."""
    for i, number in numbers.items():
        number.labels = list(_candidates(i, number, labels, list(numbers), plane, meant))
    usual = _usual(numbers.values())
    return {i: _choice(number, usual) for i, number in numbers.items()}


def _filled(
    numbers: dict[int, _Number],
    chosen: dict[int, list[_Candidate]],
    units: Sequence[int],
    misread: Sequence[int],
    labels: Sequence[int],
    plane: _Plane,
) -> bool:
    """Give numbers without a unit the one that their label tells: of its row's other numbers, or at the row's end."""
    without = [i for i in numbers if chosen[i] and not _best_unit(numbers[i], chosen[i], plane)]
    loose = [_loose(these, numbers, plane) for these in (units, misread)]
    for i in without:
        number, best = numbers[i], chosen[i][0]
        if best.where is Where.LEFT:
            beside = [numbers[n] for n, theirs in chosen.items() if n != i and theirs and theirs[0].label == best.label]
            number.unit = next((other.unit for other in beside if other.unit is not None), None)
            number.misread = number.misread or next((o.misread for o in beside if o.misread is not None), None)
        else:
            number.unit = _at_end_of_row(best.label, loose[0], labels, plane)
            number.misread = number.misread or _at_end_of_row(best.label, loose[1], labels, plane)
    return any(numbers[i].unit is not None for i in without)


def _loose(units: Sequence[int], numbers: dict[int, _Number], plane: _Plane) -> list[int]:
    """Those units that are no number's, or that stand askew of theirs, as at the end of another's label's row."""
    theirs = [(i, text) for i, number in numbers.items() for text in (number.unit, number.misread)]
    return [
        u for u in units
        if not any(text is plane.texts[u] and (plane.in_row(i, u) or plane.in_column(i, u)) for i, text in theirs)
    ]  # fmt: skip


def _at_end_of_row(label: int, units: Sequence[int], labels: Sequence[int], plane: _Plane) -> SeenText | None:
    """The first of these units after a label in its row, before any other label."""
    after = [(plane.gap_right(label, u), u) for u in units if plane.in_row(label, u)]
    gap, unit = min(((gap, u) for gap, u in after if gap > 0), default=(0.0, -1))
    others = [other for other in labels if other != label and plane.in_row(label, other)]
    if unit < 0 or any(0 < plane.gap_right(label, other) < gap for other in others):
        return None
    return plane.texts[unit]


def _worded(text: str) -> bool:
    """Whether it has two letters or more and is no unit, misread or not: a label."""
    return sum(letter.isalpha() for letter in text) >= 2 and not unit_like(text)


def _joined(texts: Sequence[SeenText]) -> list[SeenText]:
    """The texts with labels that were found in pieces put together: words of one height with a gap between words."""
    plane = _Plane(texts)
    labels = [i for i, text in enumerate(texts) if figure_in(text.text) is None and _worded(text.text)]
    follows: dict[int, int] = {}
    for one in labels:
        height = texts[one].height
        after = [
            (plane.gap_right(one, other), other)
            for other in labels
            if other != one
            and plane.in_row(one, other)
            and -0.5 * height < plane.gap_right(one, other) <= WORD_GAP * height
            and max(height, texts[other].height) <= SAME_HEIGHT * min(height, texts[other].height)
        ]
        if after:
            follows[one] = min(after)[1]
    whole: list[SeenText] = []
    for i, text in enumerate(texts):
        if i in follows.values():
            continue
        while i in follows:
            i = follows[i]
            (first, _, _, fourth), (_, second, third, _) = text.corners, texts[i].corners
            sure = min(text.certainty, texts[i].certainty)
            text = SeenText(f"{text.text} {texts[i].text}", (first, second, third, fourth), sure)
        whole.append(text)
    return whole


class _Plane:
    """The texts' places with the turn of the writing taken out, which perspective makes another one everywhere."""

    def __init__(self, texts: Sequence[SeenText]) -> None:
        self.texts = texts
        self._turn = np.zeros(3)
        if texts:
            self._turn = _rows_in_line(texts, _turn_of(texts))

    def between(self, one: int, other: int) -> tuple[float, float]:
        """From the middle of one text to the middle of the other: along the row and down, pixels."""
        (x, y), (to_x, to_y) = self.texts[one].centre, self.texts[other].centre
        turn = float(self._turn @ np.array([1.0, (x + to_x) / 2, (y + to_y) / 2]))
        dx, dy = to_x - x, to_y - y
        return dx * math.cos(turn) + dy * math.sin(turn), dy * math.cos(turn) - dx * math.sin(turn)

    def in_row(self, one: int, other: int) -> bool:
        """Whether they stand in one row."""
        _, down = self.between(one, other)
        return abs(down) <= IN_ROW * max(self.texts[one].height, self.texts[other].height)

    def gap_right(self, one: int, other: int) -> float:
        """From the right edge of one to the left edge of the other, pixels; negative where they overlap."""
        along, _ = self.between(one, other)
        return along - (self.texts[one].width + self.texts[other].width) / 2

    def gap_down(self, one: int, other: int) -> float:
        """From the lower edge of one to the upper edge of the other, pixels."""
        _, down = self.between(one, other)
        return down - (self.texts[one].height + self.texts[other].height) / 2

    def in_column(self, one: int, other: int, slack: float = 0.0) -> bool:
        """Whether they overlap along the row, or fail to by no more than `slack` pixels."""
        along, _ = self.between(one, other)
        return abs(along) <= (self.texts[one].width + self.texts[other].width) / 2 + slack


def _turn_of(texts: Sequence[SeenText]) -> npt.NDArray[np.float64]:
    """The turn of writing at a place, as weights of 1, right and down, radians: a plane through what long texts say."""
    # Turns are told from the widest text's on, as half a turn is one way as much as the other.
    widest = max(texts, key=lambda text: text.width).slope
    slopes = np.array([widest + math.remainder(text.slope - widest, 2 * math.pi) for text in texts])
    weights = np.array([min(text.width / max(text.height, 1.0), 12.0) ** 2 for text in texts])
    middle = float(np.median(np.repeat(slopes, np.maximum(weights.astype(int), 1))))
    near = np.abs(slopes - middle) < 0.2
    if near.sum() < 6:
        return np.array([middle, 0.0, 0.0])
    places = np.array([(1.0, *text.centre) for text in texts])[near]
    held = np.sqrt(weights[near])[:, None]
    # A little of a ridge keeps the turn alike over the picture where nothing tells of a change.
    keep = np.diag([0.0, 1.0, 1.0]) * 1e-3 * float((held * places[:, 1:]).std() + 1.0)
    rows = np.vstack([held * places, keep])
    aim = np.concatenate([held[:, 0] * slopes[near], np.zeros(3)])
    found: npt.NDArray[np.float64] = np.linalg.lstsq(rows, aim, rcond=None)[0]
    return found


def _rows_in_line(texts: Sequence[SeenText], turn: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The turn, more or less of it, by which most texts stand in one row with others.

    The box around a word whose line rises while its letters stand upright rises less than the line does.
    """
    centres = np.array([text.centre for text in texts])
    heights = np.array([text.height for text in texts])
    one, other = np.triu_indices(len(texts), 1)
    away = centres[other] - centres[one]
    middles = np.column_stack([np.ones(len(one)), (centres[one] + centres[other]) / 2])
    least = np.minimum(heights[one], heights[other])
    told = middles @ turn

    def in_line(more: float, besides: float) -> float:
        angle = more * told + besides
        along = away[:, 0] * np.cos(angle) + away[:, 1] * np.sin(angle)
        down = away[:, 1] * np.cos(angle) - away[:, 0] * np.sin(angle)
        rows = np.exp(-((down / (ALIGNED * least)) ** 2)) * (np.abs(along) > 2 * least)
        return float(rows.sum()) * (1.0 - abs(more - 1.0) / 4 - abs(besides))

    tried = [(more, besides) for more in np.linspace(0.9, 1.5, 13) for besides in np.linspace(-0.06, 0.06, 9)]
    more, besides = max(tried, key=lambda pair: in_line(*pair))
    return np.array([more * turn[0] + besides, more * turn[1], more * turn[2]])


def _unit_for(i: int, number: _Number, units: Sequence[int], numbers: Sequence[int], plane: _Plane) -> SeenText | None:
    """The unit that stands after a number in its row, or, smaller, right over or under it."""
    height = number.text.height
    right = [
        (plane.gap_right(i, u), u)
        for u in units
        if plane.in_row(i, u) and plane.gap_right(i, u) > -0.5 * height and not _nearer_row(i, u, numbers, plane)
    ]
    for gap, u in sorted(right):
        between = [n for n in numbers if n != i and plane.in_row(i, n) and 0 < plane.gap_right(i, n) < gap]
        if gap <= UNIT_GAP * height or not between:
            return plane.texts[u]
        break
    near = [
        (abs(plane.between(i, u)[1]), u)
        for u in units
        if plane.in_column(i, u, height)
        and abs(plane.between(i, u)[1]) <= (HEADING_OFF if plane.texts[u].text[:1] in "([" else UNIT_OFF) * height
        and plane.texts[u].height < 0.9 * height
    ]
    return plane.texts[min(near)[1]] if near else None


def _nearer_row(i: int, u: int, numbers: Sequence[int], plane: _Plane) -> bool:
    """Whether a unit is nearer to the line of another number over or under this one than to this one's."""
    off = abs(plane.between(i, u)[1])
    return any(n != i and plane.in_column(i, n) and abs(plane.between(n, u)[1]) < off for n in numbers)


def _candidates(
    i: int, number: _Number, labels: Sequence[int], numbers: Sequence[int], plane: _Plane, meant: Meant
) -> list[_Candidate]:
    """The labels that may be a number's."""
    found: list[tuple[int, Where, int, float]] = []
    height = number.text.height
    for label in labels:
        larger = max(height, plane.texts[label].height)
        along, down = plane.between(label, i)
        if plane.in_row(label, i) and along > 0 and plane.gap_right(label, i) > -0.5 * height:
            passed = sum(
                1 for n in numbers if n != i and plane.in_row(i, n) and plane.between(label, n)[0] > 0
                and plane.between(n, i)[0] > 0
            )  # fmt: skip
            hidden = any(
                other != label and plane.in_row(i, other) and plane.between(label, other)[0] > 0
                and plane.between(other, i)[0] > 0 for other in labels
            )  # fmt: skip
            if not hidden:
                found.append((label, Where.LEFT, passed, max(plane.gap_right(label, i), 0.0) / height))
        elif plane.in_column(label, i, 0.3 * larger):
            where = Where.ABOVE if down > 0 else Where.BELOW
            one, other = (label, i) if down > 0 else (i, label)
            gap = max(plane.gap_down(one, other), 0.0)
            column = [n for n in numbers if n != i and plane.in_column(i, n) and _lies_between(label, n, i, plane)]
            hidden = any(
                other != label and plane.in_column(i, other) and _lies_between(label, other, i, plane)
                for other in labels
            )
            if not hidden and (gap <= LABEL_GAP * larger or (column and where is Where.ABOVE)):
                found.append((label, where, len(column), gap / height))
    told = []
    for label, where, passed, gap in found:
        words = plane.texts[label].text
        quantity, alike = meant(_own_words(words), unit_of(_shown_unit(number, words)))
        told.append(_Candidate(label, where, passed, gap, quantity, alike))
    return told


def _lies_between(one: int, middle: int, other: int, plane: _Plane) -> bool:
    """Whether a text lies between two others, down the picture or up."""
    first, second = plane.between(one, middle)[1], plane.between(middle, other)[1]
    return first * second > 0 and abs(first) > 1 and abs(second) > 1


def _usual(numbers: Collection[_Number]) -> Where | None:
    """Where most of a screen's labels stand: where they account for most of its numbers, each label for one."""
    worth: dict[Where, float] = {}
    for where in Where:
        taken: dict[int, float] = {}
        for number in numbers:
            here = [c for c in number.labels if c.where is where]
            if here:
                best = min(here, key=lambda c: (c.passed, c.gap))
                good = (1.0 if best.quantity else 0.3) - 0.05 * min(best.gap, 6.0) - 0.3 * min(best.passed, 2)
                taken[best.label] = max(taken.get(best.label, 0.0), good)
        worth[where] = sum(taken.values())
    best_where = max(worth, key=lambda where: worth[where])
    return best_where if worth[best_where] > 0 else None


def _cost(candidate: _Candidate, usual: Where | None) -> float:
    """What speaks against a label."""
    gap = min(candidate.gap, 4.0) if candidate.where is Where.LEFT else candidate.gap
    return (
        PER_HEIGHT * gap
        + PASSED * candidate.passed
        + (0.0 if candidate.where is usual else ELSEWHERE)
        + (0.0 if candidate.quantity else UNMEANT)
    )


def _choice(number: _Number, usual: Where | None) -> list[_Candidate]:
    """A number's labels, the likeliest first."""
    return sorted(number.labels, key=lambda c: _cost(c, usual))


def _told(
    i: int,
    numbers: dict[int, _Number],
    chosen: dict[int, list[_Candidate]],
    plane: _Plane,
    sign: str,
    meant: Meant,
    labels: Sequence[int],
    loose: tuple[str, ...],
) -> Labelled:
    number, ranked = numbers[i], chosen[i]
    value, figure = number.figure.value(sign), number.figure
    doubts = [] if value is not None else ["the decimal sign cannot be told"]
    if any(other != i and plane.in_row(i, other) and _touches(i, other, plane) for other in numbers):
        doubts.append("another number stands right beside it")
    label, quantity, unit_missing = "", None, False
    shown_unit = _best_unit(number, ranked, plane)
    unit = unit_of(shown_unit)
    if ranked:
        best = ranked[0]
        text = plane.texts[best.label]
        label, quantity = _own_words(text.text), best.quantity
        usual = _usual(numbers.values())
        others = [c for c in ranked[1:] if c.label != best.label and _free(c, best, i, chosen)]
        if others and _cost(others[0], usual) - _cost(best, usual) < MARGIN and others[0].quantity is not quantity:
            doubts.append(f"it may be that of {_own_words(plane.texts[others[0].label].text)!r}")
        sharing = [n for n, theirs in chosen.items() if n != i and theirs and theirs[0].label == best.label]
        if sharing:
            across = best.where is Where.LEFT
            over = _head(i, best, labels, list(numbers), plane)
            if over is None:
                doubts.append("several numbers stand beside its label")
            else:
                more = _own_words(plane.texts[over].text)
                label = f"{label} {more}" if across else f"{more} {label}"
                if across:
                    quantity, _ = meant(label, unit)
        with_unit = [_best_unit(other, chosen[n], plane) != "" for n, other in numbers.items() if n != i]
        unit_missing = quantity is not None and not unit and (shown_unit != "" or 2 * sum(with_unit) > len(with_unit))
        if quantity is None and unit and meant(label, "")[0] is not None:
            doubts.append(f"{unit} does not go with its label")
    else:
        doubts.append("no label stands beside it")
    return Labelled(
        figure.written,
        value,
        label,
        unit,
        quantity,
        number.text.certainty,
        "; ".join(doubts),
        number.text.corners,
        _other_unit(number, shown_unit),
        unit_missing,
        () if unit else loose,
    )


def _other_unit(number: _Number, shown: str) -> str:
    """What stands in a number's unit's place and is no unit that the journal knows; empty where nothing does."""
    if shown:
        return "" if unit_of(shown) else shown
    return number.misread.text if number.misread is not None else ""


def _touches(one: int, other: int, plane: _Plane) -> bool:
    """Whether two numbers of a row stand so near that they may be pieces of one."""
    left, right = (one, other) if plane.between(one, other)[0] > 0 else (other, one)
    return plane.gap_right(left, right) < TOUCHING * max(plane.texts[one].height, plane.texts[other].height)


def _free(candidate: _Candidate, best: _Candidate, i: int, chosen: dict[int, list[_Candidate]]) -> bool:
    """Whether no other number has that label already, standing to it as this one's does."""
    return not any(
        n != i and theirs and theirs[0].label == candidate.label and theirs[0].where is best.where
        for n, theirs in chosen.items()
    )


def _head(i: int, best: _Candidate, labels: Sequence[int], numbers: Sequence[int], plane: _Plane) -> int | None:
    """What tells a number apart from the others of its label: the top of its column, or the beginning of its row."""
    if best.where is Where.LEFT:
        over = [n for n in labels if n != best.label and plane.in_column(i, n) and plane.between(n, i)[1] > 0]
        return max(over, key=lambda n: plane.between(n, i)[1], default=None)
    left = [n for n in labels if n != best.label and plane.in_row(i, n) and plane.between(n, i)[0] > 0]
    return max(left, key=lambda n: plane.between(n, i)[0], default=None)


def _own_words(text: str) -> str:
    """A label without the unit that it ends with."""
    return _and_unit(text)[0]


def _and_unit(text: str) -> tuple[str, str]:
    """A label's own words and the unit that it ends with, in brackets or after a comma; empty where with none."""
    for opens, closes in ("()", "[]"):
        words, _, inside = text.rpartition(opens)
        if words.strip() and unit_nearly(inside.rstrip(closes)):
            return words.strip(" :;=,"), inside.rstrip(closes)
    words, _, last = text.rpartition(",")
    return (words.strip(), last) if words.strip() and unit_written(last) else (text.strip(" :;=,"), "")


def _best_unit(number: _Number, ranked: Sequence[_Candidate], plane: _Plane) -> str:
    """A number's unit as it is written, beside the likeliest of its labels."""
    return _shown_unit(number, plane.texts[ranked[0].label].text if ranked else "")


def _shown_unit(number: _Number, label: str) -> str:
    """A number's unit as it is written: what is glued to it, what stands after it, what its label ends with."""
    return number.figure.rest or (number.unit.text if number.unit is not None else _and_unit(label)[1])
