"""Bodies and entries to plain JSON values and back, checked on both ways by their own types."""

from __future__ import annotations

import dataclasses
import types
import typing
from collections.abc import Callable
from datetime import UTC, datetime
from enum import Enum
from functools import cache
from textwrap import shorten
from typing import Any

from journal.errors import BadInput
from journal.facts.bodies import KINDS, Body, kind_of
from journal.facts.entry import Entry, Source

_MOST_CHOICES = 180
"""Letters of the choices that a refusal names: it stays one line that can be read."""


def body_to_json(body: Body) -> dict[str, Any]:
    """A body as a JSON object with its kind under `kind`; fields at their default are left out."""
    out: dict[str, Any] = {"kind": kind_of(body)}
    for field in dataclasses.fields(body):
        value = getattr(body, field.name)
        if value != field.default:
            out[field.name] = _plain(value)
    return out


def body_from_json(data: Any) -> Body:
    """The body that `body_to_json` wrote.

    Raises:
        BadInput: for an unknown kind, an unknown or missing field, or a value of the wrong type.
    """
    if not isinstance(data, dict):
        raise BadInput("an entry's body must be a JSON object")
    kind = data.get("kind")
    if not isinstance(kind, str) or kind not in KINDS:
        raise BadInput(f"entry kind {str(kind)[:60]!r} is not known to this version")
    fields = {name: value for name, value in data.items() if name != "kind"}
    try:
        return typing.cast(Body, _reader(typing.cast(Any, KINDS[kind]))(fields, kind))
    except RecursionError:
        raise BadInput(f"{kind}: nested too deeply") from None


def entry_to_json(entry: Entry) -> dict[str, Any]:
    """An entry as a JSON object; times as ISO 8601 in UTC with milliseconds."""
    return {
        "id": entry.id,
        "job": entry.job,
        "at_utc": time_to_text(entry.at_utc),
        "offset_minutes": entry.offset_minutes,
        "technician": entry.technician,
        "source": entry.source.value,
        "heard": entry.heard,
        "clip": entry.clip,
        "certainty": entry.certainty,
        "body": body_to_json(entry.body),
    }


def entry_from_json(data: Any) -> Entry:
    """The entry that `entry_to_json` wrote.

    Raises:
        BadInput: when a field is missing or makes no sense.
    """
    if not isinstance(data, dict):
        raise BadInput("an entry must be a JSON object")
    if data.keys() != _FIELDS.keys():
        odd = sorted(set(data) ^ set(_FIELDS))
        raise BadInput(f"an entry {'lacks' if odd[0] in _FIELDS else 'has a field too many,'} {odd[0]!r}"[:120])
    given = {name: read(data[name], name) for name, read in _readers()}
    given["at_utc"] = time_from_text(data["at_utc"])
    if given["at_utc"].microsecond % 1000:
        raise BadInput(f"time {data['at_utc']!r}: give whole milliseconds")
    return Entry(**given, body=body_from_json(data["body"]))


_FIELDS: dict[str, Any] = {
    "id": str,
    "job": str,
    "at_utc": None,
    "offset_minutes": int,
    "technician": str,
    "source": Source,
    "heard": str,
    "clip": str,
    "certainty": float,
    "body": None,
}
"""An entry's fields and their types; none for the two that have readers of their own."""


def time_to_text(at_utc: datetime) -> str:
    """ISO 8601 in UTC with milliseconds, e.g. `2026-03-01T08:15:30.250Z`."""
    return at_utc.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def time_from_text(text: str) -> datetime:
    """The moment that `time_to_text` wrote; `BadInput` when the text is no such time."""
    try:
        at = datetime.fromisoformat(text)
        if at.tzinfo is None:
            raise BadInput(f"time {text!r} has no zone: write it in UTC with a Z")
        return at.astimezone(UTC)
    except (TypeError, ValueError, OverflowError):
        raise BadInput(f"time {str(text)[:60]!r}: write it like 2026-03-01T08:15:30.250Z") from None


def _plain(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        if type(value) in KINDS.values():
            return body_to_json(typing.cast(Body, value))
        return {f.name: _plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    return value


_Read = Callable[[Any, str], Any]
"""Makes a value of one type from a plain JSON value, or raises `BadInput`; the second argument says whose it is."""


@cache
def _readers() -> list[tuple[str, _Read]]:
    return [(name, _reader(hint)) for name, hint in _FIELDS.items() if hint is not None]


@cache
def _reader(hint: Any) -> _Read:
    """What reads values of a type; worked out once for each type, for a journal reads entries by the million."""
    if hint == Body:
        return lambda value, _: body_from_json(value)
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        choices = [c for c in typing.get_args(hint) if c is not type(None)]
        read = _reader(Body if len(choices) > 1 else choices[0])
        return lambda value, where: None if value is None else read(value, where)
    if origin is tuple:
        return _list_reader(_reader(typing.get_args(hint)[0]))
    if dataclasses.is_dataclass(hint):
        return _dataclass_reader(typing.cast(type, hint))
    if issubclass(hint, Enum):
        return _enum_reader(hint)
    return _float if hint is float else _plain_reader(hint)


def _list_reader(read: _Read) -> _Read:
    def read_list(value: Any, where: str) -> tuple[Any, ...]:
        if not isinstance(value, list):
            raise BadInput(f"{where}: must be a list")
        return tuple(read(item, where) for item in value)

    return read_list


def _dataclass_reader(cls: type) -> _Read:
    hints = typing.get_type_hints(cls)
    readers = {name: _reader(hint) for name, hint in hints.items()}
    required = {f.name: None for f in dataclasses.fields(cls) if f.default is dataclasses.MISSING}

    def read_dataclass(value: Any, where: str) -> Any:
        if not isinstance(value, dict):
            raise BadInput(f"{where}: must be a JSON object")
        try:
            fields = {name: readers[name](item, name) for name, item in value.items()}
        except KeyError as error:
            raise BadInput(f"{where}: field {str(error.args[0])[:60]!r} is not known") from None
        if not required.keys() <= fields.keys():
            raise BadInput(f"{where}: lacks {', '.join(name for name in required if name not in fields)}")
        return cls(**fields)

    return read_dataclass


def _enum_reader(kind: type[Enum]) -> _Read:
    members = {member.value: member for member in kind}

    def read_enum(value: Any, where: str) -> Enum:
        if not isinstance(value, str) or value not in members:
            choices = shorten(", ".join(members), _MOST_CHOICES, placeholder=" …")
            raise BadInput(f"{where} {str(value)[:60]!r}: use one of {choices}")
        return members[value]

    return read_enum


def _float(value: Any, where: str) -> float:
    if isinstance(value, float):
        return value
    if not isinstance(value, int) or isinstance(value, bool):
        raise BadInput(f"{where}: must be a number, not {str(value)[:60]!r}")
    try:
        return float(value)
    except OverflowError:
        raise BadInput(f"{where}: the number is too large") from None


def _plain_reader(kind: type) -> _Read:
    def read_plain(value: Any, where: str) -> Any:
        if type(value) is not kind:
            raise BadInput(f"{where}: must be {_WORDS[kind]}, not {str(value)[:60]!r}")
        return value

    return read_plain


_WORDS = {str: "text", int: "a whole number", bool: "true or false"}
