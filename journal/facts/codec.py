"""Bodies and entries to plain JSON values and back, checked on both ways by their own types."""

from __future__ import annotations

import dataclasses
import types
import typing
from datetime import UTC, datetime
from enum import Enum
from functools import cache
from typing import Any

from journal.errors import BadInput
from journal.facts.bodies import KINDS, Body, kind_of
from journal.facts.entry import Entry, Source


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
    body = _dataclass(KINDS[kind], fields, kind)
    return typing.cast(Body, body)


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
    odd = sorted(set(data) ^ set(_FIELDS))
    if odd:
        raise BadInput(f"an entry {'lacks' if odd[0] in _FIELDS else 'has a field too many,'} {odd[0]!r}"[:120])
    given = {name: _typed(hint, data[name], f"entry {name}") for name, hint in _FIELDS.items() if hint is not None}
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


@cache
def _hints(cls: type) -> dict[str, Any]:
    return typing.get_type_hints(cls)


def _dataclass(cls: type, data: Any, where: str) -> Any:
    if not isinstance(data, dict):
        raise BadInput(f"{where}: must be a JSON object")
    hints = _hints(cls)
    unknown = sorted(set(data) - set(hints))
    if unknown:
        raise BadInput(f"{where}: field {str(unknown[0])[:60]!r} is not known")
    try:
        return cls(**{name: _typed(hints[name], value, f"{where} {name}") for name, value in data.items()})
    except TypeError:
        required = [f.name for f in dataclasses.fields(cls) if f.default is dataclasses.MISSING and f.name not in data]
        raise BadInput(f"{where}: lacks {', '.join(required)}") from None


def _typed(hint: Any, value: Any, where: str) -> Any:
    if hint == Body:
        return body_from_json(value)
    origin = typing.get_origin(hint)
    if origin in (typing.Union, types.UnionType):
        choices = typing.get_args(hint)
        if value is None and type(None) in choices:
            return None
        kinds = [c for c in choices if c is not type(None)]
        return body_from_json(value) if len(kinds) > 1 else _typed(kinds[0], value, where)
    if origin is tuple:
        if not isinstance(value, list):
            raise BadInput(f"{where}: must be a list")
        return tuple(_typed(typing.get_args(hint)[0], item, where) for item in value)
    if dataclasses.is_dataclass(hint):
        return _dataclass(typing.cast(type, hint), value, where)
    if isinstance(hint, type) and issubclass(hint, Enum):
        try:
            return hint(value)
        except ValueError:
            raise BadInput(f"{where} {value!r}: use one of {', '.join(str(e) for e in hint)}") from None
    if hint is float and isinstance(value, int) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            raise BadInput(f"{where}: the number is too large") from None
    if not isinstance(value, hint) or (hint is int and isinstance(value, bool)):
        raise BadInput(f"{where}: must be {hint.__name__}, not {str(value)[:60]!r}")
    return value
