"""From the last sound of a phrase to its entry on disk, with the sound coming in as fast as it is said.

`python _latency.py SOUNDS`, of numbered sounds and `ends` (`numpy.savez`), times the listeners that listen by default,
of whichever checkout PYTHONPATH names.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from journal.facts import Engine, JobOpened, RunKind, RunStarted, Source
from journal.hearing.types import RATE, Sound
from journal.listening import Ears, Listening, listen
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import Verdict


class Paced:
    """Raw sound that can be read no faster than it is said."""

    def __init__(self, sound: Sound) -> None:
        self._bytes = (np.clip(sound, -1, 1) * 32_767).astype("<i2").tobytes()
        self._at = 0
        self.began = 0.0

    def read(self, size: int) -> bytes:
        self.began = self.began or time.monotonic()
        part = self._bytes[self._at : self._at + size]
        self._at += len(part)
        time.sleep(max(0.0, self.began + self._at / 2 / RATE - time.monotonic()))
        return part


@dataclass(frozen=True)
class Latencies:
    """Seconds from the end of each phrase to the moment that all it gave is on disk."""

    taken: list[float]
    """Of phrases that were entered."""
    asked: list[float]
    """Of phrases that gave a question, whose answer makes the entry."""


def by_default(said: Sequence[tuple[Sound, float]], checkouts: Sequence[Path]) -> list[Latencies]:
    """The same for the default listeners of each checkout, a program of its own each, one after the other."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "said.npz"
        sounds = {str(at): sound for at, (sound, _) in enumerate(said)}
        np.savez(file, ends=np.array([end for _, end in said]), **sounds)  # type: ignore[arg-type]
        made = []
        for checkout in checkouts:
            command = [sys.executable, __file__, str(file)]
            here = os.environ | {"PYTHONPATH": str(checkout)}
            told = subprocess.run(command, check=True, capture_output=True, text=True, env=here).stdout
            made.append(Latencies(**json.loads(told.splitlines()[-1])))
        return made


def latencies(ears: Ears, said: Sequence[tuple[Sound, float]]) -> Latencies:
    """Seconds from the end of each phrase to the moment that all it gave is on disk, for good.

    What was entered before its end and mended counts when it was mended.

    Args:
        ears: the listeners, loaded.
        said: sounds with where the speech in each ends, seconds.
    """
    starts = np.cumsum([0, *(len(sound) / RATE for sound, _ in said)])
    ends = [start + end for start, (_, end) in zip(starts, said, strict=False)]
    source = Paced(np.concatenate([sound for sound, _ in said]))
    kept = sys.stdin
    sys.stdin = SimpleNamespace(buffer=source)  # type: ignore[assignment]
    taken: dict[int, float] = {}
    asked: dict[int, float] = {}
    try:
        with tempfile.TemporaryDirectory() as folder:
            store = Store.open(Path(folder))
            job = open_job(store, JobOpened("Bench", Engine(6, (1, 5, 3, 6, 2, 4))), "Ash")
            session = Session(store, job, source=Source.VOICE)
            session.enter(RunStarted(RunKind.IDLE))
            for one in listen(session, ears, Listening(source=Path("-"))):
                verdicts = {outcome.verdict for outcome in one.outcomes}
                which = int(np.searchsorted(starts, one.utterance.start, side="right")) - 1
                if verdicts & {Verdict.ASK, Verdict.TAKE}:
                    asked.pop(which, None)
                    taken.pop(which, None)
                for verdict, times in ((Verdict.ASK, asked), (Verdict.TAKE, taken)):
                    if verdict in verdicts:
                        times[which] = time.monotonic() - source.began - ends[which]
                        break
    finally:
        sys.stdin = kept
    return Latencies(list(taken.values()), list(asked.values()))


def speech_end(sound: Sound) -> float:
    """Where the last 10 ms louder than a hundredth of the loudest end, seconds; for speech without noise."""
    step = RATE // 100
    power = np.mean(np.square(sound[: len(sound) // step * step].reshape(-1, step)), axis=1)
    return float(np.flatnonzero(power > power.max() / 10_000)[-1] + 1) * step / RATE


def _main() -> None:
    with np.load(sys.argv[1]) as told:
        said = [(told[str(at)], float(end)) for at, end in enumerate(told["ends"])]
    ears = Ears.open((), None, Path(tempfile.gettempdir()), 6)
    print(json.dumps(asdict(latencies(ears, said))))
    sys.stdout.flush()
    os._exit(0)  # a recogniser in a process of its own may still be busy


if __name__ == "__main__":
    _main()
