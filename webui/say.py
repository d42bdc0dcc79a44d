"""Facts to the words a page shows: times, amounts, readings, engines; and the few shapes that stand for a standing."""

from __future__ import annotations

import re
from collections.abc import Iterable
from datetime import datetime, timedelta, timezone
from functools import cache
from typing import Any

from flask import Flask
from markupsafe import Markup, escape

from journal.analysis import words as causes_words
from journal.analysis.causes.codes import code_text
from journal.analysis.findings import Level, PressureResponse, Standing
from journal.analysis.words import capital, listed
from journal.facts import UNITS, Baseline, Body, Check, Engine, Entry, JobOpened, Photo, RunStarted
from journal.facts.quantities import PRINTED_UNITS
from journal.output import cautions, words
from journal.output import plain as plain_text
from journal.output.chart_parts import mark
from journal.output.writeup_html import NOT_HERE
from journal.record.job import Job, JobState, Reading, Run
from webui.said import said as said_plainly

_MEASURED = re.compile(rf"(?<=\d )(?:{'|'.join(map(re.escape, PRINTED_UNITS))})(?!\w)")

NO_BREAK_PERCENT = "\N{NO-BREAK SPACE}%"
"""A space and a per cent sign that stay on the line of their number."""

SHORT_ORDER = 20
"""A firing order up to this long stays on one line, characters: it fits beside its words on a phone."""

_STATE_CLASS = {
    JobState.OPEN: "state-open",
    JobState.WAITING: "state-waiting",
    JobState.TO_VERIFY: "state-verify",
    JobState.CLOSED: "state-closed",
}


def local(at_utc: datetime, offset_minutes: int = 0) -> datetime:
    """The same moment in the local time of where it was made."""
    return at_utc.astimezone(timezone(timedelta(minutes=offset_minutes)))


def day(at_utc: datetime, offset_minutes: int = 0) -> str:
    """`2026-03-01 09:15`, local."""
    return local(at_utc, offset_minutes).strftime("%Y-%m-%d %H:%M")


def clock(entry: Entry) -> str:
    """`09:15:30`, local to the entry."""
    return local(entry.at_utc, entry.offset_minutes).strftime("%H:%M:%S")


def second(entry: Entry) -> str:
    """`2026-03-01 09:15:30`, local to the entry."""
    return local(entry.at_utc, entry.offset_minutes).strftime("%Y-%m-%d %H:%M:%S")


def unit(name: str) -> str:
    """A unit as printed."""
    return PRINTED_UNITS.get(name, name)


def amount(value: float | None, unit_name: str = "") -> str:
    """A number with its unit, without needless zeros."""
    if value is None:
        return "no change"
    return words.amount(value, unit(unit_name)).replace("-", "−")


def reading(item: Reading) -> str:
    """A reading's number, or that it did not change."""
    return "no change" if item.no_change else amount(item.value, item.unit)


def share(value: float) -> str:
    """A share of the work, or a sum of shares, as whole percent; never under nothing."""
    return f"{max(0, round(value * 100))}{NO_BREAK_PERCENT}"


def percent(chance: float) -> str:
    """A chance for reading: `97 %`, `under 1 %`."""
    return printed(causes_words.percent(chance))


def printed(text: str) -> str:
    """A sentence of the analysis as printed: units as elsewhere on the page, no number apart from its per cent."""
    return _MEASURED.sub(lambda found: unit(found[0]), text).replace(" %", NO_BREAK_PERCENT)


def said(body: Body) -> str:
    """A body in a line, with a capital, its units as elsewhere on the page."""
    return printed(said_plainly(body))


def moment(text: str) -> str:
    """An ISO 8601 moment as `2026-03-01 09:15`, as it stands; anything else as it is."""
    try:
        return datetime.fromisoformat(text).strftime("%Y-%m-%d %H:%M")
    except ValueError:
        return text


def spoken(text: str) -> Markup:
    """A sentence of the analysis, with what it says between backticks set as words to say."""
    text = printed(text)
    pieces = text.split("`")
    quoted = (Markup("<q>{}</q>").format(piece) if place % 2 else escape(piece) for place, piece in enumerate(pieces))
    return Markup("").join(quoted) if len(pieces) % 2 else escape(text)


def numbers(cylinders: Iterable[int]) -> str:
    """`1, 2 and 5`."""
    return listed([str(c) for c in cylinders])


def engine(layout: Engine) -> str:
    """An engine's layout in a line."""
    return capital(words.engine_text(layout))


