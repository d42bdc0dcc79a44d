"""Jobs for the analysis tests, made of bodies through the same replay as any other."""

from datetime import UTC, datetime, timedelta

from journal.analysis import Findings, diagnose
from journal.facts import Baseline, Body, Cut, Engine, Entry, JobOpened, Quantity, RunKind, RunStarted, new_id
from journal.record.job import Job
from journal.record.replay import replay

START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
SIX = Engine(6, (1, 5, 3, 6, 2, 4))


def job_of(engine: Engine, *bodies: Body, seconds: float = 15.0) -> Job:
    """A job of these bodies, said `seconds` apart."""
    entries = []
    for number, body in enumerate((JobOpened("pump set", engine), *bodies)):
        at = START + timedelta(seconds=seconds * number)
        entries.append(Entry(new_id(at), "job", at, body))
    return replay(entries)


def readings(baseline: float | None, cuts: dict[int, float | None]) -> tuple[Body, ...]:
    """A baseline and cut readings in the order given; none for no change."""
    said: list[Body] = [] if baseline is None else [Baseline(baseline)]
    said += [Cut(c, v) if v is not None else Cut(c, no_change=True) for c, v in cuts.items()]
    return tuple(said)


def found(engine: Engine, start: RunStarted, baseline: float | None, cuts: dict[int, float | None]) -> Findings:
    """The findings of a job with one run."""
    return diagnose(job_of(engine, start, *readings(baseline, cuts)))


def idle(baseline: float | None, cuts: dict[int, float | None], engine: Engine = SIX) -> Findings:
    """The findings of a job with one idle run, fuel per stroke."""
    return found(engine, RunStarted(RunKind.IDLE, Quantity.FUEL_PER_STROKE), baseline, cuts)
