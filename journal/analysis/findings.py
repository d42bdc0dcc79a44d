"""What the analysis states about a job: standings, comparisons, causes, the next check, the order gate, warnings."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import StrEnum

from journal.analysis.learnt import Learnt
from journal.facts import Restored


class Standing(StrEnum):
    """How a cylinder pulls against the middle of its peers."""

    DEAD = "dead"
    WEAK = "weak"
    EVEN = "even"
    STRONG = "strong"
    UNCLEAR = "unclear"


class Level(StrEnum):
    """How much a remark matters."""

    DANGER = "danger"
    WARNING = "warning"
    REMARK = "remark"


@dataclass(frozen=True)
class Remark:
    """One plain sentence about the job, with the entries it rests on."""

    level: Level
    """How much it matters."""
    text: str
    """The sentence."""
    entries: tuple[str, ...] = ()
    """Identifiers of the entries it rests on."""


@dataclass(frozen=True)
class Contribution:
    """One cylinder's share of the indicated work of the live cylinders in a run."""

    cylinder: int
    """Which."""
    share: float
    """Share, 1/n for an even engine of n live cylinders; a dead one is 0."""
    low: float
    """Lower end of the 95 % interval."""
    high: float
    """Upper end of the 95 % interval."""
    strength: float
    """Share against the robust middle of its peers, 1 for an even one."""
    standing: Standing
    """How it pulls."""
    why: str
    """Why that standing, one sentence."""
    repeats_needed: int | None = None
    """For an unclear one: how many readings in all would settle it."""
    strength_u: float = 0.0
    """Standard uncertainty of the strength."""
    after_dead: bool = False
    """True when it fires right after a dead one, which may make it read low."""
    entries: tuple[str, ...] = ()
    """Identifiers of the readings it comes from."""


@dataclass(frozen=True)
class Suspect:
    """A reading that may have been misheard: another number sounds like it and would make the shares add up."""

    entry: str
    """Identifier of the reading's entry."""
    cylinder: int | None
    """The cylinder that was cut; none for a baseline."""
    value: float
    """The number entered, in the run's unit."""
    instead: float | None
    """The number that sounds alike; none when it only stands apart and nothing sounds like what would fit."""
    mended_sum: float
    """The sum of the shares with it; 1 where there is none."""
    fits: float | None = None
    """The number, to the display's step, that would make the shares add up to one."""


@dataclass(frozen=True)
class RunFinding:
    """What one run says."""

    run: str
    """The run's identifier."""
    number: int
    """1 for the job's first run."""
    title: str
    """Kind and conditions in words, e.g. `Idle`, `Half engine, 4 5 6 held out`."""
    formula: str
    """The formula used, in words and symbols."""
    contributions: tuple[Contribution, ...]
    """By cylinder number; only cylinders with readings."""
    missing: tuple[int, ...]
    """Live cylinders without a reading yet."""
    total: float | None
    """Sum of the shares; none while any is missing."""
    total_low: float | None
    """Lower end of its 95 % interval."""
    total_high: float | None
    """Upper end of its 95 % interval."""
    trusted: bool
    """False when the readings contradict themselves."""
    remarks: tuple[Remark, ...] = ()
    """What is odd about the readings and which explanation fits."""
    suspects: tuple[Suspect, ...] = ()
    """Readings worth taking again, the likeliest first; none while the readings agree."""
    half_low: tuple[int, ...] = ()
    """The low cylinders when they are half of the live ones or more, so that comparing cylinders cannot judge."""
    learnt: Learnt | None = None
    """What later jobs on the machine start from; none until every live cylinder was read and the readings agree."""


@dataclass(frozen=True)
class Comparison:
    """Two or more runs against each other."""

    title: str
    """What is compared, e.g. `Idle against half engine`."""
    runs: tuple[str, ...]
    """Identifiers of the runs."""
    remarks: tuple[Remark, ...]
    """What it says, one sentence each."""
    cylinders: tuple[int, ...] = ()
    """The cylinders it is about."""


