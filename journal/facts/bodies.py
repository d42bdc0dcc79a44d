"""The typed body of each kind of entry: one frozen dataclass a kind, refused on the way in when it makes no sense."""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from journal.errors import BadInput
from journal.facts.checks import LEAK_PLACES, MEASURED, OUTCOMES, PARTS, SWAPPED, Subject
from journal.facts.engine import MOST_CYLINDERS, Engine
from journal.facts.quantities import UNITS, Quantity


class RunKind(StrEnum):
    """How a cut-out test is done."""

    IDLE = "idle"
    HALF_ENGINE = "half engine"
    SCANNER_RESULT = "scanner result"


class PressureLevel(StrEnum):
    """An injection pressure named without a number."""

    LOW = "low"
    HIGH = "high"


class Restored(StrEnum):
    """What was put back as it belongs."""

    CYLINDERS = "cylinders"
    PRESSURE = "injection pressure"


class PartState(StrEnum):
    """How far a wanted part has come."""

    WANTED = "wanted"
    ANSWERED = "answered"
    """Something is known of it, but no price."""
    PRICED = "priced"
    ORDERED = "ordered"
    ARRIVED = "arrived"
    FITTED = "fitted"
    NOT_NEEDED = "not needed"


def _finite(name: str, value: float | None) -> None:
    if value is not None and not math.isfinite(value):
        raise BadInput(f"{name} {value}: give a finite number")


def _cylinder(cylinder: int | None) -> None:
    if cylinder is not None and not 1 <= cylinder <= MOST_CYLINDERS:
        raise BadInput(f"cylinder {cylinder}: give a number from 1 to {MOST_CYLINDERS}")


def _unit(quantity: Quantity, unit: str) -> None:
    if unit not in UNITS[quantity]:
        raise BadInput(f"unit {unit!r} for {quantity}: use one of {', '.join(UNITS[quantity])}")


@dataclass(frozen=True)
class JobOpened:
    """A job begins."""

    unit: str
    """What machine it is, as the shop calls it."""
    engine: Engine
    """Its engine's layout."""
    complaint: str = ""
    """What the operator says is wrong."""
    make: str = ""
    """Who made the engine, as its plate says."""
    model: str = ""
    """The engine's model, as its plate says."""
    serial: str = ""
    """The engine's serial number, as its plate says."""
    hours: str = ""
    """What its hour meter reads."""
    customer: str = ""
    """Whose machine it is."""
    work_order: str = ""
    """The shop's own number for this work."""

    @property
    def facts(self) -> dict[str, str]:
        """What of `FACT_FIELDS` was given besides unit and complaint, by field."""
        given = {name: getattr(self, name.replace(" ", "_"), "") for name in FACT_FIELDS[2:]}
        return {name: value for name, value in given.items() if value}


@dataclass(frozen=True)
class JobFact:
    """One fact about the job that replaces what was known of it."""

    field: str
    """One of `FACT_FIELDS`."""
    value: str
    """Its value as text."""

    def __post_init__(self) -> None:
        if self.field not in FACT_FIELDS:
            raise BadInput(f"job fact {self.field!r}: use one of {', '.join(FACT_FIELDS)}")


FACT_FIELDS = ("unit", "complaint", "make", "model", "serial", "hours", "mileage", "customer", "work order")
"""What a `JobFact` may set."""


@dataclass(frozen=True)
class EngineChanged:
    """The engine's layout as it was found to be after all."""

    engine: Engine
    """The layout that counts from here on."""


@dataclass(frozen=True)
class RunStarted:
    """A cut-out test begins."""

    run: RunKind
    """How it is done."""
    quantity: Quantity = Quantity.FUEL_PER_STROKE
    """What is watched on the scanner; it decides the formula."""
    unit: str = ""
    """Its unit; empty for the quantity's first."""
    held_out: tuple[int, ...] = ()
    """Cylinders held out throughout the run (half-engine)."""
    pressure: PressureLevel | None = None
    """Injection pressure as low or high, where it was set on purpose."""
    pressure_value: float | None = None
    """Injection pressure as a number, where it was set on purpose."""
    pressure_unit: str = "MPa"
    """Unit of `pressure_value`."""
    after_repair: bool = False
    """True when done to see whether the repair mended it."""
    repeat: bool = False
    """True when it repeats the run before it under the same conditions."""
    idle_fuel: float | None = None
    """Fuel that makes no torque, for each cylinder, in the unit of the run's readings; none when it is not known. It
    belongs to this run alone: a run that repeats it does not take it over."""

    def __post_init__(self) -> None:
        _finite("fuel that makes no torque", self.idle_fuel)
        if self.idle_fuel is not None and self.idle_fuel < 0:
            raise BadInput(f"fuel that makes no torque {self.idle_fuel:g}: give a number from 0 up")
        _finite("injection pressure", self.pressure_value)
        _unit(Quantity.INJECTION_PRESSURE, self.pressure_unit)
        if self.unit:
            _unit(self.quantity, self.unit)
        for cylinder in self.held_out:
            _cylinder(cylinder)


