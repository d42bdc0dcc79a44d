"""The words every room shares: engine, quantities, checks, the bodies of entries, and entries themselves."""

from journal.facts.bodies import (
    KINDS,
    Answer,
    Baseline,
    Body,
    Check,
    ClockSetBack,
    Condition,
    Correction,
    Cut,
    EngineChanged,
    GateOverridden,
    JobClosed,
    JobFact,
    JobOpened,
    JobReopened,
    Note,
    PartAnswer,
    PartState,
    PartWanted,
    Photo,
    PhotoCue,
    PhotoMark,
    PhotoPlaced,
    PressureLevel,
    PutBack,
    Question,
    RepairDone,
    Restored,
    RunEnded,
    RunKind,
    RunStarted,
    Seen,
    TroubleCode,
    Withdrawal,
    WriteUpEdited,
    kind_of,
)
from journal.facts.checks import LEAK_PLACES, MEASURED, MEASURED_AS, OUTCOMES, PARTS, PER_CYLINDER, Subject
from journal.facts.engine import Arrangement, Engine, Injection
from journal.facts.entry import Entry, Source, new_id, to_milliseconds
from journal.facts.quantities import UNIT_SETS, UNITS, Quantity

__all__ = [
    "KINDS", "LEAK_PLACES", "MEASURED", "MEASURED_AS", "OUTCOMES", "PARTS", "PER_CYLINDER", "UNITS", "UNIT_SETS",
    "Answer", "Arrangement", "Baseline", "Body", "Check", "ClockSetBack", "Condition", "Correction", "Cut",
    "Engine", "EngineChanged", "Entry", "GateOverridden", "Injection", "JobClosed", "JobFact", "JobOpened",
    "JobReopened", "Note", "PartAnswer", "PartState", "PartWanted", "Photo", "PhotoCue", "PhotoMark",
    "PhotoPlaced", "PressureLevel", "PutBack", "Quantity", "Question", "RepairDone", "Restored",
    "RunEnded", "RunKind", "RunStarted", "Seen", "Source", "Subject", "TroubleCode", "Withdrawal",
    "WriteUpEdited", "kind_of", "new_id", "to_milliseconds",
]  # fmt: skip