@dataclass(frozen=True)
class PressurePoint:
    """A cylinder in a run at one injection pressure."""

    run: str
    """The run's identifier."""
    pressure: str
    """The pressure as it was said, e.g. `200 bar`, or `the usual pressure`."""
    mpa: float | None
    """The same in MPa; none where no number was said."""
    strength: float
    """Share against the robust middle of its peers, 1 for an even one."""
    low: float
    """Lower end of the strength's 95 % interval."""
    high: float
    """Upper end of it."""
    standing: Standing
    """How it pulls there."""


@dataclass(frozen=True)
class PressureResponse:
    """How one cylinder takes injection pressure, over two runs or more that are alike but for it."""

    cylinder: int
    """Which."""
    points: tuple[PressurePoint, ...]
    """Lowest pressure first."""
    answer: str
    """`recovers`, `rises`, `no difference`, `falls` or `varies`."""
    gain: float
    """Strength at the highest pressure less that at the lowest."""
    gain_low: float
    """Lower end of its 95 % interval."""
    gain_high: float
    """Upper end of it."""
    per_mpa: float | None = None
    """Slope of strength against pressure, for each MPa; none without numbers."""
    per_mpa_low: float | None = None
    """Lower end of its 95 % interval."""
    per_mpa_high: float | None = None
    """Upper end of it."""
    meaning: str = ""
    """What that says of injector, valve gear and cylinder; empty for one that is low at none of them."""


@dataclass(frozen=True)
class EarlierFinding:
    """An earlier job on the same machine, as far as it can be compared."""

    job: str
    """Its identifier."""
    reference: str
    """What people call it."""
    day: str
    """When it was opened, ISO 8601 date."""
    cause: str
    """Key of the cause it was closed with; empty while it is open."""
    baseline: float | None = None
    """Baseline of its last run under today's conditions, in today's unit; none without one."""
    unit: str = ""
    """Unit of that."""
    contributions: tuple[Contribution, ...] = ()
    """What that run says of each cylinder; empty without one."""


@dataclass(frozen=True)
class DeclineFinding:
    """A cylinder that pulls less from job to job."""

    cylinder: int
    """Which."""
    since: str
    """Day of the first of the runs, ISO 8601 date."""
    strengths: tuple[float, ...]
    """Its strength in each of them, today's last."""
    lost: float
    """Strength lost from the first to the last, by a straight line through all."""
    lost_low: float
    """Lower end of its 95 % interval."""
    lost_high: float
    """Upper end of it."""


class Mended(StrEnum):
    """What the run after a repair shows."""

    YES = "mended"
    NO = "not mended"
    OPEN = "not yet shown"
    NEVER_LOW = "never low"
    """No cylinder was low before, nor is one now."""
    NOT_COMPARED = "not compared"
    """No run under the same conditions was made before."""


@dataclass(frozen=True)
class RepairFinding:
    """What became of every cylinder between the last run before a repair and the last one after it."""

    verdict: Mended
    """All of it in one word."""
    back: tuple[int, ...] = ()
    """Low before, and shown to pull more and not to be low now."""
    still_low: tuple[int, ...] = ()
    """Low before and now."""
    new_low: tuple[int, ...] = ()
    """Low now and not before."""
    unsettled: tuple[int, ...] = ()
    """Low before, and not read, not judged, or not shown to pull more now."""


@dataclass(frozen=True)
class Evidence:
    """One thing known that speaks for or against a cause."""

    text: str
    """In plain words, with its weight: `holds air: 10 times less likely`."""
    factor: float
    """How many times likelier the cause became against its rivals on average; under 1 speaks against."""
    entries: tuple[str, ...] = ()
    """Identifiers of the entries it rests on."""
    what: str = ""
    """What was found, without its weight: `holds air`."""


