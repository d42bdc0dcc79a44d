"""What runs say of each other, in sentences."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.between.conditions import Judged
from journal.analysis.between.machine import Earlier, EarlierRun
from journal.analysis.between.pressure import MEANING, Pressed, interval
from journal.analysis.between.repair import Repair, difference
from journal.analysis.between.swaps import Swap, Went
from journal.analysis.findings import Contribution, DeclineFinding, EarlierFinding, Mended, Standing
from journal.analysis.run.find import LOW
from journal.analysis.words import capital, cylinders_in_words, listed, wander


def standing_in_words(c: Contribution) -> str:
    """A cylinder's standing and strength, e.g. `weak (60 %)`."""
    return f"{c.standing} ({max(0, round(100 * c.strength))} %)"


def level_in_words(c: Contribution) -> str:
    """A standing with its strength and 95 % interval, e.g. `weak (60 %, 57 to 63)`."""
    low, high = (max(0, round(100 * end)) for end in interval(c.strength, c.strength_u))
    return f"{c.standing} ({max(0, round(100 * c.strength))} %, {low} to {high})"


def repair_sentence(repair: Repair | None) -> str:
    """Whether the run after the repair shows it mended; empty when there is none with readings."""
    if repair is None:
        return ""
    match repair.verdict:
        case Mended.NOT_COMPARED:
            return "No run under the same conditions was made before the repair: there is nothing to compare with."
        case Mended.NEVER_LOW:
            return "The run after the repair shows no cylinder low, and neither did the one before."
    parts = []
    if repair.back:
        parts.append(f"{cylinders_in_words(repair.back)} pull{_s(repair.back)} as the others again")
    if repair.still_low:
        parts.append(f"{cylinders_in_words(repair.still_low)} {_is(repair.still_low)} still low")
    if repair.new_low:
        was = "was" if len(repair.new_low) == 1 else "were"
        parts.append(f"{cylinders_in_words(repair.new_low)} {_is(repair.new_low)} now low and {was} not before")
    if repair.unsettled:
        parts.append(f"{cylinders_in_words(repair.unsettled)} cannot be judged yet: repeat the reading")
    if repair.verdict is Mended.NO:
        return f"Not mended: {listed(parts)}."
    if repair.verdict is Mended.OPEN:
        missing = repair.after.finding.missing
        more = [f"{cylinders_in_words(missing)} not read yet"] if missing and not repair.unsettled else []
        return f"Not yet shown to be mended: {listed([*parts, *more])}."
    return f"Mended: {capital(listed(parts))}."


def repaired_cylinder(repair: Repair, cylinder: int) -> str:
    """What became of one cylinder; empty where it was not low before, nor is now."""
    was = repair.before.of(cylinder) if repair.before else None
    now = repair.after.of(cylinder)
    if was is None or now is None:
        return ""
    change = f"cylinder {cylinder} was {standing_in_words(was)} and is {standing_in_words(now)}"
    z = difference(was, now)
    if cylinder in repair.still_low:
        return f"{change}: not mended"
    if cylinder in repair.new_low:
        return f"{change}: low now and not before"
    if cylinder in repair.unsettled:
        return f"{change}: not shown to be mended yet, a change by {wander(z)}"
    if cylinder in repair.back:
        return f"{change}: mended, a change {wander(z)}"
    return ""


def swap_sentence(swap: Swap, was: Judged, now: Judged) -> str:
    """What the runs before and after two injectors changed places show."""
    a, b = swap.cylinder, swap.other
    changes = []
    for cylinder in (a, b):
        before, after = was.of(cylinder), now.of(cylinder)
        if before is not None and after is not None:
            changes.append(f"cylinder {cylinder} was {standing_in_words(before)} and is {standing_in_words(after)}")
    what = {
        Went.MOVED: f"the miss went with the injector, which sits in cylinder {b} now",
        Went.STAYED: f"the miss stayed on cylinder {a}: it is not the injector that went to cylinder {b}",
        Went.GONE: "neither is low now: it comes and goes, or what was touched on the way (a connector, a seat) was it",
    }[swap.went]
    return f"{', '.join(changes)}: {what}"


def pressed_sentence(found: Pressed) -> str:
    """How a cylinder takes injection pressure and what that says."""
    high = found.levels[-1]
    each = [f"{level_in_words(level.found)} at {level.pressure.words}" for level in found.levels]
    both = f"cylinder {found.cylinder} is {listed(each)}"
    z = found.gain / max(found.gain_u, 1e-6)
    points = f"{round(100 * abs(found.gain))} points, give or take {round(196 * found.gain_u)}"
    match found.answer.value:
        case "recovers":
            what = f"recovers by {points}"
        case "rises":
            what = f"rises by {points}, and is still low" if high.found.standing in LOW else f"rises by {points}"
        case "falls":
            what = f"it pulls less with more pressure, by {points}"
        case "varies":
            what = "it pulls otherwise between the lowest and the highest than at both"
        case _:
            what = f"injection pressure makes no difference that the readings show ({wander(z)})"
    said = f"{both}: {what}"
    if found.per_mpa is not None and found.answer.value != "no difference":
        slope, u = found.per_mpa
        said += f", {100 * slope:.1f} points for each MPa, give or take {196 * u:.1f}"
    if found.fires_between is not None:
        first, second = found.fires_between
        said += f"; it fires only above a pressure between {first.words} and {second.words}"
    return f"{said}; {MEANING[found.answer]}"


def earlier_sentence(found: EarlierFinding) -> str:
    """An earlier job on the machine: its baseline, what its cylinders pulled, and how it was closed."""
    name = f"{found.day}, job {found.reference}" if found.reference else found.day
    closed = f"; closed with {found.cause}" if found.cause else ""
    if not found.contributions:
        return f"{name}: no run under today's conditions{closed}"
    return f"{name}: {_pulled(found.baseline, found.unit, found.contributions)}{closed}"


def now_sentence(now: EarlierRun) -> str:
    """The same of today's run."""
    return f"today: {_pulled(now.baseline, now.unit, now.contributions)}"


def start_sentence(start: Earlier) -> str:
    """What today's run takes over from an earlier one."""
    day = start.opened_at.date().isoformat()
    name = f"job {start.reference} of {day}" if start.reference else f"the job of {day}"
    return (
        f"{name} says beforehand how much readings wander, how far healthy cylinders differ and how much fuel makes no "
        "torque; where today's readings say otherwise, they count"
    )


def _pulled(baseline: float | None, unit: str, contributions: Sequence[Contribution]) -> str:
    each = []
    for c in contributions:
        standing = "" if c.standing is Standing.EVEN else f" {c.standing}"
        each.append(f"{c.cylinder} {max(0, round(100 * c.strength))} %{standing}")
    read = f"baseline {baseline:.4g} {unit}; " if baseline is not None else ""
    return f"{read}cylinders {', '.join(each)}"


def decline_sentence(found: DeclineFinding) -> str:
    """A slow decline; that wear is slow and that breakage is not is common practice, no source."""
    course = ", ".join(f"{max(0, round(100 * s))} %" for s in found.strengths)
    either = round(50 * (found.lost_high - found.lost_low))
    return (
        f"cylinder {found.cylinder} pulls less from job to job, {course}: {round(100 * found.lost)} points since "
        f"{found.since}, give or take {either}; a slow decline, as wear makes it, where a broken part or a lost signal "
        "shows at once"
    )


def _s(cylinders: tuple[int, ...]) -> str:
    return "s" if len(cylinders) == 1 else ""


def _is(cylinders: tuple[int, ...]) -> str:
    return "is" if len(cylinders) == 1 else "are"
