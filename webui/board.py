"""The jobs board: open, waiting for parts, to verify, closed; searched, paged, and where a job is started."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta

from flask import Blueprint, redirect, render_template, request, url_for
from flask import session as cookie
from flask.typing import ResponseReturnValue

from journal.cli.common import engine_from
from journal.errors import BadInput, JournalError
from journal.facts import Arrangement, Engine, Injection, JobOpened, Source
from journal.facts.engine import MOST_CYLINDERS
from journal.facts.layouts import layout_names, layout_note, layout_of
from journal.facts.one_line import is_seen
from journal.facts.quantities import units_by_quantity
from journal.record.job import JobState
from journal.record.lines import JobLine
from journal.record.shop_units import keep_units, kept_units
from journal.session import open_job
from webui.access import is_owner, job_in_hand
from webui.acting import done, field
from webui.layout import Place, places
from webui.shop import shop
from webui.units import SET_NAMES

pages = Blueprint("board", __name__)

ENGINE_CHOICES = {"arrangements": list(Arrangement), "injections": list(Injection)}
"""What an engine's form lets one choose from."""

PLATE = {"make": 80, "model": 80, "serial": 80, "hours": 20, "customer": 120, "work order": 60}
"""What is asked of a machine besides its unit, by field of a job's facts, and how long it may be, characters."""

STAYS = ("make", "model", "serial", "customer")
"""What of it is the same in the next job on the same unit."""

AT_ONCE = 30
"""Jobs on one page of the board."""

MOST_UNITS = 200
"""Among so many jobs, the latest, earlier ones on the same unit are looked for."""


@pages.get("/")
def board() -> ResponseReturnValue:
    """Jobs, those worked on last first."""
    text = request.args.get("text", "")[:200].strip()
    named = request.args.get("state", "")
    state = named if named in list(JobState) else ""
    days = {name: _day(request.args.get(name, "")) for name in ("since", "until")}
    page = max(1, min(request.args.get("page", 1, int), 10_000))
    lines = shop().store.jobs(
        text=text, state=state or None, since=days["since"], limit=AT_ONCE + 1, offset=(page - 1) * AT_ONCE,
        until=days["until"] + timedelta(days=1) if days["until"] else None,
    )  # fmt: skip
    return render_template(
        "board.html", jobs=lines[:AT_ONCE], more=len(lines) > AT_ONCE, page=page, text=text, state=state,
        states=list(JobState), answers=_answers(lines), phone_of=None if is_owner() else job_in_hand(),
        days={name: at.date().isoformat() if at else "" for name, at in days.items()},
    )  # fmt: skip


def _day(text: str) -> datetime | None:
    """The beginning of a day in this machine's own time; none where no day was given, or none that there is."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    # Entries lie from 1970 to 9998.
    return datetime.combine(day, time()).astimezone() if 1970 < day.year < 9999 else None


def _answers(lines: Sequence[JobLine]) -> dict[str, str]:
    """What the parts desk answered on jobs that are not closed, in words, by the job's identifier."""
    going_on = [line.id for line in lines if line.state is not JobState.CLOSED]
    said = shop().store.desk_answers(going_on)
    return {
        job: ", ".join(f"{many} {state}" for state, many in sorted(Counter(states).items()))
        for job, states in said.items()
    }


@pages.get("/find")
def find() -> ResponseReturnValue:
    """Go to a job by its reference."""
    return redirect(url_for("job.overview", job_id=shop().store.find(request.args.get("job", "")[:60])), 303)


