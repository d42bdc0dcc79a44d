"""Commands that start and end a job."""

from __future__ import annotations

import sys
from typing import Any

import click

from journal.cli.common import echo, engine_from, engine_options, job_of, job_option, store_of, technician_option
from journal.cli.units import ask_units
from journal.errors import BadInput
from journal.facts import Injection, JobClosed, JobOpened, JobReopened
from journal.facts.one_line import is_seen
from journal.home import journal_folder
from journal.session import Session, open_job


@click.command("open")
@click.option("--unit", help="What machine it is, as the shop calls it.")
@engine_options
@click.option("--complaint", default=None, help="What the operator says is wrong.")
@click.option("--make", default="", help="Who made the engine, as its plate says.")
@click.option("--model", default="", help="The engine's model.")
@click.option("--serial", default="", help="The engine's serial number.")
@click.option("--hours", default="", help="What its hour meter reads.")
@click.option("--customer", default="", help="Whose machine it is.")
@click.option("--work-order", default="", help="The shop's own number for this work.")
@technician_option
@click.pass_context
def open_command(
    ctx: click.Context,
    /,
    unit: str | None,
    complaint: str | None,
    make: str,
    model: str,
    serial: str,
    hours: str,
    customer: str,
    work_order: str,
    technician: str,
    **engine: Any,
) -> None:
    """Start a job on an engine; asks for what is not given when a person is there to answer."""
    if sys.stdin.isatty():
        unit, complaint, technician = _ask(unit, complaint, technician, engine)
        ask_units(journal_folder(ctx.find_root().obj))
    if not unit or not is_seen(unit):
        raise BadInput("which machine? Give --unit")
    opened = JobOpened(unit, engine_from(**engine), complaint or "", make, model, serial, hours, customer, work_order)
    store = store_of(ctx, create=True)
    job = open_job(store, opened, technician)
    line = store.line(job)
    echo(f"job {line.reference} is open: {unit}, {opened.engine.cylinders} cylinders, {opened.engine.injection}")
    echo("Confirm the layout and firing order against the maker's service manual.")


def _ask(unit: str | None, complaint: str | None, technician: str, engine: dict[str, Any]) -> tuple[str, str, str]:
    unit = unit or click.prompt("Machine")
    if engine["cylinders"] is None and not engine["firing_order"] and not engine["shape"]:
        engine["firing_order"] = click.prompt("Firing order, from the service manual (Enter to skip)", default="")
        if not engine["firing_order"]:
            engine["cylinders"] = click.prompt("Cylinders", type=int, default=6)
    if engine["injection"] is None:
        engine["injection"] = click.prompt(
            "Injection type", type=click.Choice([i.value for i in Injection]), default=Injection.COMMON_RAIL.value
        )
    if complaint is None:
        complaint = click.prompt("Complaint", default="")
    technician = technician or click.prompt("Technician", default="")
    return str(unit), str(complaint), technician


@click.command("close")
@click.option("--cause", help="The cause found: its key, as `journal findings` shows it, or unknown.")
@click.option("--cylinder", type=int, help="The cylinder it was found on.")
@click.option("--words", default="", help="The cause in your own words.")
@click.option("--anyway", is_flag=True, help="Close although something is not put back or a question waits.")
@job_option
@technician_option
@click.pass_context
def close_command(
    ctx: click.Context,
    cause: str | None,
    cylinder: int | None,
    words: str,
    anyway: bool,
    reference: str | None,
    technician: str,
) -> None:
    """End the job with the cause that was found."""
    from journal.analysis.causes import cause_keys

    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    job = session.job
    if job.closed is not None:
        raise BadInput("this job is closed already; `journal reopen` goes on with it")
    known = (*cause_keys(), "unknown")
    if cause not in known:
        raise BadInput(f"which cause was found? Give --cause with one of: {', '.join(known)}")
    if cylinder is not None:
        job.engine.require(cylinder)
    if job.outstanding and not anyway:
        what = " and ".join(str(o) for o in job.outstanding)
        raise BadInput(f"not put back yet: {what}; say it is put back, or close with --anyway")
    if job.waiting and not anyway:
        prompt = job.waiting[-1].question.body.prompt
        raise BadInput(
            f"a question still waits: {prompt} Answer it (`journal enter first`, or neither), or close with --anyway"
        )
    session.enter(JobClosed(cause, cylinder, words))
    echo(f"job {store.line(job.id).reference} is closed: {cause}")


@click.command("reopen")
@job_option
@technician_option
@click.pass_context
def reopen_command(ctx: click.Context, reference: str | None, technician: str) -> None:
    """Go on with a closed job."""
    store = store_of(ctx)
    if reference is None:
        raise BadInput("which job? Give --job with its reference from `journal jobs`")
    session = Session(store, store.find(reference), technician)
    if session.job.closed is None:
        raise BadInput("this job is open already")
    session.enter(JobReopened())
    echo(f"job {store.line(session.job_id).reference} is open again")
