"""One form for what is known of all a job's parts: what was typed in, entries or what is wrong with it out."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date

from journal.analysis.findings import Findings, Gate
from journal.facts import PartAnswer, PartState
from journal.output.wanted import reason_for
from journal.record.job import Job, Part

FIELDS: dict[str, tuple[str, int]] = {
    "number": ("Part number", 80),
    "superseded_by": ("Superseded by", 80),
    "price": ("Price, with currency", 40),
    "availability": ("Availability", 120),
    "lead_time": ("Lead time", 60),
    "date": ("Expected", 10),
    "note": ("Note", 400),
}
"""What may be said of a part: the words beside the field, and how long it may be, characters."""

NOT_ORDERED = ""
"""How far a part is that was answered but not ordered; whether it is then priced follows from its price."""

DESK_SAYS = (NOT_ORDERED, PartState.ORDERED, PartState.ARRIVED)
"""How far the parts desk may say that a part is."""

SHOP_SAYS = (*DESK_SAYS, PartState.FITTED, PartState.NOT_NEEDED)
"""How far the shop may say that a part is."""

SETTLED = (PartState.FITTED, PartState.NOT_NEEDED)
"""What only the shop says, and the desk does not change any more."""


@dataclass
class Row:
    """One part of the form."""

    part: Part
    """The part, with every answer so far."""
    typed: dict[str, str]
    """What stands in its fields, by name; `far` is how far it is."""
    seen: str
    """Identifier of the answer that the form was made from; empty for none."""
    wrong: dict[str, str] = field(default_factory=dict)
    """What is wrong with a field, by its name."""
    too_soon: bool = False
    """Whether it was said to be ordered before the checks for it are done, and that it is meant has to be said."""

    @property
    def id(self) -> str:
        """The part's identifier, which ends its fields' names."""
        return self.part.wanted.entry.id

    @property
    def over(self) -> bool:
        """Whether the shop has settled it."""
        return bool(self.part.answers) and self.part.answers[-1].body.state in SETTLED


def blank(job: Job) -> list[Row]:
    """A row for each part, filled in with what is known."""
    rows = []
    for part in job.parts:
        last = part.answers[-1] if part.answers else None
        rows.append(Row(part, _known(last.body if last else None), last.entry.id if last else ""))
    return rows


def _known(answer: PartAnswer | None) -> dict[str, str]:
    if answer is None:
        return {**dict.fromkeys(FIELDS, ""), "far": NOT_ORDERED}
    far = str(answer.state) if answer.state in SHOP_SAYS else NOT_ORDERED
    return {**{name: str(getattr(answer, name)) for name in FIELDS}, "far": far}


def read(
    job: Job, findings: Findings, form: Mapping[str, str], may_say: Sequence[str], *, settled: bool
) -> tuple[list[Row], list[PartAnswer]]:
    """Every part as it was typed, and what to enter: all of it, or nothing where a row has something wrong.

    Only what was changed against what the form was made from counts, so that a page left open overwrites nothing that
    came meanwhile.

    Args:
        job: the job as it stands.
        findings: what was found, which says what is ready to order.
        form: fields named `NAME-PART`; `anyway-PART` is there where a part is ordered all the same.
        may_say: how far whoever fills it in may say that a part is.
        settled: whether they may change what the shop has settled.
    """
    rows, answers = [], []
    for row in blank(job):
        sent = {name: form[key] for name in (*FIELDS, "far") if (key := f"{name}-{row.id}") in form}
        if not sent:
            rows.append(row)
            continue
        seen = form.get(f"seen-{row.id}", row.seen)
        base = _known(next((a.body for a in row.part.answers if a.entry.id == seen), None))
        typed = {name: text.replace("\r\n", "\n").strip() for name, text in sent.items()}
        changed = {name: text for name, text in typed.items() if text != base[name]}
        now = Row(row.part, {**row.typed, **changed}, row.seen)
        rows.append(now)
        if not changed:
            continue
        now.wrong = _wrong(changed, may_say)
        if row.over and not settled:
            now.wrong["far"] = f"the shop says that this part is {row.part.answers[-1].body.state}: ask there"
        gate = _gate_before(row.part, findings) if changed.get("far") == PartState.ORDERED else None
        if not now.wrong and gate is not None and f"anyway-{row.id}" not in form:
            now.too_soon = True
            now.wrong["far"] = f"not ready to order, first: {'; '.join(gate.missing)}"
        if not now.wrong:
            answers.append(_answer(now, changed))
    return rows, [] if any(row.wrong for row in rows) else answers


def _gate_before(part: Part, findings: Findings) -> Gate | None:
    """The gate that says that a part is not ready to order; none where none says so."""
    reason = reason_for(findings, part)
    gate = reason.gate if reason is not None else None
    return gate if gate is not None and not gate.ready and not gate.overridden else None


def _wrong(changed: Mapping[str, str], may_say: Sequence[str]) -> dict[str, str]:
    wrong = {}
    for name, text in changed.items():
        if name == "far":
            if text not in may_say:
                offered = ", ".join(str(state) or "not ordered" for state in may_say)
                wrong[name] = f"choose one of {offered}"
        elif len(text) > (most := FIELDS[name][1]):
            wrong[name] = f"{len(text)} characters are too many; at most {most} can be kept"
        elif name == "date" and text and not _is_day(text):
            wrong[name] = f"date {text!r}: write it like 2026-03-01"
    return wrong


def _is_day(text: str) -> bool:
    try:
        return date.fromisoformat(text).isoformat() == text
    except ValueError:
        return False


def _answer(row: Row, changed: Mapping[str, str]) -> PartAnswer:
    known = row.part.answers[-1].body if row.part.answers else PartAnswer(row.id, PartState.WANTED)
    said = {name: changed.get(name, str(getattr(known, name))) for name in FIELDS}
    new = PartAnswer(row.id, known.state, **said)
    if far := changed.get("far", ""):
        return replace(new, state=PartState(far))
    if "far" in changed or known.state in (PartState.WANTED, PartState.ANSWERED, PartState.PRICED):
        return replace(new, state=PartState.PRICED if new.price else PartState.ANSWERED)
    return new
