"""A wanted part and the findings in; the causes that this part would mend out."""

from __future__ import annotations

from journal.analysis.causes.tables import tables
from journal.analysis.findings import Cause, CylinderFinding, Findings
from journal.facts import PartWanted


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
