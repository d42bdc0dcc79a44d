"""The microphone for real: PulseAudio with a null sink, whose monitor is what PortAudio records."""

from __future__ import annotations

import os
import shutil
import subprocess
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError
from journal.hearing.endpoint import utterances
from journal.hearing.microphone import Microphone, find_device
from journal.hearing.types import Sound

pytestmark = pytest.mark.skipif(
    shutil.which("pulseaudio") is None or shutil.which("pactl") is None or shutil.which("paplay") is None,
    reason="PulseAudio (Debian packages pulseaudio, pulseaudio-utils) is not installed",
)
_PATIENCE_S = 60
_SINK = "module-null-sink sink_name=shop rate=44100"


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A sound server of our own with one null sink; gives its socket."""
    try:
        import sounddevice
    except OSError as error:
        pytest.skip(f"PortAudio is not installed: {error}")
    socket = tmp_path / "native"
    monkeypatch.setenv("PULSE_RUNTIME_PATH", str(tmp_path))
    monkeypatch.setenv("PULSE_SERVER", f"unix:{socket}")
    protocol = f"module-native-protocol-unix socket={socket} auth-anonymous=1"
    server = subprocess.Popen(
        ["pulseaudio", "-n", "--daemonize=no", "--exit-idle-time=-1", "--use-pid-file=no", "-L", protocol, "-L", _SINK],
        stderr=subprocess.DEVNULL,
        env=os.environ.copy(),
    )
    try:
        until(lambda: socket.exists() and "shop.monitor" in pactl("list", "short", "sources"))
        sounddevice._terminate()
        sounddevice._initialize()
        if "pulse" not in str(sounddevice.query_devices()):
            pytest.skip("ALSA's PulseAudio plugin (Debian package libasound2-plugins) is not installed")
        yield tmp_path
    finally:
        server.terminate()
        server.wait()


def pactl(*command: str) -> str:
    return subprocess.run(["pactl", *command], capture_output=True, text=True).stdout


def until(met: Callable[[], object]) -> None:
    end = time.monotonic() + _PATIENCE_S
    while not met():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.05)


class Recorder:
    """A microphone being listened to in a thread of its own."""

    def __init__(self) -> None:
        self.told: list[str] = []
        self.blocks: list[Sound] = []
        self.microphone = Microphone("pulse", self.told.append)
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        self.blocks.extend(self.microphone)

    @property
    def level(self) -> float:
        """Loudest sample of the last second."""
        return float(np.abs(np.concatenate(self.blocks[-16:])).max()) if self.blocks else 0.0

    def stop(self) -> Sound:
        self.microphone.close()
        self._thread.join(_PATIENCE_S)
        assert not self._thread.is_alive()
        return np.concatenate(self.blocks)


def test_what_is_played_into_the_room_comes_out_as_its_utterances(shop: Path, spoken_file: Path) -> None:
    recorder = Recorder()
    until(lambda: recorder.blocks)
    subprocess.run(["paplay", "--device=shop", str(spoken_file)], check=True)
    time.sleep(1.0)
    sound = recorder.stop()
    assert len(list(utterances([sound]))) == 2
    assert recorder.told == []


def test_a_microphone_that_goes_away_is_waited_for_and_picked_up_again(shop: Path, spoken_file: Path) -> None:
    recorder = Recorder()
    until(lambda: recorder.blocks)
    [sink] = [line.split()[0] for line in pactl("list", "short", "modules").splitlines() if "null-sink" in line]
    pactl("unload-module", sink)
    until(lambda: recorder.told)
    assert "is gone" in recorder.told[0]
    pactl("load-module", *_SINK.split())
    until(lambda: len(recorder.told) > 1)
    assert "is back" in recorder.told[1]
    before = len(recorder.blocks)
    subprocess.run(["paplay", "--device=shop", str(spoken_file)], check=True)
    time.sleep(1.0)
    after = recorder.blocks[before:]
    recorder.stop()
    assert len(list(utterances(after))) == 2
    assert recorder.microphone.losses == 1


def test_a_microphone_that_is_not_there_is_named_with_the_choices(shop: Path) -> None:
    with pytest.raises(HearingError, match="'parrot' is no microphone here; choose one of: 0 pulse"):
        find_device("parrot")
