"""The sum of the shares to whether the readings can be trusted, and which explanation fits when they cannot."""

from __future__ import annotations

import math

from journal.analysis.contributions import Worth
from journal.analysis.findings import Level, Remark
from journal.analysis.readings import Method, Taken
from journal.analysis.settings import Settings


def check_sum(taken: Taken, done: Worth, total: float, u_total: float, settings: Settings) -> tuple[list[Remark], bool]:
    """Remarks on the sum of the shares, and whether the readings agree with each other.

    Shares by fuel must add up to one; shares by speed drop or brake load do so by construction and check nothing.
    """
    if done.solved or taken.method not in (Method.FUEL, Method.FUEL_RATE):
        return [], True
    u = math.hypot(u_total, settings.sum_model)
    z = (total - 1.0) / u
    if abs(z) <= settings.sum_z:
        return [], True
    return [
        Remark(
            Level.WARNING,
            f"the shares add up to {total:.2f} where {1 - settings.sum_z * u:.2f} to {1 + settings.sum_z * u:.2f} was "
            "to be expected: a reading was misheard, the baseline moved or the load changed",
            tuple(r.entry for r in (*taken.baselines, *taken.cuts)),
        )
    ], False
