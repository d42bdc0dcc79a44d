"""How much each cylinder pulls to how it stands against the robust middle of its peers."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from journal.analysis.causes_words import wander
from journal.analysis.contributions import Worth
from journal.analysis.findings import Standing
from journal.analysis.readings import Method, Taken
from journal.analysis.settings import Settings

_MEDIAN_COSTS = math.pi / 2
"""A median of normal values varies by this factor more than their mean, in the limit of many (Kendall's Advanced
Theory of Statistics, 10.10)."""

_MOST_REPEATS = 12
_NOTHING = "cutting it changes nothing beyond what the display resolves; it is below an even one by {by}"
_TORN = "its readings contradict each other: read it again"
_WRONG_WAY = "the reading went the wrong way when it was cut, which no cylinder can do: read it again"
_TOO_FEW = "too few cylinders have been cut to compare it with"


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class _Against:
    """A cylinder against the middle of its peers, all in units of pull."""

    pull: float
    middle: float
    u: float
    """Standard uncertainty of pull - middle."""
    u_even: float
    """Standard uncertainty of pull - even_above * middle."""
    u_own: float
    """Standard uncertainty of pull - strength * middle, which is that of the strength, times the middle."""
    u_none: float
    """Standard uncertainty of pull itself."""
    z_low: float
    """(middle - pull) over u with the spread of healthy cylinders."""

    @property
    def strength(self) -> float:
        return self.pull / self.middle


def standings(worth: Worth, taken: Taken, settings: Settings, torn: frozenset[int] = frozenset()) -> Verdict:
    """The standing of every cylinder in `worth`; `torn` are those whose repeats contradict each other.

    A fault makes a cylinder pull less, hardly ever more, so the peers are found from the top: first against the
    median of the upper half, then against the median of all that are not low. The statistic is
    z = (peer middle - pull) / u, u the standard uncertainty of that difference with the spread of healthy cylinders.
    While fewer than three are cut, shares by fuel still tell a dead one, for a share is a share of the whole.
    """
    live = len(taken.live)
    m = len(worth.pull)
    if m < min(3, live):
        by_fuel = taken.method in (Method.FUEL, Method.FUEL_RATE)
        return Verdict({c: _early(worth, i, live, by_fuel, settings) for i, c in enumerate(worth.cylinders)})
    sure = [i for i, c in enumerate(worth.cylinders) if c not in torn]
    order = sorted(sure, key=lambda i: -float(worth.pull[i]))
    peers = order[: max(1, (len(order) + 1) // 2)]
    low: set[int] = set()
    for _ in range(3):
        held_against = _Peers(worth, peers, settings)
        found = held_against.low(sure)
        peers = [i for i in sure if i not in found]
        if found == low or not peers:
            low = found
            break
        low = found
    too_many = len(low) * 2 >= live and live > 1
    if set(peers) != held_against.place.keys():
        held_against = _Peers(worth, peers, settings)
    stands = {}
    for i, cylinder in enumerate(worth.cylinders):
        if cylinder in torn:
            stands[cylinder] = Stand(Standing.UNCLEAR, 1.0, 0.0, _TORN, worth.readings[i] + 1)
        else:
            stands[cylinder] = _stand(worth, i, held_against, too_many, settings)
    return Verdict(stands, tuple(worth.cylinders[i] for i in sorted(low)) if too_many else ())


def _early(worth: Worth, i: int, live: int, by_fuel: bool, settings: Settings) -> Stand:
    """A cylinder's standing before there are enough others to compare it with."""
    pull, u = float(worth.pull[i]), math.sqrt(max(float(worth.covariance[i, i]), 1e-18))
    even = 1.0 / live
    shown_small = pull + settings.standing_z_low * u < settings.standing_dead_below * even
    if by_fuel and abs(pull) < settings.standing_z_none * u and shown_small:
        return Stand(Standing.DEAD, max(pull, 0.0) / even, u / even, _NOTHING.format(by=wander((even - pull) / u)))
    return Stand(Standing.UNCLEAR, pull / even if by_fuel else 1.0, u / even if by_fuel else 0.0, _TOO_FEW)


