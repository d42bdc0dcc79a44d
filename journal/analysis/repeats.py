"""Repeated readings of one cylinder to those that belong together, with a remark on the ones that stand apart."""

from __future__ import annotations

from dataclasses import replace
from statistics import median

import numpy as np

from journal.analysis.findings import Level, Remark
from journal.analysis.readings import Taken
from journal.analysis.settings import Settings

_NORMAL = 1.4826
"""The median absolute deviation of a normal variable is its standard deviation over this (Rousseeuw and Croux,
Alternatives to the Median Absolute Deviation, 1993)."""

_ENOUGH = 6


def without_strays(taken: Taken, settings: Settings) -> tuple[Taken, list[Remark], frozenset[int]]:
    """The readings without those that stand far from the other repeats of their cylinder.

    A reading is compared with the median of its cylinder's after scaling for the baseline at its time. It stands apart
    by more than `repeats.z` robust standard deviations: from all repeats of the run where there are enough, but never
    less than what the display and its wandering explain. Of three or more the stray is left out, and said to be; of
    two nobody can tell which is right, so both stay and the cylinder cannot be judged.

    Returns:
        What is left, remarks, and the cylinders whose readings contradict each other.
    """
    if len(taken.cuts) <= len({c.cylinder for c in taken.cuts}):
        return taken, [], frozenset()
    scaled = _scaled(taken)
    by_cylinder: dict[int, list[int]] = {}
    for at, cut in enumerate(taken.cuts):
        if cut.cylinder is not None and not cut.no_change:
            by_cylinder.setdefault(cut.cylinder, []).append(at)
    repeated = {c: places for c, places in by_cylinder.items() if len(places) > 1}
    apart: dict[int, float] = {}
    for places in repeated.values():
        middle = median(scaled[at] for at in places)
        apart |= {at: abs(scaled[at] - middle) for at in places}
    if not apart:
        return taken, [], frozenset()
    far = _far(taken, list(apart.values()), scaled, settings)
    strays: set[int] = set()
    remarks: list[Remark] = []
    torn: set[int] = set()
    for cylinder, places in repeated.items():
        out = [at for at in places if apart[at] > far]
        if not out:
            continue
        said = ", ".join(f"{taken.cuts[at].value:g}" for at in places)
        entries = tuple(taken.cuts[at].entry for at in out)
        if len(places) > 2 and len(out) * 2 < len(places):
            strays.update(out)
            what = " and ".join(f"{taken.cuts[at].value:g}" for at in out)
            text = f"cylinder {cylinder} read {said}: {what} stands apart and is left out until it is read again"
        else:
            torn.add(cylinder)
            text = f"cylinder {cylinder} read {said}, which contradict each other: read it again"
        remarks.append(Remark(Level.WARNING, text, entries))
    cuts = tuple(cut for at, cut in enumerate(taken.cuts) if at not in strays)
    return replace(taken, cuts=cuts, sound=taken.sound and not torn), remarks, frozenset(torn)


def _scaled(taken: Taken) -> list[float]:
    values = np.array([c.value for c in taken.cuts])
    if not taken.baselines:
        return [c.value for c in taken.cuts]
    base = taken.weights @ np.array([b.value for b in taken.baselines])
    scaled: list[float] = (values * base.mean() / base).tolist()
    return scaled


def _far(taken: Taken, apart: list[float], scaled: list[float], settings: Settings) -> float:
    step = max(c.step for c in taken.cuts)
    explained = max(settings.display_scatter * median(scaled), step / 2)
    seen = _NORMAL * median(apart) if len(apart) >= _ENOUGH else 0.0
    return settings.repeats_z * max(explained, seen)
