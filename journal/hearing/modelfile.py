"""A Whisper model file of ctranslate2's, turned into its decoder's variables by name."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import IO

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

_BINARY_VERSION = 6
_DTYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
"""ctranslate2's numbers for types, from its model_spec module."""


def decoder_variables(model: Path) -> dict[str, Floats]:
    """The decoder's variables as floats, by name without "decoder/"; the layout is that of ModelSpec._serialize.

    Args:
        model: ctranslate2's model.bin.

    Raises:
        ValueError: not such a file.
        OSError: it cannot be read.
    """
    found: dict[str, Floats] = {}
    with model.open("rb") as file:
        version, *_ = _unpack(file, "I")
        name = _string(file)
        if version != _BINARY_VERSION or name != "WhisperSpec":
            raise ValueError(f"{model} is not a Whisper model of ctranslate2's format {_BINARY_VERSION}")
        _revision, count = _unpack(file, "II")
        for _ in range(count):
            key = _string(file)
            (rank,) = _unpack(file, "B")
            shape = _unpack(file, f"{rank}I")
            dtype, size = _unpack(file, "=BI")
            if not key.startswith("decoder/"):
                file.seek(size, 1)
                continue
            data = np.frombuffer(file.read(size), dtype=_DTYPES[dtype]).reshape(shape)
            found[key.removeprefix("decoder/")] = data.astype(np.float32)
    for key in [key for key in found if key.endswith("_scale")]:
        weight = key.removesuffix("_scale")
        found[weight] = found[weight] / found[key].reshape(-1, *[1] * (found[weight].ndim - 1))
    return found


def _unpack(file: IO[bytes], layout: str) -> tuple[int, ...]:
    try:
        return struct.unpack(layout, file.read(struct.calcsize(layout)))
    except struct.error as error:
        raise ValueError("the model file ends too soon") from error


def _string(file: IO[bytes]) -> str:
    (length,) = _unpack(file, "H")
    return file.read(length)[:-1].decode()
