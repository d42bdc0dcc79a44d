"""The microphone as blocks of mono sound at 16 kHz: never held up, overruns counted, a lost device awaited."""

from __future__ import annotations

import queue
import time
from collections.abc import Callable, Iterator
from typing import Any

from journal.errors import HearingError
from journal.hearing.resample import Resampler
from journal.hearing.types import Sound

_SILENT_S = 5.0
"""A stream that gives nothing for so long is taken for unplugged; a sound server may hold back two seconds."""
_RETRY_S = 1.0
"""Pause between attempts to find a lost device again."""
_BLOCK_S = 0.032
"""Length of the blocks asked of the sound card."""


def _ignore(_line: str) -> None:
    pass


class Microphone:
    """An input device; iterate it for blocks of mono sound at `RATE`, shape (samples,), until `close` is called."""

    def __init__(self, device: str | None = None, tell: Callable[[str], None] = _ignore) -> None:
        """Opens the device.

        Args:
            device: part of its name, or its number; none for the system's default.
            tell: takes a line when the device is lost, is back, or sound was dropped.

        Raises:
            HearingError: there is no such device, or no sound system.
        """
        self.overruns = 0
        """Times the system dropped sound because it was not fetched soon enough."""
        self.losses = 0
        """Times the device went away."""
        self._device = device
        self._tell = tell
        self._blocks: queue.SimpleQueue[Sound | None] = queue.SimpleQueue()
        self._closed = False
        self._stream: Any = None
        self._open()

    def close(self) -> None:
        """Lets the device go; the iteration ends after what was already recorded."""
        self._closed = True
        self._blocks.put(None)

    def __iter__(self) -> Iterator[Sound]:
        told = 0
        try:
            while True:
                try:
                    frames = self._blocks.get(timeout=_SILENT_S)
                except queue.Empty:
                    if not self._regain():
                        return
                    continue
                if frames is None:
                    return
                if self.overruns > told:
                    told = self.overruns
                    self._tell(f"sound was dropped {told} times so far; close other programs")
                yield self._resample(frames)
        finally:
            self._shut()

    def _open(self) -> None:
        sd = _sounddevice()
        number = find_device(self._device)
        try:
            rate = int(sd.query_devices(number, "input")["default_samplerate"])
            self._resample = Resampler(rate)
            self._stream = sd.InputStream(
                device=number,
                channels=1,
                samplerate=rate,
                blocksize=round(_BLOCK_S * rate),
                dtype="float32",
                callback=self._take,
            )
            self._stream.start()
        except (sd.PortAudioError, ValueError) as error:
            raise HearingError(f"the microphone cannot be opened ({error}); choose another with --device") from error

    def _take(self, frames: Sound, _count: int, _time: object, status: Any) -> None:
        """Runs in the sound card's thread: copies and returns at once."""
        if status.input_overflow:
            self.overruns += 1
        self._blocks.put(frames.copy())

    def _shut(self) -> None:
        if self._stream is not None:
            sd = _sounddevice()
            try:
                self._stream.abort(ignore_errors=True)
                self._stream.close(ignore_errors=True)
            except sd.PortAudioError:
                pass  # The device is gone already.
            self._stream = None

    def _regain(self) -> bool:
        """Waits for a lost device; false when closed meanwhile."""
        self.losses += 1
        self._tell("the microphone is gone; waiting for it to be plugged in again")
        self._shut()
        sd = _sounddevice()
        while not self._closed:
            # PortAudio lists devices once, at its start: only a new start sees one that came back.
            sd._terminate()
            sd._initialize()
            try:
                self._open()
            except HearingError:
                time.sleep(_RETRY_S)
                continue
            try:
                first = self._blocks.get(timeout=_SILENT_S)
            except queue.Empty:
                self._shut()
                continue
            self._blocks.put(first)
            self._tell("the microphone is back")
            return True
        return False


def input_devices() -> dict[int, str]:
    """Input devices by number, with their names.

    Raises:
        HearingError: there is no sound system.
    """
    return {
        number: device["name"]
        for number, device in enumerate(_sounddevice().query_devices())
        if device["max_input_channels"] > 0
    }


def find_device(wanted: str | None) -> int | None:
    """The number of an input device by part of its name or by its number; none for the system's default.

    Raises:
        HearingError: there is none, or the name fits several.
    """
    devices = input_devices()
    if not devices:
        raise HearingError("no microphone found; plug one in, or give a sound file with --from")
    if wanted is None:
        return None
    if wanted.isdigit() and int(wanted) in devices:
        return int(wanted)
    fits = [number for number, name in devices.items() if wanted.lower() in name.lower()]
    exact = [number for number in fits if devices[number].lower() == wanted.lower()]
    if len(exact or fits) == 1:
        return (exact or fits)[0]
    names = "; ".join(f"{number} {name}" for number, name in devices.items())
    trouble = "fits several microphones" if fits else "is no microphone here"
    raise HearingError(f"{wanted!r} {trouble}; choose one of: {names}")


def blocks_from_microphone(device: str | None = None, tell: Callable[[str], None] = _ignore) -> Iterator[Sound]:
    """Blocks of mono sound at `RATE` from a microphone, for ever; closing the iterator lets the device go.

    Raises:
        HearingError: there is no such device, or no sound system.
    """
    return iter(Microphone(device, tell))


def _sounddevice() -> Any:
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise HearingError(
            "no sound system for microphones; install PortAudio (Debian: apt install libportaudio2) "
            "and the speech extra, or give a sound file with --from"
        ) from error
    return sounddevice
