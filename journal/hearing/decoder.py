"""Whisper's decoder with a key and value cache, so that a search may follow many texts and choose where they go.

ctranslate2 runs whole decodes only; asking it for the next token's chances costs a run over the whole prefix each
time. The weights are read from ctranslate2's own file; the arithmetic is that of Radford et al., "Robust Speech
Recognition via Large-Scale Weak Supervision" (2022): pre-norm transformer, learnt positions, tied embeddings.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import numpy as np
import numpy.typing as npt
import threadpoolctl

Floats = npt.NDArray[np.float32]
Ints = npt.NDArray[np.int64]

_BINARY_VERSION = 6
_DTYPES = {0: np.float32, 1: np.int8, 2: np.int16, 3: np.int32, 4: np.float16}
"""ctranslate2's numbers for types, from its model_spec module."""


@dataclass(frozen=True)
class _Layer:
    norm: tuple[tuple[Floats, Floats], ...]
    """Scale and shift before self-attention, attention to the sound, and the feed-forward part."""
    qkv: tuple[Floats, Floats]
    own_out: tuple[Floats, Floats]
    query: tuple[Floats, Floats]
    key_value: tuple[Floats, Floats]
    out: tuple[Floats, Floats]
    wide: tuple[Floats, Floats]
    narrow: tuple[Floats, Floats]


@dataclass(frozen=True)
class Heard:
    """What the decoder needs of one encoded utterance."""

    keys: tuple[Floats, ...]
    """A layer each, shape (heads, head size, frames)."""
    values: tuple[Floats, ...]
    """A layer each, shape (heads, frames, head size)."""


class Texts:
    """Texts being written side by side, with what the decoder remembers of each."""

    def __init__(self, keys: list[Floats], values: list[Floats], length: int) -> None:
        """Args: a layer each of shape (texts, heads, tokens, head size), and the tokens so far."""
        self.keys = keys
        self.values = values
        self.length = length

    def pick(self, rows: npt.NDArray[np.intp]) -> Texts:
        """The texts of these rows, in this order; a row may be taken more than once."""
        return Texts([k[rows] for k in self.keys], [v[rows] for v in self.values], self.length)


