"""A job and its findings in, plain text for a terminal out."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

from journal.analysis.causes.codes import code_text
from journal.analysis.findings import (
    Cause,
    CylinderFinding,
    Findings,
    Level,
    NextCheck,
    PressureResponse,
    RunFinding,
)
from journal.analysis.words import cylinders_in_words, percent
from journal.facts import Entry
from journal.output import plain
from journal.output.words import (
    amount,
    answer_words,
    check_text,
    engine_text,
    pressures_text,
    run_title,
    slope_text,
)
from journal.record.job import Job, Part, Picture, Reading, Run


def job_text(job: Job) -> str:
    """The job as it stands: machine, complaint, runs, readings, checks, photos, parts, what is not put back."""
    lines = [f"{plain.line(job.unit)}: {plain.line(job.complaint) or 'no complaint noted'}", engine_text(job.engine)]
    lines += [f"{name}: {value}" for name, value in job.facts.items()]
    opened = _local(job.opened_at, job.entries[0].offset_minutes if job.entries else 0)
    lines.append(f"state: {job.state}; opened {opened}; by {plain.line(', '.join(job.technicians)) or 'nobody named'}")
    for run in job.runs:
        lines += ["", *_run_lines(run)]
    blocks = [
        ("Conditions", [_reading_text(r) for r in job.conditions]),
        ("Checks", [check_text(fact.body) for fact in job.checks]),
        ("Trouble codes", [code_text(f.body) for f in job.codes]),
        ("Notes", [f.body.text for f in job.notes]),
        ("Photos", [picture_text(p) for p in job.pictures]),
        ("Parts", [part_text(p) for p in job.parts]),
        ("Repairs", [_repair_text(f.body.text, f.body.cylinder) for f in job.repairs]),
        ("Waiting for an answer", [a.question.body.prompt for a in job.waiting]),
        ("Not understood", [f'"{a.question.entry.heard}"' for a in job.not_understood]),
        ("Not yet put back", [str(what) for what in job.outstanding]),
    ]
    for title, entries in blocks:
        if entries:
            lines += ["", title, *(f"  {entry}" for entry in entries)]
    if job.closed is not None:
        words = f": {job.closed.body.text}" if job.closed.body.text else ""
        lines += ["", f"Closed with cause {job.closed.body.cause}{words}"]
    return _shown(lines)


def findings_text(findings: Findings) -> str:
    """The findings: headline, standings, ranked causes with why, next check, what is not put back, cautions."""
    lines = [findings.headline]
    lines += [f"{_mark(remark.level)}{remark.text}" for remark in findings.warnings]
    for run in findings.runs:
        lines += ["", *run_finding_lines(run)]
    for comparison in findings.comparisons:
        lines += ["", comparison.title, *(f"  {_mark(r.level)}{r.text}" for r in comparison.remarks)]
    if findings.by_pressure:
        lines += ["", "Strength by injection pressure, with 95 % intervals", *map(_pressure_line, findings.by_pressure)]
    for cylinder in findings.cylinders:
        lines += ["", *_cylinder_lines(cylinder)]
    engine = [cause for cause in findings.engine_causes if cause.probability >= 0.02]
    if engine:
        lines += ["", "For the whole engine, or in common"]
        lines += [f"  {percent(cause.probability):>9}  {cause.name}" for cause in engine]
    if findings.next_check is not None:
        lines += ["", *_next_lines(findings.next_check)]
        lines += [f"  or: {other.name} ({other.minutes:g} min)" for other in findings.runners_up]
    elif findings.why_no_check:
        lines += ["", findings.why_no_check]
    if findings.cautions:
        lines += ["", "Cautions", *(f"  {caution}" for caution in findings.cautions)]
    return _shown(lines)


def _shown(lines: list[str]) -> str:
    """Lines for a terminal: nothing in them steers it, and what somebody wrote on several is set in, not more lines."""
    return "\n".join(plain.lines(line).replace("\n", "\n      ") for line in lines)


def picture_text(picture: Picture) -> str:
    """What a photo shows and where it belongs."""
    photo = picture.photo.body
    where = f", cylinder {photo.cylinder}" if photo.cylinder is not None else ""
    warning = f" ({photo.warning})" if photo.warning else ""
    return f"{photo.subject or 'not placed yet'}{where}: {photo.name}{warning}"


def part_text(part: Part, *, reason: bool = True) -> str:
    """A wanted part with the latest answer, and the reason unless it stands elsewhere."""
    wanted = part.wanted.body
    text = f"{wanted.quantity} x {wanted.description}"
    if wanted.cylinder is not None:
        text += f", cylinder {wanted.cylinder}"
    if wanted.reason and reason:
        text += f" ({wanted.reason})"
    if not part.answers:
        return f"{text}: wanted"
    answer = part.answers[-1].body
    return ", ".join([f"{text}: {answer.state}", *answer_words(answer)])


def run_finding_lines(run: RunFinding) -> list[str]:
    """A run's title and each cylinder's share, interval and standing."""
    lines = [f"Run {run.number}: {run.title}"]
    for c in run.contributions:
        after = ", right after a dead one" if c.after_dead else ""
        interval = f"{100 * c.low:.0f} to {100 * c.high:.0f}"
        lines.append(f"  cylinder {c.cylinder:>2}: {100 * c.share:5.1f} % ({interval}), {c.standing}{after}")
    if run.total is not None and run.total_low is not None and run.total_high is not None:
        trusted = "" if run.trusted else ", not to be trusted"
        interval = f"{100 * run.total_low:.0f} to {100 * run.total_high:.0f}"
        lines.append(f"  in all:      {100 * run.total:5.1f} % ({interval}) of the work, by the rises alone{trusted}")
    if run.missing:
        lines.append(f"  not read yet: {cylinders_in_words(run.missing)}")
    return lines + [f"  {_mark(remark.level)}{remark.text}" for remark in run.remarks]


def _pressure_line(found: PressureResponse) -> str:
    slope = slope_text(found)
    return f"  cylinder {found.cylinder:>2}: {pressures_text(found)}" + (f"; {slope}" if slope else "")


def _cylinder_lines(found: CylinderFinding) -> list[str]:
    lines = [found.verdict]
    for cause in [c for c in found.causes if c.probability >= 0.02][:5]:
        lines += _cause_lines(cause)
    injector = next((c for c in found.causes if c.key == "injector" and c.probability < 0.02), None)
    if injector is not None:
        lines += _cause_lines(injector)
    return lines + [f"  contradicts: {text}" for text in found.contradictions]


def _cause_lines(cause: Cause) -> list[str]:
    lines = [f"  {percent(cause.probability):>9}  {cause.name}"]
    lines += [f"             {'+' if e.factor >= 1 else '-'} {e.text}" for e in cause.evidence[:6]]
    if cause.would_change:
        lines.append(f"             ? {cause.would_change}")
    return lines


def _next_lines(check: NextCheck) -> list[str]:
    lines = [f"Next: {check.name} ({check.minutes:g} min)", f"  {check.why}"]
    if check.say:
        lines.append(f"  say, for example: {check.say}")
    return lines + [f"  ! {caution}" for caution in check.cautions]


def _run_lines(run: Run) -> list[str]:
    lines = [f"Run {run.number}: {run_title(run.start)}"]
    lines += [f"  baseline {_reading_text(r)}" for r in run.baselines]
    lines += [f"  {_reading_text(r)}" for r in (*run.cuts, *run.conditions)]
    return lines


def _reading_text(reading: Reading) -> str:
    value = "no change" if reading.value is None else amount(reading.value, reading.unit)
    if reading.cylinder is not None:
        return f"cylinder {reading.cylinder} cut: {value}"
    return f"{reading.quantity} {value}"


def _repair_text(text: str, cylinder: int | None) -> str:
    return f"{text}, cylinder {cylinder}" if cylinder is not None else text


def _mark(level: Level) -> str:
    return {Level.DANGER: "DANGER: ", Level.WARNING: "! ", Level.REMARK: ""}[level]


def _local(at: datetime, offset_minutes: int) -> str:
    return at.astimezone(timezone(timedelta(minutes=offset_minutes))).strftime("%Y-%m-%d %H:%M")


def entry_time(entry: Entry) -> str:
    """When an entry was made, in the local time of where it was made."""
    return _local(entry.at_utc, entry.offset_minutes)