@dataclass(frozen=True)
class RunEnded:
    """The cut-out test in progress is over."""


@dataclass(frozen=True)
class Baseline:
    """The watched quantity with no further cylinder cut."""

    value: float
    """The number read."""
    quantity: Quantity | None = None
    """What it measures; none for whatever the run watches."""
    unit: str = ""
    """Its unit; empty for the run's, or the quantity's first."""

    def __post_init__(self) -> None:
        _finite("baseline", self.value)
        if self.quantity is not None and self.unit:
            _unit(self.quantity, self.unit)


@dataclass(frozen=True)
class Cut:
    """The watched quantity with one cylinder cut, or the words that it did not change."""

    cylinder: int
    """The cylinder that was cut."""
    value: float | None = None
    """The number read; none when `no_change`."""
    no_change: bool = False
    """True when the technician said it did not change."""
    quantity: Quantity | None = None
    """What it measures; none for whatever the run watches."""
    unit: str = ""
    """Its unit; empty for the run's."""

    def __post_init__(self) -> None:
        _cylinder(self.cylinder)
        _finite("cut reading", self.value)
        if (self.value is None) != self.no_change:
            raise BadInput(f"cylinder {self.cylinder} cut: give a reading, or say no change")


@dataclass(frozen=True)
class Condition:
    """A number that describes how the engine stood: speed, pressure, temperature, load."""

    quantity: Quantity
    """What it measures."""
    value: float
    """The number read."""
    unit: str = ""
    """Its unit; empty for the quantity's first."""

    def __post_init__(self) -> None:
        _finite(self.quantity, self.value)
        if self.unit:
            _unit(self.quantity, self.unit)


@dataclass(frozen=True)
class Check:
    """An inspection or measurement that is not a cut-out reading, with its outcome."""

    subject: Subject
    """What was looked at."""
    outcome: str
    """One of the subject's outcomes, or `measured` where only a number was given."""
    cylinder: int | None = None
    """The cylinder it belongs to; none for the whole engine."""
    part: str | None = None
    """What is damaged, one of `PARTS`."""
    place: str | None = None
    """Where air leaks to, one of `LEAK_PLACES`."""
    value: float | None = None
    """The number, where one was measured."""
    unit: str = ""
    """Its unit."""
    crank_turned: bool | None = None
    """For an air test: whether the air turned the crank."""
    other_cylinder: int | None = None
    """For an injector swap: the cylinder it was swapped with; for a leak: the cylinder it leaks into."""

    def __post_init__(self) -> None:
        if self.outcome not in (*OUTCOMES[self.subject], MEASURED):
            raise BadInput(f"{self.subject} {self.outcome!r}: say one of {', '.join(OUTCOMES[self.subject])}")
        if self.outcome == MEASURED and self.value is None:
            raise BadInput(f"{self.subject}: give an outcome or a number")
        if self.subject is Subject.INJECTOR_SWAP and self.outcome == SWAPPED and self.other_cylinder is None:
            raise BadInput(f"{self.subject}: say with which cylinder's injector")
        if self.part is not None and self.part not in PARTS:
            raise BadInput(f"part {self.part!r}: say one of {', '.join(PARTS)}")
        if self.place is not None and self.place not in LEAK_PLACES:
            raise BadInput(f"leaks to {self.place!r}: say one of {', '.join(LEAK_PLACES)}")
        _cylinder(self.cylinder)
        _cylinder(self.other_cylinder)
        _finite(self.subject, self.value)


@dataclass(frozen=True)
class TroubleCode:
    """A diagnostic trouble code as SAE J1939-73 writes it."""

    spn: int
    """Suspect parameter number, 0 to 524287 (19 bits)."""
    fmi: int
    """Failure mode identifier, 0 to 31 (5 bits)."""

    def __post_init__(self) -> None:
        if not 0 <= self.spn <= 524287:
            raise BadInput(f"SPN {self.spn}: give a number from 0 to 524287")
        if not 0 <= self.fmi <= 31:
            raise BadInput(f"FMI {self.fmi}: give a number from 0 to 31")


@dataclass(frozen=True)
class Note:
    """Free words worth keeping."""

    text: str
    """The words."""


@dataclass(frozen=True)
class PhotoCue:
    """The next photos to arrive belong here."""

    subject: str
    """What they show, e.g. a `Subject`'s text or other words."""
    cylinder: int | None = None
    """The cylinder they show."""

    def __post_init__(self) -> None:
        _cylinder(self.cylinder)


