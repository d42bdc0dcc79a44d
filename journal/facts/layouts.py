"""A shape, such as `inline six`, to an engine layout to start from, always to be confirmed by the service manual."""

from __future__ import annotations

import tomllib
from functools import cache
from importlib import resources

from journal.errors import BadInput
from journal.facts import Arrangement, Engine, Injection


def layout_names() -> tuple[str, ...]:
    """The shapes that are offered, smallest first."""
    return tuple(_layouts())


def layout_note() -> str:
    """What must be said beside every layout that is offered."""
    return str(_table()["note"])


def layout_of(name: str, injection: Injection = Injection.COMMON_RAIL) -> Engine:
    """A common layout by its shape; the firing order is empty where none is common enough to offer.

    Raises:
        BadInput: for a shape that is not among `layout_names()`.
    """
    found = _layouts().get(" ".join(name.lower().split()))
    if found is None:
        raise BadInput(f"layout {name!r} is not known: use one of {', '.join(layout_names())}")
    order, cylinders, vee = found
    odd, even = tuple(range(1, cylinders + 1, 2)), tuple(range(2, cylinders + 1, 2))
    return Engine(
        cylinders,
        order,
        Arrangement.VEE if vee else Arrangement.INLINE,
        injection,
        banks=(odd, even) if vee else (),
    )


@cache
def _table() -> dict[str, object]:
    return tomllib.loads(resources.files("journal.facts").joinpath("layouts.toml").read_text(encoding="utf-8"))


@cache
def _layouts() -> dict[str, tuple[tuple[int, ...], int, bool]]:
    rows = _table()["layout"]
    assert isinstance(rows, list)
    layouts = {}
    for row in rows:
        order = tuple(row.get("firing_order", ()))
        layouts[str(row["name"])] = (order, int(row.get("cylinders", len(order))), bool(row.get("vee", False)))
    return layouts
