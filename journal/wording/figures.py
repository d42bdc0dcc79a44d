"""The packaged figures of the decision: `deciding.toml`, costs and the like, and `belief.json`, what was fitted."""

from __future__ import annotations

import json
import tomllib
from functools import cache
from importlib import resources
from typing import Any

_PLACE = resources.files("journal.wording")


@cache
def settings() -> dict[str, dict[str, float]]:
    """Costs, and what is tried to make sense of a text."""
    return {name: table for name, table in _told().items() if name != "openers"}


@cache
def openers() -> dict[str, list[str]]:
    """For the first word of a note and the like, what unconstrained listeners write for it."""
    found: dict[str, list[str]] = _told()["openers"]
    return found


@cache
def fitted() -> dict[str, Any]:
    """Weights for each set of listeners, with when and on what they were fitted."""
    found: dict[str, Any] = json.loads(_PLACE.joinpath("belief.json").read_text("utf-8"))
    return found


@cache
def _told() -> dict[str, Any]:
    return tomllib.loads(_PLACE.joinpath("deciding.toml").read_text("utf-8"))
