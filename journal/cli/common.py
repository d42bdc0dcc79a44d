"""What several commands share: the store, the job meant, options for the engine, and how outcomes are printed."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from journal.errors import BadInput, NotFound
from journal.facts import Arrangement, Engine, Injection, RunStarted
from journal.home import journal_folder
from journal.output.plain import escaped, lines
from journal.record.keys import KEY_NAME
from journal.record.schema import FILE_NAME
from journal.record.store import FULL, Store

if TYPE_CHECKING:  # commands that only show start sooner without the words
    from journal.outcome import Outcome

F = TypeVar("F", bound=Callable[..., Any])

MARKS = {"take": "+", "ask": "?", "let go": "-"}
"""What stands before an outcome's line, by its verdict."""


def store_of(ctx: click.Context, *, create: bool = False) -> Store:
    """The journal's store; it is closed when the command ends.

    Raises:
        NotFound: when there is no journal yet and `create` is false.
    """
    folder = journal_folder(ctx.find_root().obj)
    if not create and not is_journal(folder):
        raise NotFound("no job is open: start one with `journal open`")
    store = Store.open(folder, create=create)
    ctx.call_on_close(store.close)
    return store


def store_to_read(ctx: click.Context) -> Store:
    """The journal's store for a command that only shows; where the disk is full, says so and shows all the same.

    Raises:
        NotFound: when there is no journal yet.
    """
    store = store_of(ctx)
    if store.only_reads == FULL:
        echo("journal: the disk is full: all can be read, nothing be written; free some space", err=True)
    return store


def is_journal(folder: Path) -> bool:
    """Whether a journal is kept in this folder, or was: its key is there still, or something in the place of either.

    Raises:
        BadInput: when it is no folder.
    """
    if folder.exists() and not folder.is_dir():
        raise BadInput(f"{folder} is a file: give the journal's folder")
    return any(os.path.lexists(folder / name) for name in (FILE_NAME, KEY_NAME))


def job_of(store: Store, reference: str | None) -> str:
    """The identifier of the job meant: by its reference, else the one opened last and still open.

    Raises:
        NotFound: when there is none.
    """
    if reference:
        return store.find(reference)
    job = store.latest_open()
    if job is None:
        raise NotFound("no job is open: start one with `journal open`, or name one with --job")
    return job


def job_option(command: F) -> F:
    """Adds `--job`."""
    return click.option("--job", "reference", metavar="REF", help="Another job than the open one.")(command)


def technician_option(command: F) -> F:
    """Adds `--technician`."""
    return click.option(
        "--technician", default="", envvar="JOURNAL_TECHNICIAN", help="Who; default: whoever opened the job."
    )(command)


def replace_option(command: F) -> F:
    """Adds `--replace`."""
    return click.option("--replace", is_flag=True, help="Let it take the place of a file that is there.")(command)


def json_option(command: F) -> F:
    """Adds `--json`."""
    return click.option("--json", "as_json", is_flag=True, help="Print JSON.")(command)


def engine_options(command: F) -> F:
    """Adds the options that describe an engine's layout."""
    options = [
        click.option("--shape", help='A common layout to start from, e.g. "inline six"; confirm it by the manual.'),
        click.option("--cylinders", type=int, help="How many cylinders, 1 to 20."),
        click.option("--firing-order", metavar="1-5-3-…", help="Firing order, from the service manual."),
        click.option(
            "--arrangement", type=click.Choice([a.value for a in Arrangement]), help="Inline (default) or vee."
        ),
        click.option("--bank", "banks", multiple=True, metavar="1,3,5", help="Cylinders of one bank; repeat."),
        click.option(
            "--driver",
            "drivers",
            multiple=True,
            metavar="1,2",
            help="Cylinders whose injectors share a driver; repeat.",
        ),
        click.option(
            "--branch", "branches", multiple=True, metavar="1,2", help="Cylinders on one harness branch; repeat."
        ),
        click.option("--injection", type=click.Choice([i.value for i in Injection]), help="Injection type."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def engine_from(
    cylinders: int | None,
    firing_order: str | None,
    arrangement: str | None,
    banks: Sequence[str],
    drivers: Sequence[str],
    branches: Sequence[str],
    injection: str | None,
    shape: str | None = None,
) -> Engine:
    """The engine these options describe.

    Raises:
        WrongEngine: when they contradict each other.
        BadInput: when a list of cylinders cannot be read, a shape is not known, or nothing says how many there are.
    """
    kind = Injection(injection) if injection else Injection.COMMON_RAIL
    order = numbers_in(firing_order or "")
    if shape is not None:
        from journal.facts.layouts import layout_of

        base = layout_of(shape, kind)
    elif cylinders or order:
        vee = arrangement == Arrangement.VEE or (arrangement is None and bool(banks))
        base = Engine(cylinders or len(order), arrangement=Arrangement.VEE if vee else Arrangement.INLINE)
    else:
        raise BadInput("how many cylinders? Give --cylinders, --firing-order or --shape")
    return Engine(
        cylinders=cylinders or base.cylinders,
        firing_order=order or base.firing_order,
        arrangement=Arrangement(arrangement) if arrangement else base.arrangement,
        injection=kind,
        banks=tuple(numbers_in(bank) for bank in banks) or base.banks,
        drivers=tuple(numbers_in(driver) for driver in drivers),
        branches=tuple(numbers_in(branch) for branch in branches),
    )


def numbers_in(text: str) -> tuple[int, ...]:
    """Cylinder numbers from a list such as `1-5-3` or `1,5,3` or `1 5 3`.

    Raises:
        BadInput: when something in it is not a whole number.
    """
    pieces = text.replace("-", " ").replace(",", " ").split()
    if not all(piece.isdecimal() for piece in pieces):
        raise BadInput(f"cylinders {text!r}: write numbers with commas or dashes, like 1-5-3-6-2-4")
    return tuple(int(piece) for piece in pieces)


def echo(text: str = "", *, err: bool = False) -> None:
    """A line on the screen, whoever wrote what is in it: nothing in it steers the terminal."""
    click.echo(lines(text), err=err)


def print_outcome(outcome: Outcome, *, heard: str = "") -> None:
    """One outcome on the screen: what was heard, what became of it, what is said back."""
    if heard:
        echo(f'heard  "{heard}"')
    echo(f"  {MARKS[outcome.verdict]} {outcome.line}")
    if outcome.say and outcome.say != outcome.line:
        echo(f'    says "{outcome.say}"')
    if outcome.verdict == "take" and outcome.entry is not None and isinstance(outcome.entry.body, RunStarted):
        from journal.output.cautions import RUNNING

        echo(f"    careful: {RUNNING}")


def print_json(data: Any) -> None:
    """JSON on standard output, readable, in Unicode."""
    echo(escaped(json.dumps(data, indent=2, ensure_ascii=False, allow_nan=False)))


def things_are(count: int) -> str:
    """So many things with their verb: "1 thing is"."""
    return "1 thing is" if count == 1 else f"{count} things are"
