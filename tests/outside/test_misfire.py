"""Causes and failure modes against what is published: a training manual's misfire causes, and SAE J1939-73's FMI list.

Both lists are from memory: neither document could be had here. They are written down as they are remembered, so that
a reader with the documents can check them.
"""

from __future__ import annotations

import pytest

from journal.analysis.causes.codes import FAILURE_MODES
from journal.analysis.causes.tables import tables

NAVEDTRA_14076 = {
    # US Navy NAVEDTRA 14076, Engineman 3, troubleshooting of diesel engines: misfiring and loss of compression.
    "air in the fuel system": "fuel-supply",
    "clogged fuel strainers or filters": "fuel-supply",
    "insufficient fuel supply pressure": "fuel-supply",
    "faulty fuel injector or nozzle": "injector",
    "leaking injector seal or nozzle seat": "injector-cup",
    "burnt, leaking or sticking valves": "valve-seal",
    "improper valve clearance": "valve-train",
    "broken or weak valve spring": "valve-train",
    "broken or bent pushrod or rocker arm": "valve-train",
    "worn cam lobes or followers": "camshaft",
    "worn, stuck or broken piston rings": "rings",
    "worn or scored cylinder liner": "rings",
    "cracked or damaged piston": "rings",
    "leaking cylinder head gasket": "head-gasket",
    "cracked cylinder head": "head-gasket",
    "clogged air cleaner or low scavenging air": "air-path",
    "high exhaust back pressure": "air-path",
    "faulty electronic control or wiring": "wiring",
}
"""Causes the manual lists, from memory, with the cause of ours that stands for each."""

FMI_WORDS = {
    0: ("above", "most severe"), 1: ("below", "most severe"), 2: ("erratic", "intermittent"),
    3: ("voltage above", "high"), 4: ("voltage below", "low"), 5: ("current below", "open"),
    6: ("current above", "grounded"), 7: ("mechanical", "not responding"), 8: ("abnormal frequency", "pulse width"),
    9: ("abnormal update rate",), 10: ("abnormal rate of change",), 11: ("root cause not known",),
    12: ("bad intelligent device",), 13: ("out of calibration",), 14: ("special instructions",),
    15: ("above", "least severe"), 16: ("above", "moderately severe"), 17: ("below", "least severe"),
    18: ("below", "moderately severe"), 19: ("network data in error",), 20: ("drifted high",), 21: ("drifted low",),
    31: ("condition exists",),
}  # fmt: skip
"""What each failure mode identifier says in SAE J1939-73, from memory; 22 to 30 are reserved."""


@pytest.mark.parametrize("listed", NAVEDTRA_14076)
def test_a_cause_in_the_training_manual_has_a_cause_of_ours(listed: str) -> None:
    row = tables().causes[NAVEDTRA_14076[listed]]
    assert row.meaning
    distinct = [c.given(row.key).tolist() != c.likelihood["otherwise"].tolist() for c in tables().checks.values()]
    assert sum(distinct) >= 2, "no two checks tell it from anything else"


@pytest.mark.parametrize("fmi", FMI_WORDS)
def test_a_failure_mode_says_what_the_standard_says(fmi: int) -> None:
    assert all(word in FAILURE_MODES[fmi] for word in FMI_WORDS[fmi])


def test_reserved_failure_modes_are_called_reserved() -> None:
    assert {FAILURE_MODES[fmi] for fmi in range(22, 31)} == {"reserved"}
