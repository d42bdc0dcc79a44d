"""Thresholds of the analysis: from TOML to one frozen value."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

from journal.errors import BadInput


@dataclass(frozen=True)
class Settings:
    """What `analysis.toml` says; every figure there is explained beside it."""

    display_scatter: float
    """Standard deviation of a held reading, as a fraction of it."""
    display_scatter_worth: float
    """How many repeats that judgement is worth."""
    standing_healthy_spread: float
    """Standard deviation of the strength of healthy cylinders."""
    standing_weak_below: float
    """Strength below which a cylinder may be called weak."""
    standing_strong_above: float
    """Strength above which a cylinder may be called strong."""
    standing_even_above: float
    """Strength above which a cylinder must be shown to be to be called even."""
    standing_dead_below: float
    """Strength below which a cylinder must be shown to be to be called dead."""
    standing_z_low: float
    """Standard uncertainties it takes to call a cylinder low or strong."""
    standing_z_even: float
    """Standard uncertainties it takes to rule weakness out."""
    standing_z_dead: float
    """Standard uncertainties it takes to tell dead from weak."""
    standing_z_settle: float
    """Standard uncertainties in reserve when told how many readings would settle it."""
    standing_z_none: float
    """Standard uncertainties by which a dead one's rise may differ from none."""
    compare_z: float
    """Standard uncertainties a cylinder must change between two runs."""
    repeats_z: float
    """Standard deviations by which a repeat must stand apart to be left out."""
    sum_z: float
    """Standard uncertainties the sum of shares may stray from one."""
    sum_z_pointed: float
    """The same where one cylinder's reading would explain it."""
    sum_model: float
    """Standard deviation of the sum because torque is only roughly proportional to fuel."""
    held_speed: float
    """Fraction by which the speed may change in a run."""
    held_warming_c: float
    """Degrees Celsius by which coolant or oil may warm in a run."""
    held_baseline_minutes: float
    """Minutes a run may rest on a single baseline."""


def settings_from_toml(text: str = "") -> Settings:
    """The packaged settings with those of `text` (TOML) laid over them.

    Raises:
        BadInput: when the text is no TOML, or a key or a value is not one the analysis knows.
    """
    try:
        own = _flat(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"analysis settings cannot be read: {error}") from None
    known = {field.name for field in dataclasses.fields(Settings)}
    for name, value in own.items():
        if name not in known:
            raise BadInput(f"analysis setting {name.replace('_', '.', 1)} is not known: remove it")
        if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value) or value <= 0:
            raise BadInput(f"analysis setting {name.replace('_', '.', 1)}: give a number above zero")
    packaged = resources.files("journal.analysis").joinpath("analysis.toml").read_text(encoding="utf-8")
    return Settings(**{name: float(value) for name, value in (_flat(tomllib.loads(packaged)) | own).items()})


@cache
def default_settings() -> Settings:
    """The packaged settings."""
    return settings_from_toml()


def _flat(tables: dict[str, Any]) -> dict[str, Any]:
    flat: dict[str, Any] = {}
    for table, rows in tables.items():
        if not isinstance(rows, dict):
            raise BadInput(f"analysis setting {table}: put it in its table")
        flat |= {f"{table}_{key}": value for key, value in rows.items()}
    return flat
