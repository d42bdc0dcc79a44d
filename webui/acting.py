"""What is done on a page becomes entries: one session for one act, with who did it and that it came from a page."""

from __future__ import annotations

import re

from flask import flash, request
from flask import session as cookie

from journal.analysis.words import capital
from journal.errors import BadInput, NotFound
from journal.facts import Body, Entry, Source
from journal.record.job import Job
from journal.session import Session
from journal.wording.types import Verdict
from webui.shop import shop

DESK = "parts desk"
"""Who made an entry that came in by a desk link."""

LONGEST_TEXT = 4000
"""The longest text taken from one field, characters."""


def acting(job_id: str, source: Source = Source.PAGE) -> Session:
    """A session on the job for whoever is at this device.

    Raises:
        NotFound: when there is no such job.
    """
    who = DESK if source is Source.DESK else str(cookie.get("technician", ""))
    return Session(shop().store, job_id, who, source)


class WrongField(BadInput):
    """What stands in one field makes no sense; the page says so beside that field."""

    def __init__(self, name: str, words: str) -> None:
        super().__init__(words)
        self.field = name


class Doubted(BadInput):
    """Words that would be asked about if they were spoken."""


_WHOLE = re.compile(r"[+-]?[0-9]+")
_REAL = re.compile(r"[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)")


def field(name: str, longest: int = LONGEST_TEXT) -> str:
    """A form's field without the space around it; `WrongField` when it is too long."""
    text = request.form.get(name, "").replace("\r\n", "\n").strip()
    if len(text) > longest:
        words = f"{name.replace('_', ' ')}: {len(text)} characters are too many; at most {longest} can be kept"
        raise WrongField(name, words)
    return text


def whole(name: str) -> int | None:
    """A form's field as a whole number; none when empty, `WrongField` when it is something else."""
    text = field(name, 20)
    if text and not _WHOLE.fullmatch(text):
        raise WrongField(name, f"{name.replace('_', ' ')} {text!r}: give a whole number")
    return int(text) if text else None


def real(name: str) -> float | None:
    """A form's field as a number, with a point or a comma; none when empty, `WrongField` when it is something else."""
    text = field(name, 30)
    if text and not _REAL.fullmatch(text):
        raise WrongField(name, f"{name.replace('_', ' ')} {text!r}: give a number")
    return float(text.replace(",", ".")) if text else None


def cylinder_of(job: Job, name: str = "cylinder") -> int | None:
    """A form's cylinder, one this engine has; none when empty."""
    number = whole(name)
    if number is not None:
        job.engine.require(number)
    return number


def entry_of(job: Job, entry_id: str) -> Entry:
    """The job's entry with this identifier; `NotFound` when it has none."""
    for entry in job.entries:
        if entry.id == entry_id:
            return entry
    raise NotFound("this job has no such entry; open the job's review to see what it has")


def meant(job_id: str, text: str, *, sure: bool = False) -> Body:
    """The one fact that typed words say, as the same words spoken would; `sure` where a doubt was answered.

    Raises:
        Doubted: when they say one thing that would be asked about.
        BadInput: when they say nothing that can be entered, or more than one thing.
    """
    from journal.context import context_of
    from journal.record.shop_units import kept_units
    from journal.wording import decide_text

    decisions = decide_text(text, context_of(shop().state(job_id).job, kept_units(shop().folder)))
    bodies = [d.meaning for d in decisions if d.verdict is not Verdict.LET_GO and isinstance(d.meaning, Body)]
    if len(bodies) == 1 and len(decisions) == 1:
        if decisions[0].verdict is Verdict.ASK and not sure:
            raise Doubted(f"{decisions[0].prompt.rstrip('?')}? {capital(decisions[0].reason)}.")
        return bodies[0]
    if len(decisions) > 1:
        raise BadInput(f"{text!r} says more than one thing: give them one at a time")
    why = decisions[0].prompt or decisions[0].reason if decisions else ""
    raise BadInput(f"{text!r} cannot be entered as it is{f': {why}' if why else ''}; say it as at the engine")


def done(words: str) -> None:
    """Tell whoever is at this device that something was done."""
    flash(words, "good")