@dataclass(frozen=True)
class Photo:
    """A photo was taken in; the original lies under its SHA-256."""

    sha256: str
    """SHA-256 of the original file, 64 hex digits."""
    name: str
    """The file's name as it arrived."""
    subject: str = ""
    """What it shows; empty when not placed yet."""
    cylinder: int | None = None
    """The cylinder it shows."""
    taken_at: str = ""
    """When it was taken, ISO 8601 with offset; empty when not known."""
    warning: str = ""
    """What is wrong with it as a picture (blurred, too dark); empty when nothing."""

    def __post_init__(self) -> None:
        _cylinder(self.cylinder)


@dataclass(frozen=True)
class PhotoPlaced:
    """A photo is said to show something (else)."""

    photo: str
    """SHA-256 of the photo's original."""
    subject: str
    """What it shows."""
    cylinder: int | None = None
    """The cylinder it shows."""

    def __post_init__(self) -> None:
        _cylinder(self.cylinder)


@dataclass(frozen=True)
class PhotoMark:
    """A ring or an arrow on top of a photo; coordinates are fractions of its width and height."""

    photo: str
    """SHA-256 of the photo's original."""
    shape: str
    """`ring` or `arrow`."""
    x0: float
    """Ring: centre; arrow: tail; 0 to 1 of the width."""
    y0: float
    """The same, of the height."""
    x1: float
    """Ring: a point on it; arrow: head; 0 to 1 of the width."""
    y1: float
    """The same, of the height."""
    text: str = ""
    """A word beside it."""

    def __post_init__(self) -> None:
        if self.shape not in ("ring", "arrow"):
            raise BadInput(f"mark {self.shape!r}: use ring or arrow")
        if not all(0 <= v <= 1 for v in (self.x0, self.y0, self.x1, self.y1)):
            raise BadInput("a mark's place: give fractions from 0 to 1 of the photo's width and height")


@dataclass(frozen=True)
class Seen:
    """A number that stands on a photo of a screen, and the entry that it speaks for."""

    photo: str
    """SHA-256 of the photo's original."""
    target: str
    """Identifier of the entry that says what is seen, or of the question that asks about it."""
    written: str
    """The number as it was read, without its unit."""
    label: str
    """The words that belong to it; empty where none do."""
    quantity: Quantity
    """What it is taken to measure."""
    x0: float
    """Its left edge, 0 to 1 of the photo's width as it is looked at."""
    y0: float
    """Its upper edge, 0 to 1 of the photo's height."""
    x1: float
    """Its right edge."""
    y1: float
    """Its lower edge."""
    option: int | None = None
    """Which option of the question it stands for, from 0; none where the target is no question."""
    unit: str = ""
    """The unit that it was read in; empty where none stood with it."""

    def __post_init__(self) -> None:
        if not (0 <= self.x0 <= self.x1 <= 1 and 0 <= self.y0 <= self.y1 <= 1):
            raise BadInput(
                "a number's place on a photo: give fractions from 0 to 1, left before right, upper before lower"
            )


@dataclass(frozen=True)
class PutBack:
    """Something that was changed for a test is as it belongs again."""

    what: Restored
    """What was put back."""


@dataclass(frozen=True)
class PartWanted:
    """A part the job needs."""

    description: str
    """What it is."""
    quantity: int = 1
    """How many, 1 or more."""
    cylinder: int | None = None
    """The cylinder it is for."""
    reason: str = ""
    """Why it is wanted."""

    def __post_init__(self) -> None:
        _cylinder(self.cylinder)
        if self.quantity < 1:
            raise BadInput(f"{self.quantity} of {self.description}: give 1 or more")


@dataclass(frozen=True)
class PartAnswer:
    """What is known of a wanted part: from the parts desk, or from the technician."""

    part: str
    """Identifier of the `PartWanted` entry."""
    state: PartState
    """How far it has come."""
    number: str = ""
    """Part number."""
    price: str = ""
    """Price with currency, as text."""
    availability: str = ""
    """Where it is, how many."""
    date: str = ""
    """When it is expected, ISO 8601 date, or empty."""
    note: str = ""
    """Free words."""
    superseded_by: str = ""
    """The part number that took the place of `number`; empty when none did."""
    lead_time: str = ""
    """How long it takes to come, as text."""


def _nested(body: Body, room: int = 3) -> None:
    """Refuse a body within a body within a body without end: nobody says such a thing."""
    if room == 0:
        raise BadInput("an entry about an entry about an entry: say it in two entries")
    match body:
        case Correction() | Answer(body=_) if body.body is not None:
            _nested(body.body, room - 1)
        case Question():
            for option in body.options:
                _nested(option, room - 1)
        case _:
            pass


