"""The shop's units, in a file of the journal's folder: what a number without a unit means, quantity by quantity."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path

from journal.errors import BadInput, RecordError
from journal.facts.quantities import Quantity, units_by_quantity
from journal.record.files import read_file, write_whole

UNITS_FILE = "units.toml"
"""Beside the entries; a shop may edit it."""

_HEAD = "# What a number without a unit means in this shop; `journal units` shows and changes it.\n"


def kept_units(folder: Path) -> dict[Quantity, str] | None:
    """The units this shop has chosen, for every quantity; none when it has not chosen.

    Raises:
        RecordError: when the file cannot be read or does not make sense: a number must not be taken in a wrong unit.
    """
    path = folder / UNITS_FILE
    try:
        now = path.stat()
        return dict(_read(path, (now.st_ino, now.st_mtime_ns, now.st_size)))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, BadInput) as error:
        raise RecordError(
            f"{UNITS_FILE} in {folder} cannot be used ({error}); choose again with `journal units si` or `us`"
        ) from None


@lru_cache(maxsize=4)
def _read(path: Path, state: tuple[int, int, int]) -> dict[Quantity, str]:
    """What stands in the file; read once for each state of it, for every utterance asks."""
    found = tomllib.loads(read_file(path).decode("utf-8-sig"))
    return units_by_quantity({Quantity(name): str(unit) for name, unit in found.items()})


def keep_units(folder: Path, units: Mapping[Quantity, str]) -> None:
    """Keep the shop's units; the file is there whole or as it was.

    Raises:
        BadInput: when a quantity is not given in that unit.
        RecordError: when it cannot be written.
    """
    lines = [f'"{quantity}" = "{unit}"\n' for quantity, unit in units_by_quantity(units).items()]
    write_whole(folder / UNITS_FILE, "".join([_HEAD, *lines]).encode())
