"""What becomes of the same jobs said in the tool's own wording and in natural wording, side by side."""

from __future__ import annotations

import os
import tempfile
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path

from journal.wording import Decision, Verdict, decide_text
from tests.bench._decided import DEFAULT, decided
from tests.bench._items import context, wanted
from tests.bench._judge import COSTS, RIGHT, Tally, judged
from tests.bench._kept import Heard, hear, read
from tests.bench.table import Row

_WORDINGS = ("own", "natural")
_TYPED = "typed"


def run(which: str = "spoken") -> list[Row]:
    """Both wordings heard by the default listeners, each line that is not right printed, and told beside each other."""
    with tempfile.TemporaryDirectory() as own:
        folder = Path(os.environ.get("HEARINGS", own))
        if not any(folder.glob(f"{which}-*.jsonl")):
            hear(which, folder, share=float(os.environ.get("HEARING_SHARE", "1")))
        kept = read(folder, which)
    tallies: dict[tuple[str, str], Tally] = defaultdict(Tally)
    for heard in sorted(kept, key=lambda heard: (heard.item.context, heard.item.part, heard.item.voice)):
        level = "clean" if heard.item.level is None else f"{heard.item.level:g} dB"
        decisions = decided(heard, DEFAULT) or ()
        made = judged(decisions, wanted(heard.item))
        tallies[level, heard.item.part].counts[made] += 1
        if made != RIGHT:
            print("\n".join(_told(heard, level, made, decisions)))
    for part, item in {(heard.item.part, heard.item.context): heard.item for heard in kept}.items():
        typed = judged(decide_text(item.text, context(item.context)), wanted(item))
        tallies[_TYPED, part[0]].counts[typed] += 1
    print("\n".join(_table(tallies)))
    return [
        Row("hearing", f"jobs in natural wording, {level}: right", tallies[level, "natural"].share(RIGHT), "%",
            tallies[level, "own"].share(RIGHT), "in the tool's own wording",
            note=f"of {tallies[level, 'natural'].count}")
        for level in dict.fromkeys(level for level, _ in tallies)
    ]  # fmt: skip


def _told(heard: Heard, level: str, made: str, decisions: Sequence[Decision]) -> Iterator[str]:
    """What was said, what came of it, and what the listeners made of it."""
    item = heard.item
    what = [
        d.prompt if d.verdict is Verdict.ASK else f"{d.verdict}: {d.meaning or d.reason} ({d.certainty:.2f})"
        for d in decisions
    ]
    yield f"{level}, {item.voice}, {item.part}: {made}: {item.text!r}: {'; '.join(what)}"
    for cut in heard.cuts:
        for name, hearing in cut.hearings.items():
            texts = [f"{c.text!r} {c.score:.1f}" for c in hearing.candidates[:3]]
            yield f"    {name}: {', '.join(texts)}" + (f"; freely {hearing.free_text!r}" if hearing.free_text else "")


def _table(tallies: dict[tuple[str, str], Tally]) -> Iterator[str]:
    """A row for each level and wording; shares are of a hundred."""
    columns = (*COSTS, "cost of 100")
    yield f"\n{'jobs in two wordings, of 100':32}{'of':>6}" + "".join(f"  {column:>16}" for column in columns)
    for level in dict.fromkeys(level for level, _ in tallies):
        for part in _WORDINGS:
            tally = tallies[level, part]
            cells = [*(f"{tally.share(name):.1f}" for name in COSTS), f"{tally.cost():.1f}"]
            yield f"{f'{level}, {part}':32}{tally.count:6}" + "".join(f"  {cell:>16}" for cell in cells)
