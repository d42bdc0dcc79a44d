"""A job and its findings in; its write-up out: complaint, cause, correction, and what they rest on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from journal.analysis.causes.codes import code_text
from journal.analysis.findings import Cause, CylinderFinding, Findings, Mended
from journal.analysis.words import capital, cylinders_in_words, percent
from journal.facts import Entry
from journal.output import plain
from journal.output.lines import entry_time, part_text, picture_text
from journal.output.run_table import run_lines, run_table
from journal.output.wanted import causes_meant
from journal.output.words import check_text, engine_text, pressures_text, run_title, slope_text
from journal.record.job import Job, Picture, Run

WRITTEN_BY = "Who wrote it, and which journal signed that"
"""What stands over who wrote a job's entries."""


@dataclass(frozen=True)
class Section:
    """One headed block of the write-up: sentences, then a table."""

    title: str
    """Its heading."""
    lines: tuple[str, ...] = ()
    """Its sentences, each standing alone."""
    head: tuple[str, ...] = ()
    """Headings of the table's columns; empty when there is no table."""
    rows: tuple[tuple[str, ...], ...] = ()
    """The table's rows."""
    warning: bool = False
    """True for a block that must not be overlooked."""
    figures: bool = False
    """True for a table of figures, which is set in columns wherever there is room."""


@dataclass(frozen=True)
class WriteUp:
    """What goes out of the shop about a job."""

    title: str
    """Which machine."""
    sheet: str
    """What stands on every sheet: the job's reference and the machine."""
    facts: tuple[tuple[str, str], ...]
    """Engine, who and when, state, and the like: name and value."""
    complaint: str
    """What the operator said was wrong."""
    cause: str
    """What was found; the technician's words where they edited it."""
    correction: str
    """What was done, or that nothing was yet; the technician's words where they edited it."""
    sections: tuple[Section, ...]
    """What the three rest on, in reading order."""
    photos: tuple[tuple[str, str], ...]
    """SHA-256 and caption of each photo."""
    cautions: tuple[str, ...]
    """What can hurt."""
    signed: tuple[str, ...]
    """What is to be filled in by hand at the end, each with a line to write on."""


def write_up(job: Job, findings: Findings, written_by: Sequence[str] = (), *, reference: str = "") -> WriteUp:
    """The write-up, with the technician's own words where they replaced the generated ones.

    Args:
        job: the job.
        findings: what is found about it.
        written_by: who wrote its entries and which journals signed them, where some came from elsewhere.
        reference: what people call the job in this journal, which stands on every sheet; empty where it has none.
    """
    sections = [
        _outstanding(job),
        *(
            _cylinder(found, findings.repair is not None and findings.repair.verdict is Mended.YES)
            for found in findings.cylinders
        ),
        _ruled_out(findings),
        _common(findings),
        _next(findings),
        *_numbers(job, findings),
        _checks(job),
        _parts(job, findings),
        _overrides(job),
        Section("Notes", tuple(f.body.text for f in job.notes)),
        Section("Remarks", tuple(capital(remark.text) for remark in findings.warnings)),
        Section(WRITTEN_BY, tuple(written_by)),
    ]
    write = WriteUp(
        title=job.unit,
        sheet=f"Job {reference}, {job.unit}" if reference else job.unit,
        facts=((("Job", reference),) if reference else ()) + _facts(job),
        complaint=job.edits.get("complaint") or _sentence(job.complaint) or "None noted.",
        cause=job.edits.get("cause") or _cause(job, findings),
        correction=job.edits.get("correction") or _correction(job, findings),
        sections=tuple(s for s in sections if s.lines or s.rows),
        photos=tuple((p.photo.body.sha256, _caption(p)) for p in job.pictures),
        cautions=findings.cautions,
        signed=(f"Technician{f' ({job.technicians[-1]})' if job.technicians else ''}", "Date"),
    )
    return _plain(write)


