"""The whole of `journal listen` on a job of five minutes, in the tool's wording, natural wording and talk between.

`python -m tests.bench._listen VOICE` prints what was said, what the command printed, and what the journal then tells.
"""

from __future__ import annotations

import subprocess
import sys
import tempfile
from pathlib import Path

import numpy as np
import soundfile

from journal.hearing.types import RATE, Sound
from tests.bench._noise import mixed
from tests.bench._voices import speak

SAID = (
    "start idle cut out",
    "engine speed six hundred eighty",
    "water's at eighty one",
    "baseline twenty nine point four",
    "number one out, thirty five point one",
    "two cut, thirty four point eight",
    "killed three, it's thirty five point three",
    "can you hand me that light",
    "four's out, twenty nine point six",
    "cylinder five cut, thirty five point two",
    "six off, thirty four point five",
    "make that thirty four point nine",
    "end of run",
    "let's run that again",
    "baseline twenty nine point five",
    "one, thirty five point two",
    "two, thirty four point seven",
    "three out, thirty five flat",
    "no change on four",
    "five, thirty five point four",
    "six, thirty four point eight",
    "what have I missed",
    "okay, that's the end of the run",
    "half engine, one two three out",
    "baseline fifty six point two",
    "four, fifty eight point one",
    "five, eighty four point six",
    "with six out, eighty four point nine",
    "all cylinders back in",
    "I told him it would be ready on monday",
    "blow-by's about normal, just a little",
    "compression cylinder four, twenty seven bar",
    "wiring on four looks fine",
    "resistance in limits, cylinder four",
    "swapped injectors four and two, the miss moved",
    "oil temp ninety one",
    "scratch that",
    "oil temperature eighty nine",
    "photo injector seat cylinder four",
    "note copper washer on four looks burnt",
    "part wanted injector cylinder four",
    "how does it look",
)
_EACH_S = 7.1
"""From the beginning of one to that of the next, seconds."""


def job(voice: str, seed: int = 5) -> Sound:
    """Five minutes of it, in engine noise at 20 dB."""
    sound = np.zeros(round(_EACH_S * len(SAID) * RATE), dtype=np.float32)
    for at, text in enumerate(SAID):
        said = speak(text, voice)
        begin = round((at * _EACH_S + 1.0) * RATE)
        sound[begin : begin + len(said)] += said[: len(sound) - begin]
    return mixed(sound, 20, seed)


def main() -> None:
    """Dictate it."""
    voice = " ".join(sys.argv[1:]) or "kokoro kumo nezumi"
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "job.wav"
        soundfile.write(file, job(voice), RATE)
        journal = [
            sys.executable,
            "-c",
            "from journal.cli import main; main()",
            "--journal",
            str(Path(folder) / "journal"),
        ]
        engine = ["--unit", "Winch 7", "--firing-order", "1-5-3-6-2-4", "--technician", "Ash"]
        subprocess.run([*journal, "open", *engine], check=True)
        sys.stdout.flush()
        print("\n".join(f"{at * _EACH_S + 1.0:6.1f} s  {text}" for at, text in enumerate(SAID)))
        for command in (["listen", "--from", str(file)], ["findings"], ["show"]):
            print(f"\n$ journal {command[0]}", flush=True)
            subprocess.run([*journal, *command], check=False)


if __name__ == "__main__":
    main()
