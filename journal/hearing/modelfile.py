"""A Whisper model file of ctranslate2's, turned into its variables by name."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float32]

_BINARY_VERSION = 6
_DTYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
"""ctranslate2's numbers for types, from its model_spec module."""
_DECODER = "decoder/"


class Variable(NamedTuple):
    """Where a variable stands in a model file."""

    name: str
    """As ctranslate2 calls it."""
    kind: Any
    """Its numpy type."""
    shape: tuple[int, ...]
    """Its shape."""
    start: int
    """Its first byte."""
    size: int
    """Bytes."""

    def read(self, data: bytes | memoryview) -> npt.NDArray[Any]:
        """Its value, as it is held; it is part of the data."""
        return np.frombuffer(data, dtype=self.kind, count=self.size // self.kind().nbytes, offset=self.start).reshape(
            self.shape
        )


def contents(data: bytes | memoryview) -> Iterator[Variable]:
    """Every variable of a model file; the layout is that of ModelSpec._serialize.

    Args:
        data: of ctranslate2's model.bin.

    Raises:
        ValueError: not such a file.
    """
    at = 0

    def unpack(layout: str) -> tuple[int, ...]:
        nonlocal at
        try:
            found = struct.unpack_from(layout, data, at)
        except struct.error as error:
            raise ValueError("the model file ends too soon") from error
        at += struct.calcsize(layout)
        return found

    def text() -> str:
        nonlocal at
        (length,) = unpack("H")
        at += length
        return bytes(data[at - length : at - 1]).decode()

    version, *_ = unpack("I")
    name = text()
    if version != _BINARY_VERSION or name != "WhisperSpec":
        raise ValueError(f"this is no Whisper model of ctranslate2's format {_BINARY_VERSION}")
    _revision, count = unpack("II")
    for _ in range(count):
        key = text()
        (rank,) = unpack("B")
        shape = unpack(f"{rank}I")
        dtype, size = unpack("=BI")
        if at + size > len(data):
            raise ValueError("the model file ends too soon")
        yield Variable(key, _DTYPES[dtype], shape, at, size)
        at += size


def variables(data: bytes, part: str = "") -> dict[str, Floats]:
    """Variables as floats, by name.

    Args:
        data: of ctranslate2's model.bin.
        part: what the names of the wanted ones begin with; it is left out of them.

    Raises:
        ValueError: not such a file.
    """
    found: dict[str, Floats] = {
        each.name.removeprefix(part): each.read(data).astype(np.float32)
        for each in contents(data)
        if each.name.startswith(part)
    }
    for key in [key for key in found if key.endswith("_scale")]:
        weight = key.removesuffix("_scale")
        found[weight] = found[weight] / found[key].reshape(-1, *[1] * (found[weight].ndim - 1))
    return found


def decoder_variables(data: bytes) -> dict[str, Floats]:
    """The decoder's variables as floats, by name without "decoder/"; see `variables`."""
    return variables(data, _DECODER)
