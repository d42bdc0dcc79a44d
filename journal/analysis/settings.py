"""Thresholds of the analysis: from TOML to one frozen value."""

from __future__ import annotations

import dataclasses
import math
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib import resources
from statistics import NormalDist
from typing import Any

from journal.errors import BadInput


@dataclass(frozen=True)
class Settings:
    """What `analysis.toml` says; every figure there is explained beside it."""

    noise_fuel: float
    """Standard deviation of a held reading of fuel, as a fraction of it."""
    noise_speed: float
    """The same of engine speed."""
    noise_brake: float
    """The same of a brake's load or power."""
    noise_factor: float
    """By what factor, one standard deviation, the noise of a run may differ from that."""
    cylinder_dead: float
    """Chance that a cylinder does nothing."""
    cylinder_weak: float
    """Chance that it pulls anything from nothing to as much as an even one."""
    cylinder_strong: float
    """Chance that it pulls more than an even one."""
    cylinder_spread: float
    """Standard deviation of the strength of healthy cylinders."""
    cylinder_nothing: float
    """Standard deviation of the strength of dead ones."""
    engine_drift: float
    """Standard deviation of the drift in a run of `engine_drift_minutes`, as a fraction."""
    engine_drift_minutes: float
    """A longer run's drift is larger by the root of how much longer it is."""
    engine_drift_held: float
    """The drift's standard deviation where fuel is held, or a brake's load or power is read."""
    engine_proportional: float
    """Chance that fuel rises as torque does."""
    engine_proportional_spread: float
    """Standard deviation of its rise then."""
    engine_rise: float
    """The likeliest rise of fuel with torque otherwise, one where all fuel makes torque."""
    engine_rise_spread: float
    """Standard deviation of that."""
    engine_sum: float
    """Standard deviation of the sum of the shares with all else allowed for."""
    standing_weak_below: float
    """Strength below which a cylinder is weak."""
    standing_strong_above: float
    """Strength above which a cylinder is strong."""
    standing_dead_below: float
    """Strength below which a cylinder is dead or nearly so."""
    standing_even_above: float
    """Strength above which a cylinder must be shown to be to be called even."""
    sure_low: float
    """How likely it must be that a cylinder is weak or dead to call it low."""
    sure_dead: float
    """The same to call a low one dead."""
    sure_strong: float
    """The same to call one strong."""
    sure_even: float
    """The same to call one even."""
    sure_changed: float
    """The same to say that a cylinder changed between two runs."""
    before_same: float
    """Chance that what an earlier run on the same machine shows of it still holds."""
    before_noise: float
    """By what factor, one standard deviation, the noise may have changed since."""
    before_rise: float
    """By how much, one standard deviation, the rise of fuel with torque may have."""
    wrong_reading: float
    """Chance that a reading was misheard or misread."""
    wrong_said: float
    """How likely that must have become to be said."""
    wrong_left_out: float
    """The same for a reading that its fellows contradict to be left out."""
    wrong_run: float
    """Chance that a whole run is off."""
    wrong_limit: float
    """Chance that a governor reaches its fuel limit while cylinders are cut."""
    wrong_limit_half: float
    """The same with cylinders held out."""
    wrong_speed_fell: float
    """How many times likelier the speed falls then."""
    held_speed: float
    """Fraction by which the speed may change in a run."""
    held_speed_between: float
    """Fraction by which the speeds of two runs may differ and still be the same conditions."""
    held_warming_c: float
    """Degrees Celsius by which coolant or oil may warm in a run."""
    held_warmer_between_c: float
    """Degrees Celsius by which the temperatures of two runs may differ and still be the same conditions."""
    held_baseline_minutes: float
    """Minutes a run may rest on a single baseline."""
    held_apart_minutes: float
    """Minutes that a run's readings may lie apart."""

    @property
    def changed_z(self) -> float:
        """How many standard uncertainties a cylinder must change between two runs for it to be `sure_changed`."""
        return NormalDist().inv_cdf((1 + self.sure_changed) / 2)


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