def _plain(write: WriteUp) -> WriteUp:
    """The write-up without any sign that would steer what shows it; a title is one line."""

    def shown(texts: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(map(plain.lines, texts))

    return WriteUp(
        title=plain.line(write.title),
        sheet=plain.line(write.sheet),
        facts=tuple((plain.line(name), plain.line(value)) for name, value in write.facts),
        complaint=plain.lines(write.complaint),
        cause=plain.lines(write.cause),
        correction=plain.lines(write.correction),
        sections=tuple(
            Section(plain.line(s.title), shown(s.lines), s.head, tuple(map(shown, s.rows)), s.warning, s.figures)
            for s in write.sections
        ),
        photos=tuple((sha256, plain.line(caption)) for sha256, caption in write.photos),
        cautions=write.cautions,
        signed=tuple(map(plain.line, write.signed)),
    )


def _sentence(text: str) -> str:
    text = text.strip()
    return capital(text) if not text or text[-1] in ".!?" else f"{capital(text)}."


def _facts(job: Job) -> tuple[tuple[str, str], ...]:
    offset = job.entries[0] if job.entries else None
    facts = [("Engine", capital(engine_text(job.engine))), *((capital(k), v) for k, v in job.facts.items())]
    if offset is not None:
        facts.append(("Opened", entry_time(offset)))
        facts.append(("Last entry", entry_time(job.entries[-1])))
    facts += [("Technician", ", ".join(job.technicians) or "not named"), ("State", capital(str(job.state)))]
    return tuple(facts)


def _cause(job: Job, findings: Findings) -> str:
    """What was found: the cause the job was closed with, or else what the evidence says so far."""
    if job.closed is None or not job.closed.body.text:
        return findings.headline
    where = f" (cylinder {job.closed.body.cylinder})" if job.closed.body.cylinder else ""
    return f"{_sentence(job.closed.body.text)[:-1]}{where}."


def _correction(job: Job, findings: Findings) -> str:
    done = [
        _sentence(f.body.text + (f", cylinder {f.body.cylinder}" if f.body.cylinder else "")) for f in job.repairs
    ] or ["Nothing has been repaired yet."]
    if job.repairs and not findings.mended:
        done.append("The run after the repair has not been made yet: whether it is mended is not shown.")
    return " ".join([*done, findings.mended]).strip()


def _cylinder(found: CylinderFinding, now_mended: bool) -> Section:
    """A low cylinder: its verdict, and each cause worth naming with what speaks for and against it."""
    shown = [c for c in found.causes if c.probability >= 0.02][:5]
    shown += [c for c in found.causes if c.key == "injector" and c not in shown]
    rows = tuple((capital(c.name), percent(c.probability), _speaks(c, True), _speaks(c, False)) for c in shown)
    lines = [found.verdict, *(f"Contradiction: {text}." for text in found.contradictions)]
    top = found.causes[0] if found.causes else None
    if top is not None and top.would_change and not now_mended:
        lines.append(f"What would change this: {top.would_change}")
    return Section(f"Cylinder {found.cylinder}", tuple(lines), ("Cause", "How likely", "For", "Against"), rows)


def _speaks(cause: Cause, supports: bool) -> str:
    return "; ".join(e.text for e in cause.evidence if (e.factor >= 1) is supports) or "-"


def _ruled_out(findings: Findings) -> Section:
    """Causes that hardly remain, those with the same results against them on one line."""
    lines = []
    for found in findings.cylinders:
        together: dict[tuple[str, ...], list[Cause]] = {}
        for cause in found.causes:
            against = tuple(e.what for e in cause.evidence if e.factor < 0.5)
            if cause.probability < 0.02 and against and cause.cylinder is not None and cause.gate is not None:
                together.setdefault(against, []).append(cause)
        for against, causes in together.items():
            named = "; ".join(f"{cause.name}, {percent(cause.probability)}" for cause in causes)
            lines.append(f"Cylinder {found.cylinder}: {named}. Against: {'; '.join(against)}.")
    return Section("Not indicated, and why", tuple(lines))


def _common(findings: Findings) -> Section:
    rows = tuple((c.name, percent(c.probability)) for c in findings.engine_causes if c.probability >= 0.05)
    return Section("For the whole engine, or in common", (), ("Cause", "How likely") if rows else (), rows)


def _next(findings: Findings) -> Section:
    check = findings.next_check
    if check is None:
        return Section("Next check", (findings.why_no_check,) if findings.why_no_check else ())
    lines = [f"{check.name}, about {check.minutes:g} minutes. {check.why}"]
    lines += [f"Or: {other.name}, about {other.minutes:g} minutes." for other in findings.runners_up]
    return Section("Next check", tuple(lines))


def _numbers(job: Job, findings: Findings) -> list[Section]:
    """Each run with its conditions and its table, then the runs against each other."""
    found = {finding.run: finding for finding in findings.runs}
    sections = []
    for run in job.runs:
        finding = found.get(run.id)
        head, rows = run_table(run, finding, job.engine)
        lines = [_when(job, run), *run_lines(run, job.engine)]
        title = run_title(run.start)
        if finding is not None:
            title = finding.title
            if finding.total is not None and finding.total_low is not None and finding.total_high is not None:
                low, high = 100 * finding.total_low, 100 * finding.total_high
                lines.append(f"Shares add up to {100 * finding.total:.0f} % (95 % interval {low:.0f} to {high:.0f} %).")
            after = tuple(c.cylinder for c in finding.contributions if c.after_dead)
            if after:
                fires = "fires" if len(after) == 1 else "fire"
                lines.append(f"{capital(cylinders_in_words(after))} {fires} right after a dead one.")
            lines += [capital(remark.text) for remark in finding.remarks]
            if not finding.trusted:
                lines.append("These readings contradict themselves.")
        sections.append(Section(f"Run {run.number}: {title}", tuple(lines), head, rows, figures=True))
    for comparison in findings.comparisons:
        sections.append(Section(comparison.title, tuple(capital(remark.text) for remark in comparison.remarks)))
    return [*sections, *_by_pressure(findings)]


def _by_pressure(findings: Findings) -> list[Section]:
    """Strength against injection pressure, a row for each cylinder."""
    rows = tuple(
        (str(found.cylinder), pressures_text(found), slope_text(found) or "-") for found in findings.by_pressure
    )
    head = ("Cylinder", "Strength", "Slope") if rows else ()
    return [Section("Strength by injection pressure, with 95 % intervals", (), head, rows)]


def _when(job: Job, run: Run) -> str:
    """When a run was made, by whom."""
    first = next((e for e in job.entries if e.id == run.id), job.entries[0])
    by = f", {plain.line(first.technician)}" if first.technician else ""
    return f"Begun {entry_time(first)}{by}."


def _checks(job: Job) -> Section:
    rows = tuple(
        (entry_time(f.entry), plain.line(f.entry.technician), check_text(f.body), _how(f.entry)) for f in job.checks
    )
    rows += tuple(
        (entry_time(f.entry), plain.line(f.entry.technician), f"trouble code {code_text(f.body)}", _how(f.entry))
        for f in job.codes
    )
    return Section("Checks made", (), ("When", "Who", "Check and result", "How it came in"), rows)


def _how(entry: Entry) -> str:
    return f"{entry.source}: {entry.heard}" if entry.heard else str(entry.source)


def _parts(job: Job, findings: Findings) -> Section:
    """Parts wanted, each with how far it is, why, and what speaks for the cause that it would mend."""
    rows = []
    for part in job.parts:
        wanted = part.wanted.body
        meant = causes_meant(wanted, findings)
        evidence = [e.text for e in meant[0].evidence if e.factor > 1][:3] if meant else []
        rows.append((part_text(part, reason=False), wanted.reason or "-", "; ".join(evidence) or "-"))
    return Section("Parts", (), ("Part and how far it is", "Why", "Evidence"), tuple(rows))


def _overrides(job: Job) -> Section:
    lines = []
    for fact in job.overrides:
        where = f", cylinder {fact.body.cylinder}" if fact.body.cylinder else ""
        lines.append(
            f"{entry_time(fact.entry)}, {plain.line(fact.entry.technician) or 'not named'}: {fact.body.cause}{where}: "
            f"ordered before all checks were made. Reason given: {_sentence(fact.body.reason)}"
        )
    return Section("Ordered against missing checks", tuple(lines), warning=True)


def _outstanding(job: Job) -> Section:
    return Section("Not yet put back", tuple(capital(str(what)) for what in job.outstanding), warning=True)


def _caption(picture: Picture) -> str:
    return capital(picture_text(picture))
