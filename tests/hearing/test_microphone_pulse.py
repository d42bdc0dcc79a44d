"""The microphone for real: PulseAudio's null sink is the shop, its monitor is PortAudio's input, a file is played in.

The sound server is the tests' own, in a folder of its own, and ends with them.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from threading import Thread

import numpy as np
import pytest

from journal.errors import HearingError
from journal.facts import Cut, Engine, JobOpened
from journal.hearing import doctor
from journal.hearing.microphone import Microphone, find_device
from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound, Speakable
from journal.listening import Ears, Listening, listen
from journal.record.clips import clip_path
from journal.record.store import Store
from journal.session import Session, open_job

for program in ("pulseaudio", "pactl", "paplay"):
    if shutil.which(program) is None:
        pytest.skip(
            f"{program} (Debian packages pulseaudio, pulseaudio-utils) is not installed", allow_module_level=True
        )
sounddevice = pytest.importorskip("sounddevice", exc_type=OSError, reason="PortAudio is not installed")

_ALSA = "</usr/share/alsa/alsa.conf>\npcm.!default { type pulse }\nctl.!default { type pulse }\n"
"""PortAudio reaches PulseAudio through ALSA's plugin for it (Debian package libasound2-plugins)."""


class Shop:
    """A sound server whose microphone can be plugged in, unplugged and spoken into."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.module = ""

    def ask(self, *what: str) -> str:
        done = subprocess.run(["pactl", *what], capture_output=True, text=True, timeout=20)
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def plug_in(self) -> None:
        self.module = self.ask("load-module", "module-null-sink", "sink_name=shop", "rate=48000")
        self.ask("set-default-source", "shop.monitor")

    def unplug(self) -> None:
        self.ask("unload-module", self.module)

    def play(self, sound: Sound) -> None:
        import soundfile

        path = self.folder / "played.wav"
        soundfile.write(path, sound, RATE)
        subprocess.run(["paplay", "--device=shop", path], check=True, timeout=60)


@pytest.fixture(scope="module")
def server() -> Iterator[Shop]:
    # Sockets have short names only: the folder that pytest would give may be too deep.
    with tempfile.TemporaryDirectory(prefix="shop") as name, pytest.MonkeyPatch.context() as patch:
        folder = Path(name)
        (folder / "alsa.conf").write_text(_ALSA)
        socket = folder / "native"
        for variable in ("XDG_RUNTIME_DIR", "PULSE_RUNTIME_PATH", "PULSE_STATE_PATH"):
            patch.setenv(variable, name)
        patch.setenv("ALSA_CONFIG_PATH", str(folder / "alsa.conf"))
        log = (folder / "log").open("w")
        serving = subprocess.Popen(
            # Root may run it; it warns, and that is all.
            [
                *("pulseaudio", "-n", "--daemonize=no", "--system=false", "--exit-idle-time=-1", "--use-pid-file=no"),
                *("--load", f"module-native-protocol-unix socket={socket} auth-anonymous=1"),
            ],
            stdout=log,
            stderr=log,
            env=os.environ | {"HOME": name},
        )
        patch.setenv("PULSE_SERVER", f"unix:{socket}")
        try:
            _wait(lambda: socket.exists() or serving.poll() is not None)
            if serving.poll() is not None:
                pytest.skip(f"PulseAudio does not start here: {(folder / 'log').read_text()[-300:]}")
            yield Shop(folder)
        finally:
            serving.terminate()
            serving.wait(timeout=20)
            log.close()


@pytest.fixture
def shop(server: Shop) -> Iterator[Shop]:
    server.plug_in()
    # PortAudio lists devices once, at its start.
    sounddevice._terminate()
    sounddevice._initialize()
    try:
        find_device("pulse")
    except HearingError:
        server.unplug()
        pytest.skip("PortAudio sees no PulseAudio (Debian package libasound2-plugins is not installed)")
    yield server
    server.unplug()


def _wait(until: Callable[[], bool], seconds: float = 30.0) -> None:
    end = time.monotonic() + seconds
    while not until() and time.monotonic() < end:
        time.sleep(0.05)


def tone(seconds: float) -> Sound:
    return (0.3 * np.sin(2 * np.pi * 440 * np.arange(round(seconds * RATE)) / RATE)).astype(np.float32)


def gap(seconds: float) -> Sound:
    return np.zeros(round(seconds * RATE), dtype=np.float32)


class Gathering:
    """A microphone listened to in the background."""

    def __init__(self, microphone: Microphone) -> None:
        self.microphone = microphone
        self.blocks: list[Sound] = []
        self.thread = Thread(target=self._gather)
        self.thread.start()

    def _gather(self) -> None:
        for block in self.microphone:
            self.blocks.append(block)

    def sound(self) -> Sound:
        return np.concatenate(self.blocks) if self.blocks else gap(0)

    def end(self) -> Sound:
        self.microphone.close()
        self.thread.join(timeout=30)
        assert not self.thread.is_alive()
        return self.sound()


def test_what_is_played_comes_out_whole_at_its_pitch(shop: Shop) -> None:
    for _ in range(4):
        gathering = Gathering(Microphone("pulse"))
        _wait(lambda blocks=gathering.blocks: len(blocks) > 0)
        shop.play(tone(2.0))
        time.sleep(0.5)
        sound = gathering.end()
        if not gathering.microphone.overruns:
            break
    else:
        pytest.skip("this machine is too busy to fetch two seconds of sound without losing some, four times over")
    assert sound.dtype == np.float32
    spectrum = np.abs(np.fft.rfft(sound))
    assert abs(np.argmax(spectrum) * RATE / len(sound) - 440) < 3
    loud = np.flatnonzero(np.abs(sound) > 0.2)
    lasts = (loud[-1] - loud[0]) / RATE
    assert abs(lasts - 2.0) < 0.05, "nothing may be lost without being counted"
    assert 0.25 < np.max(np.abs(sound)) < 0.35


def test_an_unplugged_microphone_is_awaited_and_picked_up_again(shop: Shop) -> None:
    told: list[str] = []
    gathering = Gathering(Microphone("pulse", told.append))
    _wait(lambda: len(gathering.blocks) > 5)
    shop.unplug()
    _wait(lambda: bool(told))
    assert told == ["the microphone is gone; waiting for it to be plugged in again"]
    shop.plug_in()
    _wait(lambda: len(told) > 1)
    assert told[1:] == ["the microphone is back"]
    before = len(gathering.blocks)
    shop.play(tone(1.0))
    _wait(lambda: len(gathering.blocks) > before + 20)
    gathering.end()
    assert np.max(np.abs(np.concatenate(gathering.blocks[before:]))) > 0.25
    assert gathering.microphone.losses == 1


def test_a_session_can_be_ended_while_the_microphone_is_away(shop: Shop) -> None:
    told: list[str] = []
    gathering = Gathering(Microphone("pulse", told.append))
    _wait(lambda: len(gathering.blocks) > 0)
    shop.unplug()
    _wait(lambda: bool(told))
    gathering.end()
    shop.plug_in()


def test_a_microphone_that_is_not_there_is_named_with_those_that_are(shop: Shop) -> None:
    with pytest.raises(HearingError, match=r"'headset' is no microphone here; choose one of: .*pulse"):
        Microphone("headset")


def test_the_doctor_tells_a_muted_microphone_from_one_that_is_spoken_into(
    shop: Shop, say: Callable[..., Sound], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(doctor, "NAMES", ("auto",))
    nothing = Speakable((), {})

    def lines(spoken: bool) -> list[doctor.Line]:
        return list(doctor.examine(tmp_path, tmp_path, "pulse", nothing, spoken=spoken))

    [silent] = [line for line in lines(spoken=False) if not line.good]
    assert "microphone is silent" in silent.text
    speaking = Thread(target=lambda: shop.play(np.tile(say("cylinder four cut, thirty eight"), 4)))
    speaking.start()
    assert all(line.good for line in lines(spoken=True) if "level" in line.text)
    speaking.join()


class Listener:
    """Takes what is said for the next of some texts, once it is as long: the path is meant here, not recognition."""

    name = "whisper"
    """It is believed as that one is."""

    def __init__(self, *said: tuple[str, Sound]) -> None:
        self.said = list(said)
        self.sounds: list[Sound] = []

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        if not self.said or len(sound) < 0.9 * len(self.said[0][1]):
            return Hearing(())
        self.sounds.append(sound)
        words = self.said.pop(0)[0]
        return Hearing((Candidate(words, 0.0, self.name),), free_text=words)


def test_what_is_spoken_at_the_microphone_becomes_entries_with_their_sound(
    shop: Shop, say: Callable[..., Sound], tmp_path: Path, six: Engine
) -> None:
    """The whole road but for recognition; an unplugged microphone in the middle costs nothing that was said."""
    first, second = say("cylinder four cut, thirty eight"), say("cylinder five cut, thirty one")
    told: list[str] = []
    listener = Listener(("cylinder four cut thirty eight", first), ("cylinder five cut thirty one", second))
    with Store.open(tmp_path / "journal", create=True) as store:
        job = open_job(store, JobOpened("a loader", six), "R")
        session = Session(store, job)
        session.type("low idle run, fuel delivery")
        session.type("baseline thirty")
        heard = listen(session, Ears([listener]), Listening(device="pulse", tell=told.append))
        speaking = Thread(target=lambda: (time.sleep(1.0), shop.play(np.concatenate((first, gap(2.0))))))
        speaking.start()
        one = next(heard)
        speaking.join()
        shop.unplug()
        back = Thread(target=lambda: (_wait(lambda: bool(told)), shop.plug_in(), _wait(lambda: len(told) > 1)))
        back.start()
        speaking = Thread(target=lambda: (back.join(), shop.play(np.concatenate((gap(0.5), second, gap(2.0))))))
        speaking.start()
        two = next(heard)
        speaking.join()
        heard.close()
        cuts = [e for e in store.job(job).entries if isinstance(e.body, Cut)]
        clips = [read_file(clip_path(store.folder, entry.clip)) for entry in cuts]
    assert [(e.body.cylinder, e.body.value) for e in cuts if isinstance(e.body, Cut)] == [(4, 38.0), (5, 31.0)]
    assert len(told) == 2
    assert abs((one.utterance.end - one.utterance.start) - len(first) / RATE) < 0.6
    assert two.utterance.end > two.utterance.start
    assert [len(clip) for clip in clips] == [len(sound) for sound in listener.sounds]
