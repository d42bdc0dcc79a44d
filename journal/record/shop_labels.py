"""What labels on this shop's screens stand for, where a technician has said so, in a file of the journal's folder."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path

from journal.errors import BadInput, RecordError
from journal.facts import Answer, Quantity
from journal.record.files import read_file, write_whole
from journal.record.job import Job

LABELS_FILE = "screens.toml"
"""Beside the entries; a shop may edit it."""

_HEAD = "# Which labels on screens stand for what a test watches; take a line out to be asked anew.\n"
_ESCAPES = str.maketrans({"\\": "\\\\", '"': '\\"'})


def kept_labels(folder: Path) -> dict[Quantity, tuple[str, ...]]:
    """The labels that were said to stand for a quantity, as they were read.

    Raises:
        RecordError: when the file cannot be read or does not make sense: a number must not be taken for another.
    """
    try:
        found = tomllib.loads(read_file(folder / LABELS_FILE).decode("utf-8-sig"))
        return {Quantity(name): _texts(labels) for name, labels in found.items()}
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise RecordError(
            f"{LABELS_FILE} in {folder} cannot be used ({error}): put it right, or remove it to be asked anew"
        ) from None


def keep_label(folder: Path, quantity: Quantity, label: str) -> None:
    """Keep that a label stands for a quantity and for no other; the file is there whole or as it was.

    Raises:
        BadInput: for a label without words.
        RecordError: when the file cannot be read or written.
    """
    label = " ".join(label.split())
    if not label.isprintable() or not label:
        raise BadInput(f"label {label!r}: give the words that stand on the screen")
    before = kept_labels(folder)
    others = {each: tuple(text for text in texts if text != label) for each, texts in before.items()}
    labels = {**others, quantity: (*others.get(quantity, ()), label)}
    if labels != before:
        write_whole(folder / LABELS_FILE, _file(labels).encode())


def learn_label(folder: Path, job: Job, answer: Answer) -> None:
    """Keep which label stands for what the test watches, where an answer has said so.

    The answer stands whatever becomes of this: where it cannot be kept, it is asked once more.
    """
    for fact in job.seen.get(answer.question, ()):
        if fact.body.option is not None and fact.body.option == answer.choice:
            try:
                keep_label(folder, fact.body.quantity, fact.body.label)
            except (BadInput, RecordError):
                return


def _file(labels: Mapping[Quantity, tuple[str, ...]]) -> str:
    lines = [
        f'"{quantity}" = [{", ".join(_quoted(text) for text in texts)}]\n'
        for quantity, texts in labels.items()
        if texts
    ]
    return "".join([_HEAD, *lines])


def _quoted(text: str) -> str:
    return f'"{text.translate(_ESCAPES)}"'


def _texts(labels: object) -> tuple[str, ...]:
    if not isinstance(labels, list) or not all(isinstance(label, str) for label in labels):
        raise ValueError("write labels in quotes within brackets")
    return tuple(labels)
