"""What labels on this shop's screens stand for, where a technician has said so, in a file of the journal's folder.

A label stands there in quotes, or with the unit that stood beside it: `{label = "Fuel delivery", unit = "mm3"}`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from journal.errors import BadInput, RecordError
from journal.facts import UNITS, Answer, Quantity
from journal.record.files import read_file, write_whole
from journal.record.job import Job

LABELS_FILE = "screens.toml"
"""Beside the entries; a shop may edit it."""

_HEAD = "# Which labels on screens stand for what a test watches; take a line out to be asked anew.\n"
_ESCAPES = str.maketrans({"\\": "\\\\", '"': '\\"'})


@dataclass(frozen=True)
class Vouched:
    """A label that was said to stand for a quantity."""

    label: str
    """As it was read."""
    unit: str = ""
    """The unit that stood beside it then, as the journal writes it; empty where none was made out."""


def kept_labels(folder: Path) -> dict[Quantity, tuple[Vouched, ...]]:
    """The labels that were said to stand for a quantity, as they were read.

    Raises:
        RecordError: when the file cannot be read or does not make sense: a number must not be taken for another.
    """
    try:
        found = tomllib.loads(read_file(folder / LABELS_FILE).decode("utf-8-sig"))
        return {Quantity(name): _vouched(Quantity(name), labels) for name, labels in found.items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise RecordError(
            f"{LABELS_FILE} in {folder} cannot be used ({error}): put it right, or remove it to be asked anew"
        ) from None


def keep_label(folder: Path, quantity: Quantity, label: str, unit: str = "") -> None:
    """Keep that a label stands for a quantity and for no other; the file is there whole or as it was.

    Args:
        folder: the journal's.
        quantity: what it stands for.
        label: as it was read.
        unit: what stood beside it; where that is empty, what is kept of the label's unit stays.

    Raises:
        BadInput: for a label without words.
        RecordError: when the file cannot be read or written.
    """
    label = " ".join(label.split())
    if not label.isprintable() or not label:
        raise BadInput(f"label {label!r}: give the words that stand on the screen")
    before = kept_labels(folder)
    unit = unit or next((told.unit for told in before.get(quantity, ()) if told.label == label), "")
    others = {each: tuple(told for told in kept if told.label != label) for each, kept in before.items()}
    labels = {**others, quantity: (*others.get(quantity, ()), Vouched(label, unit))}
    if labels != before:
        write_whole(folder / LABELS_FILE, _file(labels).encode())


def learn_label(folder: Path, job: Job, answer: Answer) -> None:
    """Keep which label stands for what the test watches, and in which unit, where an answer has said so.

    The answer stands whatever becomes of this: where it cannot be kept, it is asked once more.
    """
    for fact in job.seen.get(answer.question, ()):
        if fact.body.option is not None and fact.body.option == answer.choice:
            try:
                keep_label(folder, fact.body.quantity, fact.body.label, fact.body.unit)
            except (BadInput, RecordError):
                return


def _file(labels: Mapping[Quantity, tuple[Vouched, ...]]) -> str:
    lines = [
        f'"{quantity}" = [{", ".join(_written(told) for told in vouched)}]\n'
        for quantity, vouched in labels.items()
        if vouched
    ]
    return "".join([_HEAD, *lines])


def _written(told: Vouched) -> str:
    label = _quoted(told.label)
    return f"{{label = {label}, unit = {_quoted(told.unit)}}}" if told.unit else label


def _quoted(text: str) -> str:
    return f'"{text.translate(_ESCAPES)}"'


def _vouched(quantity: Quantity, labels: object) -> tuple[Vouched, ...]:
    if not isinstance(labels, list):
        raise ValueError("write labels in quotes within brackets")
    return tuple(_one(quantity, label) for label in labels)


def _one(quantity: Quantity, told: object) -> Vouched:
    match told:
        case str():
            return Vouched(told)
        case {"label": str(label), "unit": str(unit), **others} if not others:
            if unit not in UNITS[quantity]:
                raise ValueError(f"unit {unit!r} of {label!r}: write one of {', '.join(UNITS[quantity])}")
            return Vouched(label, unit)
    raise ValueError('write a label in quotes, or as {label = "…", unit = "…"}')