@dataclass(frozen=True)
class Gate:
    """Whether the cause's part may be ordered."""

    ready: bool
    """True when the cause stands above the threshold and its rivals' checks are done."""
    part: str
    """The part it would mean; empty when none."""
    missing: tuple[str, ...] = ()
    """Checks that must come first, in plain words."""
    overridden: str = ""
    """The reason the technician gave for ordering all the same."""
    chance: float = 0.0
    """Probability, 0 to 1, that this part is what is needed: all causes that mean it together."""


@dataclass(frozen=True)
class Cause:
    """One possible cause with how likely it is."""

    key: str
    """Its key in `causes.toml`."""
    name: str
    """Its name in plain words."""
    cylinder: int | None
    """The cylinder it concerns; none for the whole engine."""
    probability: float
    """Posterior probability, 0 to 1."""
    meaning: str = ""
    """What it is, in plain words."""
    evidence: tuple[Evidence, ...] = ()
    """For and against, strongest first."""
    would_change: str = ""
    """The single result that would change the ranking."""
    gate: Gate | None = None
    """Whether its part may be ordered; none when it means no part."""
    cautions: tuple[str, ...] = ()
    """What can hurt while working on it."""


@dataclass(frozen=True)
class CylinderFinding:
    """A cylinder that does not pull as its peers do, and why."""

    cylinder: int
    """Which."""
    standing: Standing
    """Its standing over all runs."""
    causes: tuple[Cause, ...]
    """Ranked, most likely first; their probabilities add up to one with the engine-wide ones."""
    verdict: str = ""
    """One or two plain sentences: what it is, how sure, what is and is not indicated."""
    contradictions: tuple[str, ...] = ()
    """Evidence that contradicts other evidence, named."""
    past: bool = False
    """True where it was low before the repair and is not known to be now: nothing is to be ordered for it."""
    came_from: int | None = None
    """The cylinder from which the miss came with its injector; none where it did not."""


@dataclass(frozen=True)
class NextCheck:
    """A check worth doing next."""

    subject: str
    """What to check, a `Subject`'s text, or `cut-out run` for a run."""
    cylinder: int | None
    """On which cylinder; none for the whole engine."""
    name: str
    """What to do, in plain words."""
    why: str
    """What it would tell."""
    minutes: float
    """How long it takes."""
    cautions: tuple[str, ...] = ()
    """What can hurt."""
    say: str = ""
    """How to say the result."""


@dataclass(frozen=True)
class Findings:
    """Everything stated about a job."""

    headline: str
    """The most important thing in one or two sentences."""
    runs: tuple[RunFinding, ...] = ()
    """One for each run."""
    comparisons: tuple[Comparison, ...] = ()
    """Runs against each other."""
    by_pressure: tuple[PressureResponse, ...] = ()
    """Every cylinder over the injection pressures that runs were made at."""
    earlier: tuple[EarlierFinding, ...] = ()
    """Earlier jobs on the same machine, oldest first."""
    declines: tuple[DeclineFinding, ...] = ()
    """Cylinders that pull less from job to job."""
    cylinders: tuple[CylinderFinding, ...] = ()
    """Cylinders that do not pull, worst first."""
    engine_causes: tuple[Cause, ...] = ()
    """Causes common to all or to several cylinders, most likely first."""
    next_check: NextCheck | None = None
    """What to check next; none when further checks would not change the decision."""
    runners_up: tuple[NextCheck, ...] = ()
    """The two next best."""
    why_no_check: str = ""
    """Why nothing more need be checked."""
    warnings: tuple[Remark, ...] = ()
    """What the whole job needs the reader to know."""
    outstanding: tuple[Restored, ...] = ()
    """What has not been put back."""
    mended: str = ""
    """After a repair run: whether it is mended, in one sentence."""
    repair: RepairFinding | None = None
    """The same as facts."""
    cautions: tuple[str, ...] = field(default_factory=tuple)
    """Cautions for the work at hand."""
