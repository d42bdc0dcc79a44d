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
from journal.hearing.modelfile import Floats, Variable, contents

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


def joined(ear: Mapping[str, Floats], own: Mapping[str, Floats]) -> dict[str, Floats]:
    """Two sets of adapters as one that adds what both add: halves of products side by side, vectors summed."""
    out = dict(ear)
    for name, value in own.items():
        if name not in out:
            out[name] = value
        elif name.endswith((UP, DOWN)):
            out[name] = np.concatenate((out[name], value), axis=1 if name.endswith(UP) else 0)
        else:
            out[name] = out[name] + value
    return out


def adapted(file: Path, ear: Mapping[str, Floats]) -> bytes:
    """The contents of a model file with adapters in its weights.

    Args:
        file: ctranslate2's model.bin, weights as floats.
        ear: the adapters.

    Raises:
        OSError: the file cannot be read.
        ValueError: no such file, or adapters for another model.
    """
    # The file is large, and each copy of it takes as long as all else here: it is read once, and added to where it is.
    held = io.BytesIO()
    held.seek(file.stat().st_size - 1)
    held.write(b"\0")
    with held.getbuffer() as room:
        with file.open("rb") as source:
            source.readinto(room)
        used = sum(_put_in(room, each, ear) for each in contents(room))
    if used != sum(not name.endswith(DOWN) for name in ear):
        raise ValueError("these adapters are for another model")
    return held.getvalue()


def _put_in(model: memoryview, each: Variable, ear: Mapping[str, Floats]) -> bool:
    """Adds to a variable what there is for it; whether there was any."""
    added = ear.get(each.name)
    if each.name + UP in ear:
        added = ear[each.name + UP] @ ear[each.name + DOWN]
    if added is None:
        return False
    value = each.read(model)
    np.add(value, added.reshape(each.shape), out=value, casting="same_kind")
    return True