def engine_line(layout: Engine) -> Markup:
    """The same for a page's line: a firing order stays in one piece where there is room for it."""
    before, _, order = engine(layout).rpartition(" ")
    stays = Markup(' class="nowrap"') if len(order) <= SHORT_ORDER else ""
    return Markup("{} <span{}>{}</span>").format(before, stays, order)


def run_title(start: RunStarted) -> str:
    """A run's kind and conditions in words."""
    return capital(words.run_title(start, amount))


def check_name(check: Check) -> str:
    """What was checked and where."""
    return capital(words.check_name(check))


def check_outcome(check: Check) -> str:
    """How a check came out, in words."""
    return words.check_outcome(check, amount)


def state_class(state: JobState) -> str:
    """The style class of a job's state."""
    return _STATE_CLASS[state]


def level_word(level: Level) -> str:
    """The word that opens a remark, so that colour is not its only sign."""
    return {Level.DANGER: "Danger:", Level.WARNING: "Careful:", Level.REMARK: "Note:"}[level]


def bore() -> Markup:
    """A bore half filled, seen from the side: the sign of this journal."""
    return Markup(
        '<svg viewBox="0 0 20 24" width="20" height="24" aria-hidden="true" focusable="false">'
        '<rect x="3" y="2" width="14" height="20" rx="1" fill="none" stroke="currentColor" stroke-width="2"/>'
        '<path d="M5 9h10v11H5z" fill="currentColor"/></svg>'
    )


@cache
def by_pressure(found: PressureResponse) -> str:
    """How a cylinder pulls at each injection pressure, with 95 % intervals."""
    slope = words.slope_text(found)
    return printed(words.pressures_text(found) + (f"; {slope}" if slope else ""))


def standing(value: Standing) -> Markup:
    """A standing as a tag: the mark it has in the charts, and the word."""
    shape = Markup(
        '<svg viewBox="0 0 16 16" width="16" height="16" aria-hidden="true" focusable="false">{}</svg>'
    ).format(Markup(mark(8, 8, value)))
    return Markup('<span class="tag standing-{}">{}{}</span>').format(str(value), shape, str(value))


def unit_of_run(run: Run) -> str:
    """The unit of a run's own readings, as the journal keeps it."""
    return run.start.unit or UNITS[run.start.quantity][0]


def bare(item: Reading, run: Run) -> str:
    """A reading's number; with its unit only where that is not its run's own."""
    own = item.quantity == run.start.quantity and item.unit == unit_of_run(run)
    return "no change" if item.no_change else amount(item.value, "" if own else item.unit)


def plain(value: float | None) -> str:
    """A number as a form's field takes it; empty for none."""
    return "" if value is None else f"{value:.10g}"


def verdict_word(verdict: str) -> str:
    """What became of something heard, with its own sign."""
    return {"take": "✓ Entered:", "ask": "? Asked:", "let go": "– Let go:"}.get(verdict, "")


def level_words(level_db: float | None) -> str:
    """An input level (dBFS) in words beside its meter; the page's script says the same."""
    if level_db is None:
        return "no sound level now"
    return f"{round(level_db)} dB, {'quiet' if level_db < -55 else 'too loud' if level_db > -3 else 'good'}"


def offset_of(job: Job) -> int:
    """Local time minus UTC where the job was opened, minutes."""
    return job.entries[0].offset_minutes if job.entries else 0


def _shown(value: Any) -> Any:
    """What a page is about to show without any sign that would steer a terminal, a title or the order of letters."""
    if isinstance(value, Markup):
        return Markup(plain_text.lines(value)) if value else value
    return plain_text.lines(value) if isinstance(value, str) else value


def teach(app: Flask) -> None:
    """Give the templates these words."""
    app.jinja_env.finalize = _shown
    for filter_ in (
        amount, bare, by_pressure, check_name, check_outcome, clock, code_text, day, engine, engine_line, level_word,
        level_words, numbers, percent, moment, plain, printed, reading, run_title, said, second, share, spoken,
        standing, state_class, unit, unit_of_run,
    ):  # fmt: skip
        app.jinja_env.filters[filter_.__name__] = filter_
    app.jinja_env.filters["answer_words"] = words.answer_words
    app.jinja_env.filters["capitalize_first"] = capital
    app.jinja_env.tests["photo"] = lambda body: isinstance(body, Photo)
    app.jinja_env.tests["baseline"] = lambda body: isinstance(body, Baseline)
    app.jinja_env.tests["opening"] = lambda body: isinstance(body, JobOpened)
    app.jinja_env.globals.update(bore=bore, not_here=NOT_HERE, offset_of=offset_of, verdict_word=verdict_word)
    app.jinja_env.globals.update(cautions=cautions, whole_cautions=cautions.whole)
