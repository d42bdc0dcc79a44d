"""What the reader needs to know besides causes: what is not put back, parts asked for too soon, what was not used."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from journal.analysis.causes.evidence import Gathered
from journal.analysis.causes.history import History
from journal.analysis.causes.tables import Tables
from journal.analysis.findings import CylinderFinding, Level, Remark
from journal.analysis.words import capital, listed
from journal.facts import PartState, Restored
from journal.record.job import Job

_PUT_BACK = {
    Restored.CYLINDERS: "Cylinders were held out for a run and are not back in yet, as far as was said: "
    "put them back, then say `all cylinders back in`.",
    Restored.PRESSURE: "Injection pressure was overridden for a run and is not back yet, as far as was said: "
    "put it back, then say `pressure override off`.",
}
_NOT_YET_BOUGHT = frozenset({PartState.WANTED, PartState.ANSWERED, PartState.PRICED})


def warnings_of(
    book: Tables, job: Job, found: Gathered, cylinders: Sequence[CylinderFinding], history: History | None
) -> tuple[Remark, ...]:
    """Warnings first, then remarks."""
    warnings = [Remark(Level.WARNING, _PUT_BACK[what]) for what in job.outstanding]
    warnings += _too_soon(book, job, cylinders)
    remarks = [Remark(Level.REMARK, text, entries) for text, entries in found.remarks]
    if history is not None and history.jobs:
        jobs = f"{history.jobs} closed job{'s' if history.jobs != 1 else ''}"
        said = f"Base rates have learnt from {jobs} of this shop; this can be switched off."
        remarks.append(Remark(Level.REMARK, said))
    return (*warnings, *remarks)


def _too_soon(book: Tables, job: Job, cylinders: Sequence[CylinderFinding]) -> Iterable[Remark]:
    """Parts asked for whose gate is not open yet."""
    by_cylinder = {found.cylinder: found for found in cylinders}
    gone_to = {found.came_from: found for found in cylinders if found.came_from is not None}
    for part in job.parts:
        wanted = part.wanted.body
        state = part.answers[-1].body.state if part.answers else PartState.WANTED
        found = by_cylinder.get(wanted.cylinder) if wanted.cylinder is not None else None
        moved = gone_to.get(wanted.cylinder) if found is None and wanted.cylinder is not None else None
        if moved is not None and "injector" in wanted.description.lower():
            found = moved
            yield Remark(
                Level.WARNING,
                f"{capital(wanted.description)} is wanted for cylinder {wanted.cylinder}, but the miss went with the "
                f"injector: the one to take out sits in cylinder {moved.cylinder} now.",
                (part.wanted.entry.id,),
            )
        if state not in _NOT_YET_BOUGHT or found is None:
            continue
        meant = [c for c in found.causes if any(w in wanted.description.lower() for w in book.causes[c.key].part_words)]
        gates = [cause.gate for cause in meant if cause.gate is not None]
        if gates and not any(gate.ready or gate.overridden for gate in gates):
            yield Remark(
                Level.WARNING,
                f"{wanted.description} is wanted for cylinder {wanted.cylinder}, but it is not ready to order; "
                f"missing: {listed(gates[0].missing)}.",
                (part.wanted.entry.id,),
            )
