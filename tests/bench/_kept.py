"""What the listeners made of each thing said, kept in a file, so that it can be decided again in no time.

`python -m tests.bench._kept fit FOLDER` hears what the decision is fitted on, `report` what is reported on, `looked-at`
and `spoken` the jobs in two wordings (`_spoken.py`), and goes on where it was left: each utterance is a line of JSON in
the folder, with nothing in it of the parser and the decision. With `--plain` Whisper hears without the ear's adapters,
for a folder of its own. `--seconds 180` ends it after that time, `--turn 0/2` hears every second one (another process
can hear the others).
"""

from __future__ import annotations

import argparse
import json
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from journal.hearing.choose import recognisers
from journal.hearing.endpoint import utterances
from journal.hearing.types import Candidate, Hearing, Recogniser, Utterance, Weigher
from journal.listening import Ears, Pooled
from journal.wording import speakable
from tests.bench._free import FreeWhisper
from tests.bench._items import Item, context, left_out, sound_of, to_compare, to_fit_on, to_look_at, to_report_on

LISTENERS = ("ear", "pocketsphinx")
PLAIN = ("whisper", "pocketsphinx")
"""Without the ear's adapters."""
SAID = {"fit": to_fit_on, "report": to_report_on, "looked-at": to_look_at, "spoken": to_compare}
"""What can be heard."""
FREE = "free"
_USUAL = 6
"""Cylinders of an engine that is not told."""
_FREE_TOO = 10
"""Every how many of what is reported on is heard by free dictation too."""


@dataclass(frozen=True)
class Cut:
    """What was made of one utterance."""

    start: float
    end: float
    """Where it lies in its sound, seconds."""
    hearings: dict[str, Hearing]
    """By listener."""
    weighed: dict[str, Hearing]
    """By listener that weighs: the same with the others' texts among its candidates."""
    took: dict[str, float]
    """Seconds of recognition by listener."""

    @property
    def better(self) -> str:
        """Which of the two that hear better it is kept of: the ear, or Whisper as it comes."""
        return next(name for name in (LISTENERS[0], PLAIN[0]) if name in self.hearings)

    def pooled(self, names: Sequence[str]) -> Pooled:
        """What these listeners together make of it, as the program takes them together."""
        ears = Ears([_Again(name, self) for name in names])
        return ears.pool(Utterance(self.start, self.end, None), [self.hearings[name] for name in names])  # type: ignore[arg-type]


class _Again:
    """A listener that says what it said before."""

    def __init__(self, name: str, cut: Cut) -> None:
        self.name = name
        self._cut = cut
        if name in cut.weighed:
            self.weigh = lambda sound, texts: cut.weighed[name]

    def hear(self, sound: object, expect: object = None) -> Hearing:
        return self._cut.hearings[self.name]


@dataclass(frozen=True)
class Heard:
    """One thing said, and what was made of each utterance of it."""

    item: Item
    cuts: tuple[Cut, ...]


class Listeners:
    """The recognisers, loaded once for an engine."""

    def __init__(self, cylinders: int, *, free: bool, plain: bool = False) -> None:
        self.cylinders = cylinders
        can_be_said, home = speakable(cylinders), Path(tempfile.gettempdir())
        self._all: list[Recogniser] = list(recognisers(PLAIN if plain else LISTENERS, can_be_said, None, home))
        self._free = FreeWhisper() if free else None

    def hear(self, item: Item) -> Heard:
        """One thing said through all of them, each on its own."""
        return Heard(item, tuple(self._cut(one, item) for one in utterances([sound_of(item)])))

    def _cut(self, one: Utterance, item: Item) -> Cut:
        from journal.listening import to_weigh  # not there in every checkout that decides again what is kept

        hearings, weighed, took = {}, {}, {}
        free = [self._free] if self._free and item.dice % _FREE_TOO == 0 else []
        for each in (*self._all, *free):
            began = time.perf_counter()
            hearings[each.name] = each.hear(one.sound, item.expect)
            took[each.name] = round(time.perf_counter() - began, 3)
        for each in self._all:
            others = [hearing for name, hearing in hearings.items() if name not in (each.name, FREE)]
            texts = to_weigh(others, hearings[each.name].free_text)
            if isinstance(each, Weigher) and texts:
                weighed[each.name] = each.weigh(one.sound, texts)
        return Cut(one.start, one.end, hearings, weighed, took)


