"""A wanted part and the findings in; the causes that this part would mend, and whether it may be ordered, out."""

from __future__ import annotations

from dataclasses import dataclass

from journal.analysis.causes.tables import tables
from journal.analysis.findings import Cause, CylinderFinding, Findings, Gate
from journal.facts import PartWanted
from journal.record.job import Part


def finding_for(wanted: PartWanted, findings: Findings) -> CylinderFinding | None:
    """What was found on the part's cylinder; for an injector, where the miss went with it. None without either."""
    if wanted.cylinder is None:
        return None
    found = {f.cylinder: f for f in findings.cylinders if f.causes}
    if wanted.cylinder not in found and "injector" in wanted.description.lower():
        return next((f for f in found.values() if f.came_from == wanted.cylinder), None)
    return found.get(wanted.cylinder)


def causes_meant(wanted: PartWanted, findings: Findings) -> tuple[Cause, ...]:
    """The causes on the part's cylinder that its description names, else the likeliest alone; most likely first.

    Empty without a cylinder, or where nothing was found on it. The evidence for a bridge is none for an injector.
    """
    found = finding_for(wanted, findings)
    if found is None:
        return ()
    rows, said = tables().causes, wanted.description.lower()
    meant = tuple(c for c in found.causes if any(word in said for word in rows[c.key].part_words))
    return meant or found.causes[:1]


@dataclass(frozen=True)
class Reason:
    """Why a part is wanted, as far as the evidence goes."""

    cause: Cause
    """The likeliest cause on the part's cylinder."""
    gate: Gate | None
    """Whether this very part may be ordered; none when nothing is to be said about that any more."""


def reason_for(findings: Findings, part: Part) -> Reason | None:
    """What the evidence says of a wanted part; none without a cylinder or a finding.

    The gate is that of the causes which this part would mend, which need not be the likeliest: an injector is not
    ready to order because a bridge is.
    """
    found = finding_for(part.wanted.body, findings)
    if found is None:
        return None
    gates = [cause.gate for cause in causes_meant(part.wanted.body, findings) if cause.gate is not None]
    best = next((gate for gate in gates if gate.ready or gate.overridden), gates[0] if gates else None)
    return Reason(found.causes[0], None if found.past else best)


def past(findings: Findings) -> frozenset[int]:
    """Cylinders low before the repair and not known to be so after it: nothing is to be ordered for them."""
    return frozenset(low.cylinder for low in findings.cylinders if low.past)
