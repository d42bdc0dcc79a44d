"""Ranked causes in, one or two plain sentences out: what it is, how sure, what is and is not indicated."""

from __future__ import annotations

from collections.abc import Sequence

from journal.analysis.causes.tables import Tables
from journal.analysis.findings import Cause, CylinderFinding, Standing
from journal.analysis.words import listed, percent


def verdict(
    book: Tables,
    cylinder: int,
    standing: Standing,
    causes: Sequence[Cause],
    *,
    past: bool = False,
    origin: int | None = None,
) -> str:
    """What is said of a low cylinder; a part is named as ready only when its gate is, and never when it is past.

    `origin` is the cylinder from which the miss came with its injector, if it did.
    """
    top, sure = causes[0], book.gate["threshold"]
    start = f"Before the repair cylinder {cylinder} was {standing}" if past else f"Cylinder {cylinder} is {standing}"
    if top.probability < 0.5:
        names = [f"{c.name} ({percent(c.probability)})" for c in causes[:3]]
        came = f" The miss came with its injector from cylinder {origin}." if origin is not None else ""
        return f"{start}; no one cause stands out yet: {listed(names, 'or')}.{came}"
    if top.probability < sure:
        rivals = [f"{c.name} ({percent(c.probability)})" for c in causes[1:3] if c.probability >= book.gate["rival"]]
        beside = f"; still possible: {listed(rivals, 'or')}" if rivals else ""
        sentences = [f"{start}; likeliest is {top.name}, {percent(top.probability)}{beside}."]
    else:
        sentences = [f"{start}: {top.name}, {percent(top.probability)}."]
    if origin is not None:
        sentences.append(f"The miss came with its injector from cylinder {origin}.")
    sentences += [s for s in (_not_indicated(book, causes), "" if past else _gate_sentence(top, cylinder, origin)) if s]
    return " ".join(sentences)


def _not_indicated(book: Tables, causes: Sequence[Cause]) -> str:
    """The sentence that the injector is not indicated, when another cause has been found."""
    top = causes[0]
    injector = [c for c in causes if c.key in ("injector", "solenoid")]
    chance = sum(c.probability for c in injector)
    if top in injector or top.probability < book.gate["threshold"] or chance > book.gate["not_indicated"]:
        return ""
    against = [e.what for e in injector[0].evidence if e.factor < 1][:2]
    because = f": {listed(against)}" if against else ""
    return f"The injector is not indicated ({percent(chance)}){because}."


def _gate_sentence(top: Cause, cylinder: int, origin: int | None) -> str:
    if top.gate is None:
        return ""
    sits = f", in place of the one that sits in cylinder {cylinder} now" if origin is not None else ""
    if top.gate.ready:
        other = percent(top.gate.chance) != percent(top.probability)
        stands = f", which is the part at fault with {percent(top.gate.chance)}, by any of its causes" if other else ""
        return f"Ready to order: {top.gate.part}{sits if top.gate.part == 'injector' else ''}{stands}."
    if top.gate.overridden:
        return f"Ordered against missing checks; reason given: {top.gate.overridden}."
    return f"Not ready to order {top.gate.part}; missing: {listed(top.gate.missing)}."


def headline(
    book: Tables, mended: str, cylinders: Sequence[CylinderFinding], engine: Sequence[Cause], judged: Sequence[int]
) -> str:
    """The most important thing: whether it is mended, what is wrong with the worst cylinder, or that none is low."""
    if mended and not cylinders:
        return mended
    if cylinders:
        more = [f"cylinder {c.cylinder} is {c.standing}" for c in cylinders[1:]]
        rest = f" Also: {listed(more)}." if more else ""
        return " ".join(s for s in (mended, cylinders[0].verdict) if s) + rest
    if engine and engine[0].probability >= 0.5:
        return (
            f"No cylinder is low; likeliest for the whole engine: {engine[0].name} ({percent(engine[0].probability)})."
        )
    return f"None of the {len(judged)} cylinders read so far is shown to pull less than its peers."
