"""Adapters in, a Whisper model file that knows engines and numbers out: what ships is only what differs.

`ear.npz` holds for a matrix `NAME|up`, shape (outputs, rank), and `NAME|down`, (rank, inputs), whose product is added
to it (Hu et al., "LoRA", 2021), and for a vector what is added to it; `ear.json` beside it tells how it was made. Names
are those of ctranslate2's file. How it is trained stands in `tests/ear`.
"""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from journal.errors import HearingError
from journal.hearing.modelfile import Floats, contents

SHIPPED = Path(__file__).parent / "ear.npz"
UP, DOWN = "|up", "|down"
"""What the names of a matrix's adapters end in."""


def read_ear(file: Path = SHIPPED) -> dict[str, Floats]:
    """The adapters in a file; those that ship are held to the checksum beside them.

    Raises:
        HearingError: it cannot be read, or is not what was shipped.
    """
    try:
        data = file.read_bytes()
        expected = (
            json.loads(file.with_suffix(".json").read_text(encoding="utf-8"))["sha256"] if file == SHIPPED else ""
        )
        if expected and hashlib.sha256(data).hexdigest() != expected:
            raise ValueError("another checksum")
        with np.load(io.BytesIO(data)) as arrays:
            return {name: arrays[name].astype(np.float32) for name in arrays.files}
    except (OSError, ValueError, KeyError) as error:
        raise HearingError(f"{file} is damaged; install the journal again") from error


def adapted(model: bytes, ear: Mapping[str, Floats]) -> bytes:
    """A model file with adapters in its weights.

    Args:
        model: the contents of ctranslate2's model.bin, weights as floats.
        ear: the adapters.

    Raises:
        ValueError: not such a file, or adapters for another model.
    """
    whole, done, used = memoryview(model), 0, 0
    parts: list[bytes | memoryview] = []
    for each in contents(model):
        added = ear.get(each.name)
        if each.name + UP in ear:
            added = ear[each.name + UP] @ ear[each.name + DOWN]
        if added is not None:
            value = each.read(model).astype(np.float32) + added.reshape(each.shape)
            parts += [whole[done : each.start], value.astype(each.kind).tobytes()]
            done = each.start + each.size
            used += 1
    if used != sum(not name.endswith(DOWN) for name in ear):
        raise ValueError("these adapters are for another model")
    # Put together once: the file is large, and copying it is most of the time.
    return b"".join([*parts, whole[done:]])
