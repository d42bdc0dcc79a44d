"""What a run tells of its engine and its display beside the shares: where a later job on the same machine starts."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Learnt:
    """What is believed after a run of what other runs on the machine share with it."""

    readings: int
    """How many readings it rests on."""
    noise: float
    """The likeliest standard deviation of a held reading, as a fraction of it."""
    noise_factor: float
    """By what factor, one standard deviation, it may differ from that."""
    alike: float
    """Chance that healthy cylinders differ by the lesser of the two spreads that are weighed."""
    proportional: float | None
    """Chance that fuel rises as torque does; none where fuel was not watched, or what makes no torque was said."""
    rise: float
    """Otherwise the mean of how fuel rises with torque."""
    rise_u: float
    """Its standard deviation."""