@dataclass(frozen=True)
class Question:
    """An utterance that waits for the technician to say which of two values was meant."""

    prompt: str
    """The question in few words, naming the values."""
    options: tuple[Body, ...]
    """What each answer would enter, most likely first; one option is a yes-or-no question."""

    def __post_init__(self) -> None:
        for option in self.options:
            _nested(option)


@dataclass(frozen=True)
class Answer:
    """A question is settled."""

    question: str
    """Identifier of the `Question` entry."""
    choice: int | None = None
    """Which option, from 0; none when it was neither."""
    body: Body | None = None
    """What was meant instead, when it was none of the options but is known."""

    def __post_init__(self) -> None:
        if self.body is not None:
            _nested(self.body)


@dataclass(frozen=True)
class Correction:
    """An earlier entry is replaced by what it should have said."""

    target: str
    """Identifier of the entry that was wrong."""
    body: Body
    """What it should have said."""

    def __post_init__(self) -> None:
        _nested(self.body)


@dataclass(frozen=True)
class Withdrawal:
    """An earlier entry is taken back; taking back a withdrawal or a correction restores what was there."""

    target: str
    """Identifier of the entry taken back."""


@dataclass(frozen=True)
class GateOverridden:
    """The technician orders a part although checks are missing."""

    cause: str
    """Key of the cause."""
    cylinder: int | None
    """The cylinder it is for."""
    reason: str
    """Why, in the technician's words; never empty."""

    def __post_init__(self) -> None:
        if not self.reason.strip():
            raise BadInput("ordering against the missing checks: give a reason")


@dataclass(frozen=True)
class WriteUpEdited:
    """The technician's own words for one section of the write-up."""

    section: str
    """`complaint`, `cause` or `correction`."""
    text: str
    """The words that replace the generated ones; empty for the generated ones again."""


@dataclass(frozen=True)
class RepairDone:
    """What was repaired."""

    text: str
    """What was done."""
    cylinder: int | None = None
    """Where."""

    def __post_init__(self) -> None:
        _cylinder(self.cylinder)


@dataclass(frozen=True)
class JobClosed:
    """The job ends."""

    cause: str
    """Key of the cause found, or `unknown`."""
    cylinder: int | None = None
    """The cylinder it was found on; none for the whole engine."""
    text: str = ""
    """The cause in the technician's words."""


@dataclass(frozen=True)
class JobReopened:
    """A closed job goes on."""


@dataclass(frozen=True)
class ClockSetBack:
    """The machine's clock went back: what was dated ahead of it comes before this all the same, with all that follows.

    The entries named keep the times they have; which of the two clocks was right, nobody but the technician knows.
    """

    before: tuple[str, ...]
    """Identifiers of the job's entries that were there already and are dated later than this one."""


Body = (
    JobOpened
    | JobFact
    | EngineChanged
    | RunStarted
    | RunEnded
    | Baseline
    | Cut
    | Condition
    | Check
    | TroubleCode
    | Note
    | PhotoCue
    | Photo
    | PhotoPlaced
    | PhotoMark
    | Seen
    | PutBack
    | PartWanted
    | PartAnswer
    | Question
    | Answer
    | Correction
    | Withdrawal
    | GateOverridden
    | WriteUpEdited
    | RepairDone
    | JobClosed
    | JobReopened
    | ClockSetBack
)
"""The body of an entry."""

KINDS: dict[str, type[Body]] = {
    "job opened": JobOpened,
    "job fact": JobFact,
    "engine changed": EngineChanged,
    "run start": RunStarted,
    "run end": RunEnded,
    "baseline": Baseline,
    "cut": Cut,
    "condition": Condition,
    "check": Check,
    "trouble code": TroubleCode,
    "note": Note,
    "photo cue": PhotoCue,
    "photo": Photo,
    "photo placed": PhotoPlaced,
    "photo mark": PhotoMark,
    "seen": Seen,
    "put back": PutBack,
    "part wanted": PartWanted,
    "part answer": PartAnswer,
    "question": Question,
    "answer": Answer,
    "correction": Correction,
    "withdrawal": Withdrawal,
    "gate overridden": GateOverridden,
    "write-up edited": WriteUpEdited,
    "repair done": RepairDone,
    "job closed": JobClosed,
    "job reopened": JobReopened,
    "clock set back": ClockSetBack,
}
"""Every kind of entry by the name it is stored and shown under."""

_NAMES = {kind: name for name, kind in KINDS.items()}


def kind_of(body: Body) -> str:
    """The name of a body's kind, as in `KINDS`."""
    return _NAMES[type(body)]
