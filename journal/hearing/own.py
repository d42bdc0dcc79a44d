"""A technician's own voice: small adapters beside those of the ear, fitted on a CPU to what they said in this journal.

They are kept as `voices/NAME-HASH.npz` in the journal's folder, the record of how they were made beside them. What they
are fitted by stands in `journal.own_voice`.
"""

from __future__ import annotations

import hashlib
import importlib.util
import io
import json
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from journal.errors import HearingError, NotFound
from journal.hearing.ear import SHIPPED, adapted, read_ear
from journal.hearing.modelfile import Floats, variables
from journal.hearing.types import RATE, Sound
from journal.hearing.weights import checksum, shipped_model
from journal.record.files import file_errors, write_whole

FOLDER = "voices"
LONGEST_S = 9.5
"""A sound that can be fitted to, seconds: it and half a second of silence fill the wider window."""
_WINDOWS = (6, 10)
_ROOM_S = 0.5
_MELS, _HEADS, _TOKENS, _TOGETHER = 80, 6, 48, 16


@dataclass(frozen=True)
class Plan:
    """How adapters are fitted."""

    steps: int = 15
    """Each over all sounds."""
    rate: float = 1.5e-3
    """Adam's."""
    ranks: tuple[tuple[str, int], ...] = (("encoder/", 8), ("decoder/", 4))
    """Of the adapters, by the beginning of a variable's name."""
    seed: int = 1


def can_fit() -> None:
    """Asked before anything is heard for it; `HearingError` where the train extra is not installed."""
    if importlib.util.find_spec("jax") is None:
        raise HearingError("fitting a voice needs the train extra: pip install 'cutout-journal[train]'")


def fit(sounds: Sequence[Sound], texts: Sequence[str], plan: Plan) -> dict[str, Floats]:
    """Adapters with which the shipped ear writes these texts for these sounds more surely.

    Adam (Kingma and Ba, 2015) on the mean loss of a token; low-rank adapters (Hu et al., "LoRA", 2021).

    Args:
        sounds: each shape (samples,), at `RATE`, no longer than `LONGEST_S`.
        texts: what is to be written for each.
        plan: how.

    Raises:
        HearingError: the train extra is not installed, or the speech extra.
    """
    can_fit()
    import jax
    import jax.numpy as jnp

    from journal.hearing.arithmetic import encode, fresh, merged, scores

    whole = variables(adapted(shipped_model() / "model.bin", read_ear()))
    base = {name: jnp.asarray(value) for name, value in whole.items() if value.ndim}
    batches = list(_batches(sounds, texts))
    tokens_in_all = sum(float(counted.sum()) for _, _, counted in batches)

    def loss(ear: Any, base: Any, x: Any, tokens: Any, counted: Any) -> Any:
        w = merged(base, ear)
        chances = jax.nn.log_softmax(scores(w, encode(w, x, _HEADS), tokens[:, :-1], _HEADS), axis=-1)
        told = jnp.take_along_axis(chances, tokens[:, 1:, None], axis=-1)[..., 0]
        return -(told * counted).sum() / tokens_in_all

    slope_of = jax.jit(jax.grad(loss))
    ear: Any = fresh(whole, dict(plan.ranks), plan.seed)
    first = second = jax.tree.map(np.zeros_like, ear)
    for step in range(1, plan.steps + 1):
        slope = jax.tree.map(np.zeros_like, ear)
        for batch in batches:
            slope = jax.tree.map(np.add, slope, jax.device_get(slope_of(ear, base, *batch)))
        first = jax.tree.map(lambda m, s: 0.9 * m + 0.1 * s, first, slope)
        second = jax.tree.map(lambda v, s: 0.999 * v + 0.001 * s**2, second, slope)
        fair, wide = 1 - 0.9**step, 1 - 0.999**step
        ear = jax.tree.map(
            lambda e, m, v, fair=fair, wide=wide: e - plan.rate * (m / fair) / (np.sqrt(v / wide) + 1e-8),
            ear, first, second,
        )  # fmt: skip
    return {name: np.asarray(value, dtype=np.float32) for name, value in ear.items()}


