"""The command that shows and chooses the shop's units, and the one time that they are asked for."""

from __future__ import annotations

from pathlib import Path

import click

from journal.cli.common import json_option, print_json
from journal.facts.quantities import SI, UNIT_SETS, UNITS, Quantity, unit_choice, units_by_quantity
from journal.home import journal_folder
from journal.record.shop_units import keep_units, kept_units


@click.command("units")
@click.argument("choice", nargs=-1, metavar="[si|us|QUANTITY=UNIT]...")
@json_option
@click.pass_context
def units_command(ctx: click.Context, choice: tuple[str, ...], as_json: bool) -> None:
    """Show or choose what a number without a unit means in this shop.

    A unit that is said wins, and what was entered keeps its unit whatever is chosen later. For example: journal units
    us, or journal units "coolant temperature=degF" "lash=mm".
    """
    folder = journal_folder(ctx.find_root().obj)
    units = choose(folder, *choice) if choice else kept_units(folder) or units_by_quantity(SI)
    if as_json:
        print_json({str(quantity): unit for quantity, unit in units.items()})
        return
    for quantity, unit in units.items():
        others = ", ".join(other for other in UNITS[quantity] if other != unit)
        click.echo(f"{quantity:<28}{unit:<8}{f'or {others}' if others else ''}".rstrip())


def choose(folder: Path, *choices: str) -> dict[Quantity, str]:
    """Keep what was chosen, one after the other: the name of a set, or a quantity with its unit.

    Raises:
        BadInput: when a choice names no set, no quantity or a unit that the quantity is not given in; none is kept.
        RecordError: when what was chosen before cannot be read, and no set replaces it, or the file cannot be written.
    """
    sets = [choice for choice in choices if choice in UNIT_SETS]
    units = units_by_quantity(sets[-1]) if sets else kept_units(folder) or units_by_quantity(SI)
    units.update(unit_choice(choice) for choice in choices if choice not in UNIT_SETS)
    keep_units(folder, units)
    return units


def ask_units(folder: Path) -> None:
    """Ask a person at the terminal once which units numbers are in where none is said, and keep the answer."""
    if kept_units(folder) is not None:
        return
    chosen = click.prompt(
        "Numbers said without a unit are in: si (kPa, °C, mm) or us (psi, °F, thou)",
        type=click.Choice(list(UNIT_SETS), case_sensitive=False), default=SI,
    )  # fmt: skip
    choose(folder, chosen)
    click.echo("Kept; `journal units` shows and changes them.")
