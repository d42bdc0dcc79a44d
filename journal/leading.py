"""A job and what was passed over in, the reading that the journal asks for next out, and how it asks for it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from journal.analysis.findings import Findings, Standing
from journal.analysis.words import capital, listed
from journal.facts import Baseline, Condition, Cut, Quantity, RunKind
from journal.record.job import Job, Reading, Run
from journal.wording.numbers import spell

OLD = timedelta(minutes=10)
"""After so long the baseline, and the speed where it was told, are read again before the next cut (common practice, no
source)."""

MOST_REPEATS = 3
"""So many readings are asked for once more in one run."""

Asked = Cut | Baseline | Condition
"""What a bare number is taken for; its own number means nothing."""


@dataclass
class Lead:
    """Leads one job's runs: what it asks for follows from the job, but for what was skipped or is to be read again."""

    findings: Callable[[], Findings]
    """Studies the job as it stands."""
    _run: str = ""
    """The run that what follows is about."""
    _skipped: list[tuple[int, int]] = field(default_factory=list)
    """How many cuts the run had, and the cylinder that was skipped then."""
    _again: Cut | Baseline | None = None
    """What was asked for once more by the technician."""
    _repeated: list[Cut | Baseline] = field(default_factory=list)
    """What was asked for once more by the journal."""
    _before: int = field(init=False)
    """How often the last of that was read when it was asked for; -1 once it is not wanted any more."""
    ended: str = ""
    """The run whose end was told."""

    def asks(self, job: Job, now: datetime) -> Asked | None:
        """What is to be read next; none when the run is read, or while a question waits."""
        run = job.run_in_progress
        if run is None or not run.baselines:
            return Baseline(0.0)
        if run.id != self._run:
            self._run, self._skipped, self._again, self._repeated = run.id, [], None, []
        if self._again is not None:
            return self._again
        following = job.engine.next_to_cut(self._handled(run), run.start.held_out)
        if following is None:
            return self._worth_repeating(run)
        return _grown_old(run, now) or Cut(following, 0.0)

    def _handled(self, run: Run) -> list[int]:
        """The cylinders cut and skipped, in the order in which that was done."""
        handled = [each.cylinder for each in run.cuts if each.cylinder is not None]
        # From the last on, so that each finds its place; one skipped after a reading that was taken back stays skipped.
        for before, cylinder in reversed(self._skipped):
            handled.insert(before, cylinder)
        return handled

    def _worth_repeating(self, run: Run) -> Cut | Baseline | None:
        """The reading that the analysis would settle something by, where it was not asked for again yet."""
        finding = next((found for found in self.findings().runs if found.run == run.id), None)
        if finding is None or len(self._repeated) >= MOST_REPEATS:
            return self._open_repeat(run)
        doubted: list[Cut | Baseline] = [
            Baseline(0.0) if each.cylinder is None else Cut(each.cylinder, 0.0) for each in finding.suspects
        ]
        times = [each.cylinder for each in run.cuts]
        for share in finding.contributions:
            needed = share.repeats_needed
            if share.standing is Standing.UNCLEAR and needed and times.count(share.cylinder) < needed <= MOST_REPEATS:
                doubted.append(Cut(share.cylinder, 0.0))
        fresh = [each for each in doubted if each not in self._repeated]
        if self._open_repeat(run) is None and fresh:
            self._repeated.append(fresh[0])
            self._before = _count(run, fresh[0])
        return self._open_repeat(run)

    def _open_repeat(self, run: Run) -> Cut | Baseline | None:
        """What was asked for once more and not read since."""
        if not self._repeated or _count(run, self._repeated[-1]) > self._before:
            return None
        return self._repeated[-1]

    def read(self, body: object) -> None:
        """Note that something was entered: what was to be read again was."""
        if self._again is not None and _same(self._again, body):
            self._again = None

    def skip(self, job: Job, now: datetime) -> str:
        """Pass over what is asked for; what was passed over, in words, empty when nothing is asked for."""
        asked, run = self.asks(job, now), job.run_in_progress
        if asked is None or run is None or not run.baselines:
            return ""
        if asked == self._again:
            self._again = None
        elif isinstance(asked, Cut) and self._open_repeat(run) is None:
            self._skipped.append((len(run.cuts), asked.cylinder))
        else:
            self._before = -1
        return f"{words(asked)} skipped"

    def again(self, job: Job) -> str:
        """Ask for the last reading once more; its words, empty where nothing was read."""
        last = _last(job.run_in_progress)
        if last is None:
            return ""
        self._again = Baseline(0.0) if last.cylinder is None else Cut(last.cylinder, 0.0)
        return f"{words(self._again)} again"

    def back(self, job: Job) -> str | Reading:
        """Go back by one: what was skipped, in words, is asked for after all; else the reading to be taken back.

        An empty text where there is nothing to go back to.
        """
        run = job.run_in_progress
        self._again = None
        if run is not None and self._skipped and self._skipped[-1][0] == len(run.cuts):
            return f"back to {spell(self._skipped.pop()[1])}"
        return _last(run) or ""