def _batches(sounds: Sequence[Sound], texts: Sequence[str]) -> Iterator[tuple[Floats, Any, Floats]]:
    """Features, tokens and which tokens count, `_TOGETHER` rows each; rows without a sound do not count."""
    import tokenizers
    from faster_whisper.feature_extractor import FeatureExtractor

    of: Any = tokenizers.Tokenizer.from_file(str(shipped_model() / "tokenizer.json"))
    features: Any = FeatureExtractor(feature_size=_MELS)
    prompt = [of.token_to_id(f"<|{mark}|>") for mark in ("startoftranscript", "notimestamps")]
    end = of.token_to_id("<|endoftext|>")
    by_window: dict[int, list[tuple[Sound, list[int]]]] = {}
    for sound, text in zip(sounds, texts, strict=True):
        ids = [*prompt, *of.encode(f" {text}", add_special_tokens=False).ids, end][:_TOKENS]
        window = next(w for w in _WINDOWS if len(sound) <= (w - _ROOM_S) * RATE)
        by_window.setdefault(window, []).append((sound, ids))
    for window, rows in by_window.items():
        for at in range(0, len(rows), _TOGETHER):
            x = np.zeros((_TOGETHER, _MELS, window * 100), dtype=np.float32)
            tokens = np.full((_TOGETHER, _TOKENS), end)
            counted = np.zeros((_TOGETHER, _TOKENS - 1), dtype=np.float32)
            for n, (sound, ids) in enumerate(rows[at : at + _TOGETHER]):
                padded = np.zeros(window * RATE, dtype=np.float32)
                padded[: len(sound)] = np.clip(sound, -1.0, 1.0)
                x[n] = features(padded, padding=0)[:, : window * 100]
                tokens[n, : len(ids)] = ids
                counted[n, len(prompt) - 1 : len(ids) - 1] = 1
            yield x, tokens, counted


def place(folder: Path, technician: str) -> Path:
    """Where a technician's adapters are kept; the hash keeps names apart that are written alike in a file's name."""
    plain = re.sub(r"[^a-z0-9]+", "-", technician.lower()).strip("-")[:32]
    return folder / FOLDER / f"{plain}-{hashlib.sha256(technician.encode()).hexdigest()[:12]}.npz"


def keep_own(folder: Path, technician: str, own: Mapping[str, Floats], record: Mapping[str, Any]) -> Path:
    """Keep them, with the record and what they are for; `RecordError` when the disk refuses."""
    path, data = place(folder, technician), io.BytesIO()
    np.savez(data, **{name: value.astype(np.float16) for name, value in own.items()})  # type: ignore[arg-type]
    told = {**record, "ear": checksum(SHIPPED), "sha256": hashlib.sha256(data.getvalue()).hexdigest()}
    write_whole(path, data.getvalue())
    write_whole(path.with_suffix(".json"), json.dumps(told, indent=1).encode())
    return path


def read_own(folder: Path, technician: str, tell: Callable[[str], None]) -> dict[str, Floats] | None:
    """A technician's adapters; none where there are none, and with a line to `tell` where they cannot be used."""
    path = place(folder, technician)
    if not path.is_file():
        return None
    again = f"fit it again with: journal models train-voice '{technician}'"
    try:
        told, data = json.loads(path.with_suffix(".json").read_text(encoding="utf-8")), path.read_bytes()
        if hashlib.sha256(data).hexdigest() != told["sha256"]:
            raise ValueError("another checksum")
        if told["ear"] != checksum(SHIPPED):
            tell(f"the voice of {technician} was fitted to another ear and is left out; {again}")
            return None
        with np.load(io.BytesIO(data)) as arrays:
            return {name: arrays[name].astype(np.float32) for name in arrays.files}
    except (OSError, ValueError, KeyError, TypeError):
        tell(f"the voice of {technician} is damaged and is left out; {again}")
        return None


def forget_own(folder: Path, technician: str) -> None:
    """Throw them away; `NotFound` when there are none, `RecordError` when the disk refuses."""
    path = place(folder, technician)
    if not path.exists():
        raise NotFound(f"no voice of {technician} is kept in this journal; check the name")
    for each in (path, path.with_suffix(".json")):
        with file_errors(each):
            each.unlink(missing_ok=True)