class _Peers:
    """A set of cylinders whose middle the others are held against; a cylinder is never among its own peers."""

    def __init__(self, worth: Worth, peers: list[int], settings: Settings) -> None:
        self.settings = settings
        self.pull: list[float] = worth.pull.tolist()
        self.variance: list[float] = np.diag(worth.covariance).tolist()
        self.place = {p: k for k, p in enumerate(sorted(peers, key=self.pull.__getitem__))}
        self.sorted = [self.pull[p] for p in self.place]
        rows = worth.covariance[:, peers].sum(axis=1)
        self.with_peers: list[float] = rows.tolist()
        self.block = float(rows[peers].sum())
        self.trace = sum(self.variance[p] for p in peers)

    def _middle(self, i: int) -> tuple[float, int]:
        """The median of the peers without cylinder i, and their number; the median is 0 where there are none."""
        own = self.place.get(i, len(self.sorted))
        count = len(self.sorted) - (i in self.place)
        if count == 0:
            return 0.0, 0
        low, high = (count - 1) // 2, count // 2
        return (self.sorted[low + (low >= own)] + self.sorted[high + (high >= own)]) / 2, count

    def _terms(self, i: int) -> tuple[float, float, float] | None:
        """The middle, its covariance with the cylinder's pull and its variance; none without a middle."""
        middle, count = self._middle(i)
        if middle <= 0:
            return None
        block, trace, with_own = self.block, self.trace, self.with_peers[i]
        if i in self.place:
            own = self.variance[i]
            block += own - 2 * with_own
            trace -= own
            with_own -= own
        if count > 2:
            block += (_MEDIAN_COSTS - 1.0) * trace
        return middle, with_own / count, block / count**2

    def against(self, i: int) -> _Against | None:
        """None when there are no peers, or they pull nothing, so that there is no middle."""
        terms = self._terms(i)
        if terms is None:
            return None
        middle, shared, of_middle = terms
        pull, own = self.pull[i], self.variance[i]

        def u(factor: float) -> float:
            return math.sqrt(max(own - 2 * factor * shared + factor**2 * of_middle, 1e-18))

        even, z_low = self.settings.standing_even_above, self._z_low(i, *terms)
        return _Against(pull, middle, u(1.0), u(even), u(pull / middle), math.sqrt(max(own, 1e-18)), z_low)

    def low(self, cylinders: list[int]) -> set[int]:
        """Those that are shown to pull less than their peers."""
        found, most = set(), self.settings.standing_weak_below
        for i in cylinders:
            terms = self._terms(i)
            # The cheap half of the question first: most are not low.
            if terms is None or self.pull[i] >= most * terms[0]:
                continue
            if _low(self._z_low(i, *terms), self.pull[i] / terms[0], self.settings):
                found.add(i)
        return found

    def _z_low(self, i: int, middle: float, shared: float, of_middle: float) -> float:
        u = math.sqrt(max(self.variance[i] - 2 * shared + of_middle, 1e-18))
        return (middle - self.pull[i]) / math.hypot(u, self.settings.standing_healthy_spread * middle)


def _low(z_low: float, strength: float, settings: Settings) -> bool:
    return z_low > settings.standing_z_low and strength < settings.standing_weak_below


