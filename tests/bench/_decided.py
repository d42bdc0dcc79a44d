"""What was kept of the listeners in, what becomes of each thing said out, by any checkout's decision.

`python _decided.py FOLDER WHICH CHECKOUT` prints what the decision of another checkout makes of the same hearings, one
line of JSON for each thing said and each system: its key, the system, the verdict.
"""

from __future__ import annotations

import json
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from journal.wording import Decision
    from tests.bench._kept import Heard

DEFAULT = "ear and pocketsphinx"
FREE = "free dictation"
SYSTEMS: dict[str, tuple[str, ...]] = {
    DEFAULT: ("ear", "pocketsphinx"),
    "ear": ("ear",),
    "whisper and pocketsphinx": ("whisper", "pocketsphinx"),
    "whisper": ("whisper",),
    "pocketsphinx": ("pocketsphinx",),
}
"""What is reported: listeners that hear together."""


def decided(heard: Heard, system: str) -> tuple[Decision, ...] | None:
    """What a system decides; none where it has not heard this."""
    from journal.wording import decide
    from tests.bench._items import context

    here, found = context(heard.item.context), []
    for cut in heard.cuts:
        if system == FREE:
            if "free" not in cut.hearings:
                return None
            found += decide(cut.hearings["free"].candidates, here)
            continue
        if not set(SYSTEMS[system]) <= cut.hearings.keys():
            return None
        one = cut.pooled(SYSTEMS[system])
        found += decide(one.candidates, here, free_text=one.free_text, seconds=one.seconds)
    return tuple(found)


def verdict(heard: Heard, decisions: Sequence[Decision]) -> str:
    """What that is worth."""
    from tests.bench._items import wanted
    from tests.bench._judge import judged, judged_chat

    return judged_chat(decisions) if heard.item.part == "chat" else judged(decisions, wanted(heard.item))


def against(folder: Path, which: str, checkout: Path) -> dict[tuple[str, str], str]:
    """What another checkout's decision makes of the same hearings: the verdict by key and system."""
    with tempfile.TemporaryDirectory() as place:
        (Path(place) / "journal").symlink_to(checkout / "journal")
        command = [sys.executable, __file__, str(folder), which, place]
        said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    return {(key, system): made for key, system, made in map(json.loads, said.splitlines())}


def _lines(folder: Path, which: str) -> Iterator[str]:
    from tests.bench._kept import read

    for heard in read(folder, which):
        for system in (*SYSTEMS, FREE):
            decisions = decided(heard, system)
            if decisions is not None:
                yield json.dumps([heard.item.key, system, verdict(heard, decisions)])


if __name__ == "__main__":
    sys.path[:1] = [sys.argv[3], str(Path(__file__).resolve().parents[2])]
    for line in _lines(Path(sys.argv[1]), sys.argv[2]):
        print(line)
