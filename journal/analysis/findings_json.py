"""Findings to plain JSON values."""

from __future__ import annotations

import dataclasses
import math
from enum import Enum
from typing import Any

from journal.analysis.findings import Findings


def findings_to_json(findings: Findings) -> dict[str, Any]:
    """The findings as dicts, lists, strings, numbers, booleans and nulls; a number that is not finite becomes null."""
    plain = _plain(findings)
    assert isinstance(plain, dict)
    return plain


def _plain(value: Any) -> Any:
    if isinstance(value, Enum):
        return value.value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return {field.name: _plain(getattr(value, field.name)) for field in dataclasses.fields(value)}
    if isinstance(value, tuple | list | set | frozenset):
        return [_plain(item) for item in value]
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