class Decoder:
    """The decoder half of a Whisper model."""

    def __init__(self, model: Path) -> None:
        """Args: model, ctranslate2's model.bin.

        Raises:
            ValueError: not such a file.
            OSError: it cannot be read.
        """
        found = _read(model)
        self._threads: Any = threadpoolctl.ThreadpoolController()
        self._heads = int(found["decoder/num_heads"])
        self._embeddings = found["decoder/embeddings/weight"]
        self._positions = found["decoder/position_encodings/encodings"]
        self._last_norm = (found["decoder/layer_norm/gamma"], found["decoder/layer_norm/beta"])
        self._layers: list[_Layer] = []
        while f"decoder/layer_{len(self._layers)}/ffn/linear_0/weight" in found:
            self._layers.append(_layer(found, f"decoder/layer_{len(self._layers)}/"))
        self.width = self._embeddings.shape[1]
        """Size of a hidden state."""
        self.vocabulary = len(self._embeddings)
        """How many tokens there are, special ones included."""
        self.longest = len(self._positions)
        """Most tokens in a text, prompt included."""

    def listen(self, encoded: Floats) -> Heard:
        """Prepares encoded sound, shape (frames, width)."""
        keys, values = [], []
        for layer in self._layers:
            both = _linear(encoded, layer.key_value).reshape(len(encoded), 2, self._heads, -1)
            keys.append(np.ascontiguousarray(both[:, 0].transpose(1, 2, 0)))
            values.append(np.ascontiguousarray(both[:, 1].transpose(1, 0, 2)))
        return Heard(tuple(keys), tuple(values))

    def begin(self, heard: Heard, prompt: list[int]) -> tuple[Texts, Floats]:
        """One text holding the prompt, and the hidden state after it, shape (1, width)."""
        nothing = np.zeros((1, self._heads, 0, self.width // self._heads), dtype=np.float32)
        texts = Texts([nothing] * len(self._layers), [nothing] * len(self._layers), 0)
        return texts, self.step(heard, texts, np.asarray([prompt], dtype=np.int64))

    def step(self, heard: Heard, texts: Texts, tokens: Ints) -> Floats:
        """Writes further tokens to each text and gives the hidden state after the last.

        Args:
            heard: the utterance.
            texts: changed in place.
            tokens: shape (texts, new tokens).

        Returns:
            Shape (texts, width); `scores` makes log-probabilities of it.
        """
        count, new = tokens.shape
        old = texts.length
        size = self.width // self._heads
        x = self._embeddings[tokens] + self._positions[old : old + new]
        later = np.triu(np.full((new, old + new), -np.inf, dtype=np.float32), old + 1) if new > 1 else None
        for number, layer in enumerate(self._layers):
            own = _linear(_norm(x, layer.norm[0]), layer.qkv).reshape(count, new, 3, self._heads, size)
            q, k, v = own.transpose(2, 0, 3, 1, 4)
            k = texts.keys[number] = np.concatenate((texts.keys[number], k), axis=2)
            v = texts.values[number] = np.concatenate((texts.values[number], v), axis=2)
            weights = q @ k.transpose(0, 1, 3, 2) / np.float32(np.sqrt(size))
            if later is not None:
                weights += later
            mixed = (_softmax(weights) @ v).transpose(0, 2, 1, 3).reshape(count, new, self.width)
            x = x + _linear(mixed, layer.own_out)

            q = _linear(_norm(x, layer.norm[1]), layer.query).reshape(count * new, self._heads, size).transpose(1, 0, 2)
            weights = _softmax(q @ heard.keys[number] / np.float32(np.sqrt(size)))
            mixed = (weights @ heard.values[number]).transpose(1, 0, 2).reshape(count, new, self.width)
            x = x + _linear(mixed, layer.out)

            x = x + _linear(_gelu(_linear(_norm(x, layer.norm[2]), layer.wide)), layer.narrow)
        texts.length = old + new
        return _norm(x[:, -1], self._last_norm)

    def scores(self, hidden: Floats) -> Floats:
        """Log-probability of each token of the vocabulary, shape (texts, vocabulary)."""
        # The one matrix that is large enough to be worth a second core.
        with self._threads.limit(limits=2, user_api="blas"):
            logits: Floats = hidden @ self._embeddings.T
        logits -= logits.max(axis=1, keepdims=True)
        logits -= np.log(np.exp(logits).sum(axis=1, keepdims=True))
        return logits


def _linear(x: Floats, weights: tuple[Floats, Floats]) -> Floats:
    return x @ weights[0] + weights[1]


def _norm(x: Floats, weights: tuple[Floats, Floats]) -> Floats:
    centred = x - x.mean(axis=-1, keepdims=True)
    spread = np.sqrt((centred * centred).mean(axis=-1, keepdims=True) + np.float32(1e-5))
    result: Floats = centred / spread * weights[0] + weights[1]
    return result


def _softmax(x: Floats) -> Floats:
    raised: Floats = np.exp(x - x.max(axis=-1, keepdims=True))
    result: Floats = raised / raised.sum(axis=-1, keepdims=True)
    return result


def _gelu(x: Floats) -> Floats:
    """The tanh form, which is within 0.001 of the exact one; numpy has no error function."""
    bent = np.tanh(np.float32(0.7978845608) * (x + np.float32(0.044715) * x * x * x))
    result: Floats = np.float32(0.5) * x * (1 + bent)
    return result


def _layer(found: dict[str, Floats], name: str) -> _Layer:
    def linear(part: str) -> tuple[Floats, Floats]:
        # Transposed once here, so that each step is a plain product.
        return np.ascontiguousarray(found[f"{name}{part}/weight"].T), found[f"{name}{part}/bias"]

    def norm(part: str) -> tuple[Floats, Floats]:
        return found[f"{name}{part}/layer_norm/gamma"], found[f"{name}{part}/layer_norm/beta"]

    return _Layer(
        norm=(norm("self_attention"), norm("attention"), norm("ffn")),
        qkv=linear("self_attention/linear_0"),
        own_out=linear("self_attention/linear_1"),
        query=linear("attention/linear_0"),
        key_value=linear("attention/linear_1"),
        out=linear("attention/linear_2"),
        wide=linear("ffn/linear_0"),
        narrow=linear("ffn/linear_1"),
    )


def _read(model: Path) -> dict[str, Floats]:
    """The decoder's variables of a ctranslate2 model file, by name; the layout is that of its ModelSpec._serialize."""
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
            found[key] = data.astype(np.float32)
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