@pages.route("/new", methods=["GET", "POST"])
def new() -> ResponseReturnValue:
    """Start a job: the form, the layout drawn from it, and the start itself."""
    given: Mapping[str, str] = request.form if request.method == "POST" else request.args
    problem, engine = "", None
    try:
        if "fill" in given:
            given = {**given, **layout_fields(given.get("shape", ""))}
        if "known" in given:
            given = {**given, **known_fields(given.get("unit", "")[:120].strip())}
        engine = engine_in(given) if given.get("cylinders") or given.get("order") else None
        if request.method == "POST" and "start" in given:
            return _start(engine)
    except JournalError as error:
        problem = str(error)
    drawn: list[Place] = places(engine) if engine is not None else []
    page = render_template(
        "new.html", given=given, problem=problem, drawn=drawn, engine=engine, shapes=layout_names(),
        confirm=layout_note(), set_names={} if kept_units(shop().folder) else SET_NAMES, plate=PLATE,
        units=sorted({line.unit for line in shop().store.jobs(limit=MOST_UNITS)}), **ENGINE_CHOICES,
    )  # fmt: skip
    return page, 400 if problem and request.method == "POST" else 200


def known_fields(unit: str) -> dict[str, str]:
    """What the form's fields hold for a unit that there was a job on: its plate and its engine as last known.

    Raises:
        BadInput: when there was none.
    """
    lines = shop().store.jobs(text=unit, limit=MOST_UNITS) if unit else []
    line = next((line for line in lines if line.unit.casefold() == unit.casefold()), None)
    if line is None:
        raise BadInput("there is no earlier job on this unit: fill in the machine and the engine yourself")
    job = shop().store.job(line.id)
    stays = {name: job.facts.get(name, "") for name in STAYS}
    return {**stays, **engine_fields(job.engine), "injection": str(job.engine.injection)}


def layout_fields(shape: str) -> dict[str, str]:
    """What the form's fields hold for a common layout; `BadInput` for a shape that is not offered."""
    if not shape:
        raise BadInput("choose a common layout first, or fill in the engine yourself")
    return engine_fields(layout_of(shape))


def engine_fields(engine: Engine) -> dict[str, str]:
    """An engine's layout as the form's fields hold it; what feeds it is left as it is there."""
    groups = {"banks": engine.banks, "drivers": engine.drivers, "branches": engine.branches}
    return {
        "cylinders": str(engine.cylinders),
        "order": "-".join(map(str, engine.firing_order)),
        "arrangement": str(engine.arrangement),
        **{name: "; ".join(",".join(map(str, group)) for group in found) for name, found in groups.items()},
    }


def engine_in(given: Mapping[str, str]) -> Engine:
    """The engine that a form describes; `BadInput` or `WrongEngine` when it makes no sense."""
    count = given.get("cylinders", "").strip()[:4]
    if count and not count.isdecimal():
        raise BadInput(f"cylinders {count!r}: give a whole number from 1 to {MOST_CYLINDERS}")
    groups = {
        name: [g for g in given.get(name, "")[:200].split(";") if g.strip()]
        for name in ("banks", "drivers", "branches")
    }
    arrangement, injection = given.get("arrangement", ""), given.get("injection", "")
    return engine_from(
        int(count) if count else None,
        given.get("order", "")[:80],
        arrangement if arrangement in list(Arrangement) else None,
        groups["banks"],
        groups["drivers"],
        groups["branches"],
        injection if injection in list(Injection) else None,
    )


def _start(engine: Engine | None) -> ResponseReturnValue:
    unit = field("unit", 120)
    if not is_seen(unit):
        raise BadInput("which machine is it? Fill in the unit")
    if engine is None:
        raise BadInput("how many cylinders does it have? Fill in the cylinders or the firing order")
    if field("injection", 40) not in list(Injection):
        raise BadInput("how is the fuel injected? Choose the injection")
    units = units_by_quantity(name) if (name := field("set", 10)) else None
    technician = field("technician", 80)
    if technician:
        cookie["technician"] = technician
    if units is not None and kept_units(shop().folder) is None:
        keep_units(shop().folder, units)
    plate = {name.replace(" ", "_"): field(name.replace(" ", "_"), longest) for name, longest in PLATE.items()}
    opened = JobOpened(unit, engine, field("complaint", 600), **plate)
    job = open_job(shop().store, opened, technician, Source.PAGE)
    done(f"the job is open; {layout_note()}: the layout and the firing order")
    return redirect(url_for("live.live", job_id=job), 303)
