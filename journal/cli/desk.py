"""Commands on parts and the page: want a part, order against the gate, say what was repaired, serve."""

from __future__ import annotations

import click

from journal.cli.common import echo, job_of, job_option, store_of, technician_option
from journal.errors import BadInput
from journal.facts import GateOverridden, PartState, PartWanted, RepairDone
from journal.home import journal_folder
from journal.session import Session


@click.command("part")
@click.argument("description", nargs=-1, required=True)
@click.option("--quantity", type=int, default=1, show_default=True, help="How many.")
@click.option("--cylinder", type=int, help="The cylinder it is for.")
@click.option("--reason", default="", help="Why it is wanted.")
@click.option("--state", type=click.Choice([s.value for s in PartState]), help="Say how far a part already wanted is.")
@click.option("--number", default="", help="Part number, with --state.")
@job_option
@technician_option
@click.pass_context
def part_command(
    ctx: click.Context,
    description: tuple[str, ...],
    quantity: int,
    cylinder: int | None,
    reason: str,
    state: str | None,
    number: str,
    reference: str | None,
    technician: str,
) -> None:
    """Want a part, or say how far one has come: journal part valve bridge --cylinder 3"""
    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    words = " ".join(description)
    if cylinder is not None:
        session.job.engine.require(cylinder)
    if state is None:
        session.enter(PartWanted(words, quantity, cylinder, reason))
        echo(f"wanted: {quantity} {words}")
        return
    fitting = [
        part
        for part in session.job.parts
        if words.lower() in part.wanted.body.description.lower() and cylinder in (None, part.wanted.body.cylinder)
    ]
    if len(fitting) != 1:
        known = ", ".join(part.wanted.body.description for part in session.job.parts) or "none"
        raise BadInput(f"{words!r} fits {len(fitting)} wanted parts; name one of: {known}")
    wanted = fitting[0].wanted
    session.enter(fitting[0].now(PartState(state), number))
    echo(f"{wanted.body.description}: {state}")


@click.command("order")
@click.argument("cause")
@click.option("--cylinder", type=int, help="The cylinder it is for.")
@click.option("--reason", required=True, help="Why, although checks are missing; it is recorded.")
@job_option
@technician_option
@click.pass_context
def order_command(
    ctx: click.Context, cause: str, cylinder: int | None, reason: str, reference: str | None, technician: str
) -> None:
    """Order a cause's part although checks are missing, with the reason."""
    from journal.analysis.causes import cause_keys

    if cause not in cause_keys():
        raise BadInput(f"cause {cause!r}: use one of {', '.join(cause_keys())}")
    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    if cylinder is not None:
        session.job.engine.require(cylinder)
    session.enter(GateOverridden(cause, cylinder, reason))
    echo("recorded; the missing checks stay listed in the findings")


@click.command("repaired")
@click.argument("words", nargs=-1, required=True)
@click.option("--cylinder", type=int, help="Where.")
@job_option
@technician_option
@click.pass_context
def repaired_command(
    ctx: click.Context, words: tuple[str, ...], cylinder: int | None, reference: str | None, technician: str
) -> None:
    """Say what was repaired; then repeat the run and say so: idle cut-out test after the repair."""
    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    if cylinder is not None:
        session.job.engine.require(cylinder)
    session.enter(RepairDone(" ".join(words), cylinder))
    echo("recorded; next: the same cut-out test after the repair")


@click.command("serve")
@click.option("--port", type=click.IntRange(0, 65535), help="0 for any free one; usually 8470.")
@click.option("--lan", is_flag=True, help="Let the shop's network see it; each device needs a code.")
@click.option("--open", "opens", is_flag=True, help="Open it in the browser; if it is served already, only that.")
@click.option(
    "--secure-port", type=click.IntRange(0, 65535), help="For HTTPS, with --lan; the one after --port unless given."
)
@click.pass_context
def serve_command(ctx: click.Context, port: int | None, lan: bool, opens: bool, secure_port: int | None) -> None:
    """Serve the page on this machine; Ctrl-C ends it."""
    if opens:
        from journal.cli.start import start

        start(journal_folder(ctx.find_root().obj), port=port, lan=lan)
        return
    from webui.server import PORT, serve

    port = PORT if port is None else port
    serve(journal_folder(ctx.find_root().obj), port=port, lan=lan, secure_port=secure_port)