def _stand(worth: Worth, i: int, peers: _Peers, too_many: bool, settings: Settings) -> Stand:
    against = peers.against(i)
    if not peers.place.keys() - {i}:
        return Stand(Standing.UNCLEAR, 1.0, 0.0, "there is no other cylinder to compare it with")
    if against is None:
        return Stand(
            Standing.UNCLEAR,
            0.0,
            0.0,
            "the display hardly moves for any cylinder: use a finer display, or hold half the engine out",
        )
    strength, u = against.strength, against.u_own / against.middle

    def stand(standing: Standing, why: str, repeats: int | None = None) -> Stand:
        return Stand(standing, strength, u, why, repeats)

    percent = f"{100 * strength:.0f} % of the middle of its peers"
    if against.pull < -settings.standing_z_none * against.u_none - worth.resolution:
        return stand(Standing.UNCLEAR, _WRONG_WAY, worth.readings[i] + 1)
    if _low(against.z_low, strength, settings):
        nothing = against.pull < settings.standing_z_none * against.u_none
        shown_small = against.pull + settings.standing_z_dead * against.u_none
        if nothing and shown_small < settings.standing_dead_below * against.middle:
            return stand(Standing.DEAD, _NOTHING.format(by=wander(against.z_low)))
        if too_many:
            return stand(
                Standing.UNCLEAR,
                f"it pulls {percent}, but half the live cylinders or more are low, so the middle says little",
            )
        also = ", and it may be doing nothing at all" if nothing else ""
        return stand(Standing.WEAK, f"it pulls {percent}, below it by {wander(against.z_low)}{also}")
    hidden = _hidden(worth, i, settings)
    shown_above = -against.z_low > settings.standing_z_low and against.pull - against.middle > hidden
    if shown_above and strength > settings.standing_strong_above:
        return stand(Standing.STRONG, f"it pulls {percent}, above it by {wander(against.z_low)}")
    clear_of_weak = against.pull - settings.standing_even_above * against.middle
    if clear_of_weak > max(settings.standing_z_even * against.u_even, hidden):
        return stand(Standing.EVEN, f"it pulls {percent}, as an even one may")
    needed = _repeats(worth, i, against, settings)
    unsure = f"it pulls {percent}, give or take {200 * u:.0f} %"
    if needed is None:
        return stand(
            Standing.UNCLEAR,
            f"{unsure}; repeats alone would not settle it: use a finer display, or hold half the engine out so that "
            "each cylinder's rise is larger",
        )
    return stand(Standing.UNCLEAR, f"{unsure}; {needed} readings in all in one run should settle it", needed)


def _hidden(worth: Worth, i: int, settings: Settings) -> float:
    """How far apart two cylinders may pull and yet read the same for lack of display steps.

    Two levels D steps apart, D under one, read the same with chance 1 - D when all places between two steps are alike
    likely, and every time in K such places with chance (1 - D)^K. So D is the smallest difference for which that is
    no likelier than the normal tail at `z_even`.
    """
    return float(worth.grain[i]) * (1.0 - math.pow(_tail(settings), 1.0 / float(worth.phases[i])))


def _tail(settings: Settings) -> float:
    """The chance of the normal tail at `z_even`."""
    return math.erfc(settings.standing_z_even / math.sqrt(2)) / 2


def _repeats(worth: Worth, i: int, against: _Against, settings: Settings) -> int | None:
    """How many readings in all would make the uncertainty small enough to decide; none when no number would.

    Enough for the decision to be reached `z_settle` standard uncertainties before it must be: what is known of the
    strength now is itself uncertain, and would else fall short every other time.

    What is kept of the rounding does not shrink with repeats, the rest does with their number. To be called even a
    cylinder must also have been seen in as many places between two display steps as `_hidden` asks for.
    """
    done, above = worth.readings[i], against.strength - settings.standing_even_above
    now = (max(against.u, against.u_even) / against.middle) ** 2
    kept = now * float(worth.fixed[i]) / max(float(worth.covariance[i, i]), 1e-18)

    def by_scatter(margin: float) -> float:
        return done * (now - kept) / (margin**2 - kept) if margin > 0 and margin**2 > kept else math.inf

    low = by_scatter((1.0 - against.strength) / (settings.standing_z_low + settings.standing_z_settle))
    even = by_scatter(above / (settings.standing_z_even + settings.standing_z_settle))
    grain = float(worth.grain[i]) / against.middle
    if 0 < above < grain:
        phases = math.log(_tail(settings)) / math.log1p(-above / grain)
        even = max(even, phases * done / float(worth.phases[i]))
    needed = max(min(low, even), done + 1)
    return math.ceil(needed) if needed <= _MOST_REPEATS else None
