"""Stands in for the listening process: `python -m tests.webui.listeners HOW FOLDER JOB` gives its signs of life."""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from journal.hearing.types import RATE, Sound
from journal.live import LivePage


def main(how: str, folder: Path, job: str) -> None:
    """`well` until standard input ends; `deaf` without sound after half a second; `dies` with an error at once."""
    if how == "dies":
        sys.exit("journal: no microphone found; plug one in")
    over = threading.Event()
    threading.Thread(target=lambda: (sys.stdin.read(), over.set()), daemon=True).start()
    page = LivePage(folder, job)

    def blocks() -> Iterator[Sound]:
        began = time.monotonic()
        while not over.wait(0.05):
            if how == "well" or time.monotonic() - began < 0.5:
                yield np.full(RATE // 20, 0.05, dtype=np.float32)

    with page:
        for _ in page.metered(blocks()):
            pass


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3])
