"""What a parts desk needs to order, from a job and its findings: for a page, a sheet, or a message to paste."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass

from journal.analysis.findings import Findings, Gate
from journal.analysis.words import capital, percent
from journal.output import plain
from journal.output.wanted import reason_for
from journal.output.words import answer_words, engine_text
from journal.record.job import Job, Part, Picture

ASKED = ("Part number", "Superseded by", "Price, with currency", "Availability", "Lead time", "Ordered, arrived")
"""What a desk is asked for each part."""

_MESSAGE_WIDTH = 76
"""Letters in a line of the message: mail wraps what is longer (RFC 5322, 2.1.1, asks for no more than 78)."""


@dataclass(frozen=True)
class Wanted:
    """One part as the desk reads it."""

    part: Part
    """The part, with every answer so far."""
    title: str
    """How many of what, for which cylinder."""
    state: str
    """How far it is."""
    facts: tuple[tuple[str, str], ...]
    """Why it is wanted, the likeliest cause and the evidence: name and value."""
    gate: Gate | None
    """Whether it may be ordered by the evidence; none where nothing is to be said about that."""
    known: tuple[str, ...]
    """What was answered so far, each in a few words."""


@dataclass(frozen=True)
class OrderSheet:
    """A job for the parts desk."""

    title: str
    """The machine and the job's reference."""
    facts: tuple[tuple[str, str], ...]
    """Engine make, model, serial number, hours, reference, technician and the like: name and value."""
    verdict: str
    """What was found."""
    parts: tuple[Wanted, ...]
    """What is wanted."""
    photos: tuple[tuple[Picture, str], ...]
    """Each photo with what it shows, and that it is blurred where it is."""
    ask: str
    """Whom to ask and to answer."""


def order_sheet(job: Job, findings: Findings, reference: str) -> OrderSheet:
    """What a parts desk needs of a job; nothing in it steers what shows it."""
    said = job.facts
    facts = [
        ("Unit", job.unit),
        ("Reference", reference),
        ("Work order", said.get("work order", "")),
        ("Engine make", said.get("make", "") or "not noted"),
        ("Engine model", said.get("model", "") or "not noted"),
        ("Engine serial number", said.get("serial", "") or "not noted"),
        ("Hours", said.get("hours", "") or "not noted"),
        ("Engine", capital(engine_text(job.engine))),
        ("Technician", ", ".join(job.technicians) or "not named"),
        ("Complaint", job.complaint or "none noted"),
    ]
    return OrderSheet(
        title=plain.line(f"{job.unit}, job {reference}"),
        facts=tuple((name, plain.line(value)) for name, value in facts if value),
        verdict=plain.line(findings.headline),
        parts=tuple(_wanted(findings, part) for part in job.parts),
        photos=tuple((picture, plain.line(_shows(picture))) for picture in job.pictures),
        ask=plain.line(whom_to_ask(job, reference)),
    )


def whom_to_ask(job: Job, reference: str) -> str:
    """Whom a parts desk asks about a job: the technician who worked on it last, by the job's reference."""
    who = f"{job.technicians[-1]} at the shop" if job.technicians else "the shop"
    return f"Ask {who}; the job's reference there is {reference}."


def _wanted(findings: Findings, part: Part) -> Wanted:
    wanted, reason = part.wanted.body, reason_for(findings, part)
    facts = [("Why", wanted.reason)]
    if reason is not None:
        facts.append(("Likeliest cause", f"{reason.cause.name}, {percent(reason.cause.probability)}"))
        facts.append(("Evidence", "; ".join(e.text for e in reason.cause.evidence)))
    where = f", cylinder {wanted.cylinder}" if wanted.cylinder else ""
    answer = part.answers[-1].body if part.answers else None
    return Wanted(
        part=part,
        title=plain.line(f"{wanted.quantity} \N{MULTIPLICATION SIGN} {wanted.description}{where}"),
        state=str(answer.state) if answer else "wanted",
        facts=tuple((name, plain.line(value)) for name, value in facts if value),
        gate=reason.gate if reason else None,
        known=tuple(map(plain.line, answer_words(answer))) if answer else (),
    )


def _shows(picture: Picture) -> str:
    photo = picture.photo.body
    where = f", cylinder {photo.cylinder}" if photo.cylinder else ""
    warning = f" (look again: {photo.warning})" if photo.warning else ""
    return f"{capital(photo.subject) or 'Not placed yet'}{where}{warning}"


def gate_line(gate: Gate) -> str:
    """The order gate in one line, as the job's page has it."""
    if gate.overridden:
        return f"Ordered all the same: {gate.overridden}"
    if gate.ready:
        return f"Ready to order: {gate.part}"
    part = f" {gate.part}" if gate.part else ""
    return f"Not ready to order{part}. First: {'; '.join(gate.missing)}"


def as_message(sheet: OrderSheet) -> str:
    """The sheet as text to paste into a message, with room for the answers."""
    lines = [f"Parts wanted: {sheet.title}", "", *(f"{name}: {value}" for name, value in sheet.facts), "",
             f"Verdict: {sheet.verdict}"]  # fmt: skip
    for number, wanted in enumerate(sheet.parts, 1):
        lines += ["", f"{number}. {wanted.title} [{wanted.state}]", *(f"   {name}: {v}" for name, v in wanted.facts)]
        if wanted.gate is not None:
            lines.append(f"   {plain.line(gate_line(wanted.gate))}")
        if wanted.known:
            lines.append(f"   Known: {', '.join(wanted.known)}")
        lines += [f"   {asked}: ...." for asked in ASKED]
    if not sheet.parts:
        lines += ["", "Nothing is wanted now."]
    if sheet.photos:
        lines += ["", f"Photos: {'; '.join(words for _, words in sheet.photos)}"]
    lines += ["", sheet.ask, "The maker's service manual, local codes and licensed practice come first."]
    return "\n".join(wrapped for line in lines for wrapped in _wrapped(line)) + "\n"


def _wrapped(line: str) -> list[str]:
    indent = " " * (len(line) - len(line.lstrip()) + 2)
    return textwrap.wrap(line, _MESSAGE_WIDTH, subsequent_indent=indent, break_on_hyphens=False) or [""]
