"""Every inspection that is not a cut-out reading, and the outcomes it can have."""

from __future__ import annotations

from enum import StrEnum

from journal.facts.quantities import Quantity


class Subject(StrEnum):
    """What was looked at or measured."""

    BLOW_BY = "blow-by"
    OVERHEAD = "overhead"
    LASH = "lash"
    LOBE_LIFT = "lobe lift"
    WIRING = "wiring"
    CONNECTOR = "connector"
    RESISTANCE = "injector resistance"
    DRIVER_SIGNAL = "driver signal"
    AIR_TEST = "air test"
    LEAK_DOWN = "leak-down"
    COMPRESSION = "compression"
    PORT_TEMPERATURE = "port temperature"
    INJECTOR_SWAP = "injector swap"
    INJECTOR_SEAT = "injector seat"
    INJECTION_CIRCUIT = "injection pressure circuit"
    FUEL_SUPPLY = "fuel supply"
    AIR_IN_FUEL = "air in fuel"
    OIL = "oil"
    SMOKE = "smoke"
    COOLANT = "coolant"
    AIR_PATH = "intake and exhaust"
    RETURN_FLOW = "injector return flow"
    RELATIVE_COMPRESSION = "relative compression"
    CIRCUIT_TEST = "injector circuit test"
    PRESSURE_HELD = "pressure as desired"


SWAPPED = "swapped"
"""The outcome of an injector swap whose run is still to come."""

OUTCOMES: dict[Subject, tuple[str, ...]] = {
    Subject.BLOW_BY: ("none", "light", "heavy"),
    Subject.OVERHEAD: ("sound", "damaged"),
    Subject.LASH: ("in limits", "tight", "loose"),
    Subject.LOBE_LIFT: ("in limits", "worn"),
    Subject.WIRING: ("sound", "faulty"),
    Subject.CONNECTOR: ("sound", "faulty"),
    Subject.RESISTANCE: ("in limits", "low", "high", "open"),
    Subject.DRIVER_SIGNAL: ("present", "absent"),
    Subject.AIR_TEST: ("holds", "leaks"),
    Subject.LEAK_DOWN: ("in limits", "high"),
    Subject.COMPRESSION: ("in limits", "low"),
    Subject.PORT_TEMPERATURE: ("even", "cold", "hot"),
    Subject.INJECTOR_SWAP: ("miss moved", "miss stayed", SWAPPED),
    Subject.INJECTOR_SEAT: ("sound", "leaking"),
    Subject.INJECTION_CIRCUIT: ("sound", "leaking"),
    Subject.FUEL_SUPPLY: ("in limits", "low"),
    Subject.AIR_IN_FUEL: ("none", "present"),
    Subject.OIL: ("sound", "low", "aerated", "wrong", "diluted"),
    Subject.SMOKE: ("none", "white", "black", "blue"),
    Subject.COOLANT: ("sound", "gas in it", "being lost"),
    Subject.AIR_PATH: ("sound", "restricted", "leaking"),
    Subject.RETURN_FLOW: ("in limits", "high"),
    Subject.RELATIVE_COMPRESSION: ("even", "low"),
    Subject.CIRCUIT_TEST: ("passed", "failed"),
    Subject.PRESSURE_HELD: ("held", "low"),
}
"""The outcomes of each subject; a measured number may stand without one (`measured`)."""

MEASURED = "measured"
"""The outcome of a check that gave a number and no judgement."""

MEASURED_AS: dict[Subject, Quantity] = {
    Subject.LASH: Quantity.LASH,
    Subject.LOBE_LIFT: Quantity.LOBE_LIFT,
    Subject.RESISTANCE: Quantity.RESISTANCE,
    Subject.LEAK_DOWN: Quantity.LEAK_DOWN,
    Subject.COMPRESSION: Quantity.COMPRESSION,
    Subject.PORT_TEMPERATURE: Quantity.PORT_TEMPERATURE,
    Subject.FUEL_SUPPLY: Quantity.FUEL_PRESSURE,
}
"""What the number of a check is a measure of, where it takes one."""

PARTS = ("bridge", "valve", "rocker", "pushrod", "spring", "camshaft lobe", "follower")
"""What can be damaged in the overhead and below it."""

LEAK_PLACES = ("intake", "exhaust", "crankcase", "coolant", "next cylinder")
"""Where air put into a cylinder can come out."""

PER_CYLINDER = frozenset(
    {
        Subject.LASH,
        Subject.LOBE_LIFT,
        Subject.CONNECTOR,
        Subject.RESISTANCE,
        Subject.DRIVER_SIGNAL,
        Subject.AIR_TEST,
        Subject.LEAK_DOWN,
        Subject.COMPRESSION,
        Subject.PORT_TEMPERATURE,
        Subject.INJECTOR_SWAP,
        Subject.INJECTOR_SEAT,
        Subject.RETURN_FLOW,
        Subject.RELATIVE_COMPRESSION,
        Subject.CIRCUIT_TEST,
    }
)
"""Subjects that mean nothing without a cylinder; the others may name one."""