def _count(run: Run, asked: Cut | Baseline) -> int:
    if isinstance(asked, Baseline):
        return len(run.baselines)
    return sum(each.cylinder == asked.cylinder for each in run.cuts)


def _last(run: Run | None) -> Reading | None:
    """The run's last baseline or cut."""
    return max((*run.baselines, *run.cuts), key=lambda each: (each.at_utc, each.entry), default=None) if run else None


def _same(asked: Asked, body: object) -> bool:
    match asked, body:
        case Cut(), Cut():
            return asked.cylinder == body.cylinder
        case Baseline(), Baseline():
            return True
        case _:
            return False


def _grown_old(run: Run, now: datetime) -> Baseline | Condition | None:
    """What is to be read again before the next cut."""
    if now - run.baselines[-1].at_utc > OLD:
        return Baseline(0.0)
    speeds = [each for each in run.conditions if each.quantity is Quantity.ENGINE_SPEED]
    if speeds and now - speeds[-1].at_utc > OLD:
        return Condition(Quantity.ENGINE_SPEED, 0.0)
    return None


def words(asked: Asked) -> str:
    """What is asked for, as it is spoken."""
    match asked:
        case Cut(cylinder):
            return spell(cylinder)
        case Baseline():
            return "baseline"
        case Condition(quantity):
            return str(quantity).removeprefix("engine ")


def in_brief(findings: Findings) -> str:
    """What was found, as short as it can be said: the microphone is deaf meanwhile, and causes stand on the page."""
    low = [f"cylinder {spell(each.cylinder)} is {each.standing}" for each in findings.cylinders if not each.past]
    if not low:
        return findings.mended or findings.headline
    return f"{findings.mended} {capital(listed(low))}.".strip()


def spoken(asked: Asked | None, job: Job, found: str) -> str:
    """What is said to ask for it; at a run's end what it found, and how to go on.

    Args:
        asked: what is asked for.
        job: the job.
        found: what was found.
    """
    if asked is None:
        return f"The run is read. {found} {_further(job)}".strip()
    run = job.run_in_progress
    old = isinstance(asked, Baseline | Condition) and run is not None and run.baselines
    repeat = isinstance(asked, Cut) and run is not None and any(c.cylinder == asked.cylinder for c in run.cuts)
    text = words(asked)
    return f"{text[0].upper()}{text[1:]}{' again' if old or repeat else ''}."


def _further(job: Job) -> str:
    """How to go on, for a run that has not been done."""
    kinds = {run.start.run for run in job.runs}
    if RunKind.HALF_ENGINE not in kinds and job.engine.cylinders > 3:
        half = ", ".join(spell(c) for c in job.engine.numbers[job.engine.cylinders // 2 :])
        return f"For half engine say: half engine, {half} out."
    if not any(run.start.pressure or run.start.pressure_value for run in job.runs):
        return "For another injection pressure say: same again at high pressure."
    return ""
