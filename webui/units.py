"""Units on the page: what a number without one means in this shop, and the one that an entry's number is in."""

from __future__ import annotations

from flask import Blueprint, redirect, render_template, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput, RecordError
from journal.facts import MEASURED_AS, Baseline, Body, Check, Condition, Cut
from journal.facts.quantities import SI, UNITS, unit_choice, units_by_quantity
from journal.record.job import Job
from journal.record.shop_units import keep_units, kept_units
from webui.acting import done, field
from webui.shop import shop

pages = Blueprint("units", __name__)

SET_NAMES = {"si": "kPa, °C, mm", "us": "psi, °F, thou"}
"""What each set is chosen by."""


@pages.get("/units")
def units() -> ResponseReturnValue:
    """The form, with what is chosen now; where that cannot be read, a set chosen here takes its place."""
    problem, chosen = "", None
    try:
        chosen = kept_units(shop().folder)
    except RecordError as error:
        problem = str(error)
    several = [quantity for quantity, units in UNITS.items() if len(units) > 1]
    return render_template(
        "units.html", chosen=chosen or units_by_quantity(SI), problem=problem,
        never=chosen is None and not problem, quantities=several, units=UNITS,
        sets=SET_NAMES,
    )  # fmt: skip


@pages.post("/units")
def choose() -> ResponseReturnValue:
    """Keep a set, or the unit of each quantity."""
    if name := field("set", 10):
        keep_units(shop().folder, units_by_quantity(name))
    else:
        given = {quantity: field(str(quantity), 20) for quantity in UNITS}
        choices = [unit_choice(f"{quantity}={unit}") for quantity, unit in given.items() if unit]
        keep_units(shop().folder, {**(kept_units(shop().folder) or {}), **dict(choices)})
    done("kept; a unit that is said still wins, and what was entered stays as it is")
    return redirect(url_for("units.units"), 303)


def units_of(job: Job, entry_id: str, body: Body) -> tuple[str, tuple[str, ...]]:
    """The unit that an entry's number is in, and those it may be given in; empty where it has none."""
    if isinstance(body, Check) and body.subject in MEASURED_AS:
        units = UNITS[MEASURED_AS[body.subject]]
        return body.unit or units[0], units
    runs = (r for run in job.runs for r in (*run.baselines, *run.cuts, *run.conditions))
    reading = next((r for r in (*runs, *job.conditions) if r.entry == entry_id), None)
    return (reading.unit, UNITS[reading.quantity]) if reading is not None else ("", ())


def unit_given(job: Job, entry_id: str, old: Cut | Baseline | Condition | Check) -> str:
    """The unit that the form says, as an entry carries it: left as it was where it was not changed."""
    now, units = units_of(job, entry_id, old)
    unit = field("unit", 20)
    if not unit or unit == now:
        return old.unit
    if unit not in units:
        raise BadInput(f"unit {unit!r}: choose one of {', '.join(units)}")
    return unit
