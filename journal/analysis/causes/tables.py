"""The packaged tables of causes and checks, read from TOML and proved sound once, as the arrays inference works on."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
import numpy.typing as npt

from journal.errors import BadInput

Vector = npt.NDArray[np.float64]


@dataclass(frozen=True)
class CauseRow:
    """One cause as `causes.toml` has it."""

    key: str
    """Its key."""
    name: str
    """Its name in plain words."""
    of_cylinder: bool
    """True for a cause in one cylinder, false for the whole engine."""
    meaning: str
    """What it is, one sentence."""
    part: str
    """The part it would mean; empty when none."""
    part_words: tuple[str, ...]
    """Words that name the part when it is asked for, in small letters."""
    cautions: tuple[str, ...]
    """Keys of cautions."""
    needs: tuple[tuple[str, ...], ...]
    """Each a set of checks of which one must have been made before the part is ordered."""
    reach: float
    """For the whole engine: chance that it makes a given cylinder read low against its peers."""


@dataclass(frozen=True)
class CheckRow:
    """One check, or one thing the runs show, as `checks.toml` has it."""

    key: str
    """A `Subject`'s text, or a name of our own for what runs and codes show."""
    do: str
    """What to do, an imperative; empty when there is nothing to do."""
    tells: str
    """What it tells, beginning `whether` or the like."""
    kind: str
    """`check`, `run` or `code`."""
    of_cylinder: bool
    """True when a result belongs to one cylinder."""
    minutes: float
    """Typical working time."""
    invasive: int
    """0 nothing opened, 1 covers, 2 parts taken out, 3 parts exchanged."""
    first: tuple[tuple[str, ...], ...]
    """Each a set of checks of which one must have been made before."""
    tools: tuple[str, ...]
    """What is needed."""
    cautions: tuple[str, ...]
    """Keys of cautions."""
    say: str
    """How the commonest result is said; `{cylinder}` and `{others}` stand for numbers."""
    outcomes: tuple[str, ...]
    """Outcomes, from the least to the most striking."""
    waits: tuple[str, ...]
    """Outcomes said while the result is still to come."""
    refine: Mapping[str, Mapping[str, str]]
    """For an outcome with a part or place: the outcome meant."""
    likelihood: Mapping[str, Vector]
    """Chance of each outcome under a cause, and under `otherwise`."""
    judge: Mapping[str, Any] = field(default_factory=dict)
    """How a bare number is judged: `against` what, and the `bands` of outcomes; empty where only people can."""

    def given(self, cause: str) -> Vector:
        """Chance of each outcome, shape (outcomes,), under a cause."""
        return self.likelihood.get(cause, self.likelihood["otherwise"])


@dataclass(frozen=True)
class SharedRow:
    """A fault that several cylinders can have in common."""

    cause: str
    """Key of the cause."""
    group: str
    """`drivers`, `branches` or `neighbours`."""
    rate: float
    """Chance for each such group on an engine that is brought in."""
    words: str
    """What they share, in words."""


@dataclass(frozen=True)
class Tables:
    """Everything the two files say."""

    causes: Mapping[str, CauseRow]
    """By key, in the file's order."""
    checks: Mapping[str, CheckRow]
    """By key, in the file's order."""
    shared: tuple[SharedRow, ...]
    """Faults in common."""
    base_rates: Mapping[str, Mapping[str, float]]
    """By injection type: weights of a cylinder's causes."""
    engine_rates: Mapping[str, Mapping[str, float]]
    """By injection type: chance of each engine-wide cause."""
    model: Mapping[str, float]
    """`fault_rate`, `shared_reach` and what the shop's history weighs."""
    next_check: Mapping[str, float]
    """`setup_minutes`, `dismantling`, `needed_anyway`, `worth_asking`."""
    gate: Mapping[str, float]
    """`threshold`, `not_indicated`, `rival`."""
    cautions: Mapping[str, str]
    """Caution texts by key."""

    @property
    def cylinder_causes(self) -> tuple[str, ...]:
        """Keys of a cylinder's own causes."""
        return tuple(key for key, row in self.causes.items() if row.of_cylinder)

    @property
    def engine_causes(self) -> tuple[str, ...]:
        """Keys of causes common to the whole engine."""
        return tuple(key for key, row in self.causes.items() if not row.of_cylinder)


@cache
def tables() -> Tables:
    """The tables that come with the journal."""
    here = files("journal.analysis.causes")
    return parse_tables((here / "causes.toml").read_text("utf-8"), (here / "checks.toml").read_text("utf-8"))


def parse_tables(causes_toml: str, checks_toml: str) -> Tables:
    """Tables from the text of the two files.

    Raises:
        BadInput: naming the row that does not add up to one, holds a chance of nought, or names an unknown cause.
    """
    try:
        causes, checks = tomllib.loads(causes_toml), tomllib.loads(checks_toml)
    except tomllib.TOMLDecodeError as error:
        raise BadInput(f"the tables of causes and checks cannot be read: {error}") from error
    cause_rows = {key: _cause(key, row) for key, row in causes["causes"].items()}
    return Tables(
        causes=cause_rows,
        checks={key: _check(key, row, cause_rows) for key, row in checks.items()},
        shared=tuple(
            SharedRow(row["cause"], row["group"], float(row["rate"]), row["words"]) for row in causes.get("shared", ())
        ),
        base_rates=causes["base_rates"],
        engine_rates=causes["engine_rates"],
        model=causes["model"],
        next_check=causes["next_check"],
        gate=causes["gate"],
        cautions=causes["cautions"],
    )


def _cause(key: str, row: Mapping[str, Any]) -> CauseRow:
    return CauseRow(
        key=key,
        name=row["name"],
        of_cylinder=row["of"] == "cylinder",
        meaning=row["meaning"],
        part=row["part"],
        part_words=tuple(row.get("part_words", ())),
        cautions=tuple(row["cautions"]),
        needs=tuple(tuple(group) for group in row["needs"]),
        reach=float(row.get("reach", 0.0)),
    )


def _check(key: str, row: Mapping[str, Any], causes: Mapping[str, CauseRow]) -> CheckRow:
    outcomes = tuple(row["outcomes"])
    likelihood = {}
    for cause, chances in row["likelihood"].items():
        vector = np.array(chances, dtype=np.float64)
        if cause != "otherwise" and cause not in causes:
            raise BadInput(f"checks.toml, {key}: there is no cause {cause!r}; use one of {', '.join(causes)}")
        if vector.shape != (len(outcomes),) or abs(vector.sum() - 1) > 1e-6 or vector.min() <= 0:
            raise BadInput(f"checks.toml, {key}, {cause}: give {len(outcomes)} chances above nought that add up to one")
        likelihood[cause] = vector
    if "otherwise" not in likelihood:
        raise BadInput(f"checks.toml, {key}: give a row named otherwise")
    return CheckRow(
        key=key,
        do=row["do"],
        tells=row["tells"],
        kind=row.get("kind", "check"),
        of_cylinder=row["scope"] == "cylinder",
        minutes=float(row.get("minutes", 0)),
        invasive=int(row.get("invasive", 0)),
        first=tuple(tuple(group.split("|")) for group in row.get("first", ())),
        tools=tuple(row.get("tools", ())),
        cautions=tuple(row.get("cautions", ())),
        say=row.get("say", ""),
        outcomes=outcomes,
        waits=tuple(row.get("waits", ())),
        refine=row.get("refine", {}),
        likelihood=likelihood,
        judge=row.get("judge", {}),
    )