def read(folder: Path, which: str) -> list[Heard]:
    """All that is kept of `fit` or of `report`, one for each thing said, in an order that does not depend on how."""
    found = {}
    for path in sorted(folder.glob(f"{which}-*.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            heard = _from_json(json.loads(line))
            found[heard.item.key] = heard
    return sorted(found.values(), key=lambda heard: heard.item.dice)


def _to_json(heard: Heard) -> dict[str, Any]:
    cuts = [
        {"start": round(cut.start, 3), "end": round(cut.end, 3), "took": cut.took}
        | {name: {who: _hearing(h) for who, h in getattr(cut, name).items()} for name in ("hearings", "weighed")}
        for cut in heard.cuts
    ]
    return {"item": asdict(heard.item), "cuts": cuts}


def _hearing(hearing: Hearing) -> dict[str, Any]:
    return {"free": hearing.free_text, "candidates": [[c.text, round(c.score, 3)] for c in hearing.candidates]}


def _from_json(told: dict[str, Any]) -> Heard:
    def hearings(of: dict[str, Any]) -> dict[str, Hearing]:
        return {
            who: Hearing(tuple(Candidate(text, score, who) for text, score in h["candidates"]), h["free"])
            for who, h in of.items()
        }

    cuts = (Cut(c["start"], c["end"], hearings(c["hearings"]), hearings(c["weighed"]), c["took"]) for c in told["cuts"])
    return Heard(Item(**told["item"]), tuple(cuts))


def main() -> None:
    """Hear what has not been heard yet."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("which", choices=tuple(SAID))
    ask.add_argument("folder", type=Path)
    ask.add_argument("--seconds", type=float, default=float("inf"))
    ask.add_argument("--turn", default="0/1")
    ask.add_argument("--plain", action="store_true", help="Whisper without adapters: use a folder of its own")
    asked = ask.parse_args()
    for line in left_out():
        print(f"left out: {line}")
    hear(asked.which, asked.folder, asked.seconds, asked.turn, plain=asked.plain)


def hear(
    which: str,
    folder: Path,
    seconds: float = float("inf"),
    turn: str = "0/1",
    share: float = 1.0,
    *,
    plain: bool = False,
) -> None:
    """Hear what is not in the folder yet, and keep it there.

    Args:
        which: one of `SAID`.
        folder: where it is kept.
        seconds: after which to end.
        turn: which part of how many to hear.
        share: of all of it.
        plain: whether Whisper hears without the ear's adapters.
    """
    folder.mkdir(parents=True, exist_ok=True)
    mine, of = (int(part) for part in turn.split("/"))
    done = {heard.item.key for heard in read(folder, which)}
    every = SAID[which]()
    every = every[: round(share * len(every))]
    waiting = [item for item in every if item.key not in done and item.spoken % of == mine]
    # Listeners are loaded for an engine.
    waiting.sort(key=lambda item: _cylinders(item) != _USUAL and _cylinders(item))
    began, count = time.monotonic(), 0
    with (folder / f"{which}-{mine}-{of}.jsonl").open("a", encoding="utf-8") as file:
        listeners: Listeners | None = None
        for item in waiting:
            engine = context(item.context).engine
            if listeners is None or (engine is not None and engine.cylinders != listeners.cylinders):
                listeners = Listeners(
                    engine.cylinders if engine is not None else 6, free=which == "report", plain=plain
                )
            if time.monotonic() - began > seconds:
                break
            file.write(json.dumps(_to_json(listeners.hear(item))) + "\n")
            file.flush()
            count += 1
    print(f"heard {count} of {len(waiting)} that were left; {len(every)} in all")


def _cylinders(item: Item) -> int:
    engine = context(item.context).engine
    return engine.cylinders if engine is not None else _USUAL


if __name__ == "__main__":
    main()
