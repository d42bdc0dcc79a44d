"""Facts to the words that stand for them wherever they are read: on a page, in a write-up, in a terminal."""

from __future__ import annotations

from collections.abc import Callable

from journal.analysis.findings import PressureResponse
from journal.analysis.words import cylinders_in_words
from journal.facts import MEASURED, MEASURED_AS, UNITS, Check, Engine, PartAnswer, RunKind, RunStarted

Amount = Callable[[float, str], str]
"""A number and its unit to how they are printed."""


def amount(value: float, unit: str = "") -> str:
    """A number with its unit in plain letters, without needless zeros and with every digit that was said."""
    return f"{value:.10g} {unit}".strip()


def check_text(check: Check, printed: Amount = amount) -> str:
    """A check and its outcome: `overhead, cylinder 3: damaged, bridge`."""
    return f"{check_name(check)}: {check_outcome(check, printed)}"


def check_name(check: Check) -> str:
    """What was checked and where: `overhead, cylinder 3`."""
    return str(check.subject) if check.cylinder is None else f"{check.subject}, cylinder {check.cylinder}"


def check_outcome(check: Check, printed: Amount = amount) -> str:
    """How a check came out: `leaks, into the crankcase, crank held`."""
    words = [] if check.outcome == MEASURED else [check.outcome]
    if check.part:
        words.append(check.part)
    if check.other_cylinder is not None:
        words.append(f"{'into' if check.place else 'with'} cylinder {check.other_cylinder}")
    elif check.place:
        words.append(f"into the {check.place}")
    if check.value is not None:
        measured = MEASURED_AS.get(check.subject)
        words.append(printed(check.value, check.unit or (UNITS[measured][0] if measured else "")))
    if check.crank_turned is not None:
        words.append("crank turned" if check.crank_turned else "crank held")
    return ", ".join(words)


def answer_words(answer: PartAnswer) -> tuple[str, ...]:
    """What is known of a part besides its state, each in a few words."""
    said = (
        answer.number,
        f"superseded by {answer.superseded_by}" if answer.superseded_by else "",
        answer.price,
        answer.availability,
        f"lead time {answer.lead_time}" if answer.lead_time else "",
        f"expected {answer.date}" if answer.date else "",
        answer.note,
    )
    return tuple(words for words in said if words)


def run_title(start: RunStarted, printed: Amount = amount) -> str:
    """A run's kind and conditions: `idle cut-out, high injection pressure, after the repair`."""
    words = [{RunKind.IDLE: "idle cut-out", RunKind.HALF_ENGINE: "half-engine cut-out"}.get(start.run, str(start.run))]
    if start.held_out:
        words.append(f"{cylinders_in_words(start.held_out)} held out")
    if start.pressure is not None:
        words.append(f"{start.pressure} injection pressure")
    if start.pressure_value is not None:
        words.append(f"injection pressure {printed(start.pressure_value, start.pressure_unit)}")
    if start.after_repair:
        words.append("after the repair")
    return ", ".join(words)


def strength_text(strength: float, low: float, high: float) -> str:
    """A strength with its 95 % interval: `60 % (57 to 63)`; below nothing there is none."""
    value, least, most = (max(0, round(100 * part)) for part in (strength, low, high))
    return f"{value} % ({least} to {most})"


def pressures_text(found: PressureResponse) -> str:
    """How a cylinder pulls at each injection pressure: `0 % (0 to 3) at 5 MPa, 60 % (57 to 63) at 12 MPa`."""
    return ", ".join(f"{strength_text(p.strength, p.low, p.high)} at {p.pressure}" for p in found.points)


def slope_text(found: PressureResponse) -> str:
    """What more pressure adds: `+2.1 points (1.8 to 2.4) for each MPa`; empty where no number was said."""
    if found.per_mpa is None or found.per_mpa_low is None or found.per_mpa_high is None:
        return ""
    slope, low, high = (round(100 * part, 1) + 0.0 for part in (found.per_mpa, found.per_mpa_low, found.per_mpa_high))
    return f"{slope:+.1f} points ({low:.1f} to {high:.1f}) for each MPa"


def engine_text(engine: Engine) -> str:
    """An engine's layout in one line: `inline 6, unit injector, firing order 1-5-3-6-2-4`."""
    order = "-".join(map(str, engine.firing_order)) or "not given"
    return f"{engine.arrangement} {engine.cylinders}, {engine.injection}, firing order {order}"
