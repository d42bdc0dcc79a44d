"""How much each cylinder pulls to how it stands against the robust middle of its peers."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import median

import numpy as np

from journal.analysis.contributions import Worth
from journal.analysis.findings import Standing
from journal.analysis.settings import Settings

_MEDIAN_COSTS = math.pi / 2
"""A median of normal values varies by this factor more than their mean, in the limit of many (Kendall's Advanced
Theory of Statistics, 10.10)."""


@dataclass(frozen=True)
class Stand:
    """One cylinder's standing with the numbers behind it."""

    standing: Standing
    """How it stands."""
    strength: float
    """Pull against the middle of its peers."""
    uncertainty: float
    """Standard uncertainty of the strength, without the spread of healthy cylinders."""
    why: str
    """One sentence."""
    repeats_needed: int | None = None
    """For an unclear one: how many readings in all would settle it."""


@dataclass(frozen=True)
class Verdict:
    """The standings of a run."""

    stands: dict[int, Stand]
    """By cylinder."""
    half_low: tuple[int, ...] = ()
    """The low cylinders when they are half of the live ones or more, so that comparison cannot judge."""


def standings(worth: Worth, live: int, settings: Settings) -> Verdict:
    """The standing of every cylinder in `worth`; `live` is how many the run has.

    A fault makes a cylinder pull less, hardly ever more, so the peers are found from the top: first against the
    median of the upper half, then against the median of all that are not low. The statistic is
    z = (peer middle - pull) / u, u the standard uncertainty of that difference with the spread of healthy cylinders.
    """
    pull = worth.pull
    m = len(pull)
    order = np.argsort(-pull)
    peers = [int(i) for i in order[: max(1, (m + 1) // 2)]]
    low: set[int] = set()
    for _ in range(3):
        found = {i for i in range(m) if _is_low(worth, i, [p for p in peers if p != i] or peers, settings)}
        peers = [i for i in range(m) if i not in found]
        if found == low or not peers:
            low = found
            break
        low = found
    low_numbers = tuple(worth.cylinders[i] for i in sorted(low))
    too_many = len(low) * 2 >= live and live > 1
    stands = {
        worth.cylinders[i]: _stand(worth, i, [p for p in peers if p != i] or [i], too_many, live, settings)
        for i in range(m)
    }
    return Verdict(stands, low_numbers if too_many else ())


def _against(worth: Worth, i: int, peers: list[int], settings: Settings) -> tuple[float, float, float, float]:
    """Middle of the peers; then the standard uncertainty of pull - f * middle for f = 1, even_above and strength."""
    middle = median(float(worth.pull[p]) for p in peers)
    cov = worth.covariance
    own = float(cov[i, i])
    block = cov[np.ix_(peers, peers)]
    shared = float(block.sum()) / len(peers) ** 2
    alone = float(np.trace(block)) / len(peers) ** 2
    of_middle = shared + (_MEDIAN_COSTS - 1.0) * alone * (len(peers) > 2)
    with_own = float(cov[i, peers].mean())

    def of(factor: float) -> float:
        return math.sqrt(max(own - 2 * factor * with_own + factor**2 * of_middle, 1e-18))

    strength = float(worth.pull[i]) / middle if middle > 0 else 0.0
    return middle, of(1.0), of(settings.standing_even_above), of(strength)


def _is_low(worth: Worth, i: int, peers: list[int], settings: Settings) -> bool:
    middle, u, _, _ = _against(worth, i, peers, settings)
    if middle <= 0:
        return False
    spread = settings.standing_healthy_spread * middle
    pull = float(worth.pull[i])
    z = (middle - pull) / math.hypot(u, spread)
    return z > settings.standing_z_low and pull < settings.standing_weak_below * middle


def _stand(worth: Worth, i: int, peers: list[int], too_many: bool, live: int, settings: Settings) -> Stand:
    pull = float(worth.pull[i])
    of_none = math.sqrt(max(float(worth.covariance[i, i]), 1e-18))
    if len(worth.pull) < 3 and live > len(worth.pull):
        return Stand(Standing.UNCLEAR, 1.0, 0.0, "too few cylinders have been cut to compare it with")
    if peers == [i]:
        return Stand(Standing.UNCLEAR, 1.0, 0.0, "there is no other cylinder to compare it with")
    middle, u, u_even, u_strength = _against(worth, i, peers, settings)
    if middle <= 0:
        return Stand(
            Standing.UNCLEAR, 0.0, 0.0, "no cylinder pulls by these readings, so there is no middle to compare with"
        )
    strength, relative = pull / middle, u_strength / middle
    z = (middle - pull) / math.hypot(u, settings.standing_healthy_spread * middle)
    percent = f"{100 * strength:.0f} % of the middle of its peers"
    if z > settings.standing_z_low and strength < settings.standing_weak_below:
        split = math.sqrt(max(of_none**2, 0.0))
        doing_nothing = pull < settings.standing_z_none * of_none
        shown_small = pull + settings.standing_z_dead * split < settings.standing_dead_below * middle
        if doing_nothing and shown_small:
            return Stand(
                Standing.DEAD,
                strength,
                relative,
                f"cutting it changes nothing beyond what the display resolves (z = {z:.1f})",
            )
        if too_many:
            return Stand(
                Standing.UNCLEAR,
                strength,
                relative,
                f"it pulls {percent}, but half the live cylinders or more are low, so the middle says little",
            )
        also = ", and it may be doing nothing at all" if doing_nothing else ""
        return Stand(Standing.WEAK, strength, relative, f"it pulls {percent} (z = {z:.1f}){also}")
    if -z > settings.standing_z_low and strength > settings.standing_strong_above:
        return Stand(Standing.STRONG, strength, relative, f"it pulls {percent} (z = {-z:.1f})")
    if pull - settings.standing_z_even * u_even > settings.standing_even_above * middle:
        return Stand(Standing.EVEN, strength, relative, f"it pulls {percent}, as an even one may")
    needed = _repeats(worth, i, strength, u / middle, settings)
    unsure = f"it pulls {percent}, give or take {200 * relative:.0f} %"
    if needed is None:
        return Stand(
            Standing.UNCLEAR,
            strength,
            relative,
            f"{unsure}; repeats alone would not settle it: use a finer display, or hold half the engine out so that "
            "each cylinder's rise is larger",
        )
    return Stand(Standing.UNCLEAR, strength, relative, f"{unsure}; {needed} readings in all would settle it", needed)


def _repeats(worth: Worth, i: int, strength: float, relative: float, settings: Settings) -> int | None:
    """How many readings in all make the interval small enough to tell even from low; none when no number does."""
    margins = (
        (strength - settings.standing_even_above) / settings.standing_z_even,
        (1.0 - strength) / settings.standing_z_low,
    )
    wanted = max(*margins, 0.02)
    total = float(worth.covariance[i, i])
    kept = relative**2 * float(worth.fixed[i]) / total if total > 0 else 0.0
    changing = relative**2 - kept
    if wanted**2 <= kept:
        return None
    needed = math.ceil(worth.readings[i] * changing / (wanted**2 - kept))
    needed = max(needed, worth.readings[i] + 1)
    return needed if needed <= 12 else None
