"""Whisper's arithmetic in JAX, under ctranslate2's names, with adapters that can be trained beside its weights.

Adapters of a matrix are `NAME|up`, shape (outputs, rank), and `NAME|down`, (rank, inputs): their product is added to it
(Hu et al., "LoRA", 2021). What is under a vector's own name is added to that vector.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np

from journal.hearing.ear import DOWN, UP

Array = Any
Weights = Mapping[str, Array]
EPSILON = 1e-5


def fresh(base: Mapping[str, np.ndarray], ranks: Mapping[str, int], seed: int) -> dict[str, np.ndarray]:
    """Adapters that change nothing yet.

    Args:
        base: the model's variables.
        ranks: of the adapters by the beginning of a variable's name; what has none is left as it is.
        seed: of the random half.
    """
    dice = np.random.default_rng(seed)
    made: dict[str, np.ndarray] = {}
    for name, value in sorted(base.items()):
        rank = next((rank for part, rank in ranks.items() if name.startswith(part)), 0)
        if not rank or "embeddings" in name or "position_encodings" in name:
            continue
        if value.ndim > 1:
            inputs = int(np.prod(value.shape[1:]))
            made[name + DOWN] = (dice.standard_normal((rank, inputs)) / np.sqrt(inputs)).astype(np.float32)
            made[name + UP] = np.zeros((len(value), rank), dtype=np.float32)
        elif value.ndim == 1:
            made[name] = np.zeros_like(value, dtype=np.float32)
    return made


def merged(base: Weights, ear: Weights) -> dict[str, Array]:
    """The model with its adapters in it."""
    out = dict(base)
    for name in ear:
        if name.endswith(UP):
            weight = name.removesuffix(UP)
            out[weight] = base[weight] + (ear[name] @ ear[weight + DOWN]).reshape(base[weight].shape)
        elif not name.endswith(DOWN):
            out[name] = base[name] + ear[name]
    return out


def encode(w: Weights, features: Array, heads: int) -> Array:
    """Log-mel features, shape (utterances, mels, frames), encoded: (utterances, frames / 2, width)."""
    x = features.transpose(0, 2, 1)
    for name, stride in (("encoder/conv1", 1), ("encoder/conv2", 2)):
        # A convolution of three frames as one product: quick to compile, and quick.
        wide, frames = jnp.pad(x, ((0, 0), (1, 1), (0, 0))), x.shape[1]
        x = jnp.stack([wide[:, n : n + frames : stride] for n in range(3)], axis=-1)
        x = x.reshape(*x.shape[:2], -1) @ w[f"{name}/weight"].reshape(len(w[f"{name}/weight"]), -1).T
        x = jax.nn.gelu(x + w[f"{name}/bias"], approximate=False)
    x = x + w["encoder/position_encodings/encodings"][None, : x.shape[1]]
    for n in range(_layers(w, "encoder")):
        part = f"encoder/layer_{n}"
        x = x + _own_attention(w, f"{part}/self_attention", x, heads, None)
        x = x + _feed_forward(w, f"{part}/ffn", x)
    return _norm(w, "encoder/layer_norm", x)


def scores(w: Weights, encoded: Array, tokens: Array, heads: int) -> Array:
    """Logits of what follows each token, shape (utterances, tokens, vocabulary)."""
    length = tokens.shape[1]
    x = w["decoder/embeddings/weight"][tokens] + w["decoder/position_encodings/encodings"][None, :length]
    before = jnp.tril(jnp.ones((length, length), dtype=bool))
    for n in range(_layers(w, "decoder")):
        part = f"decoder/layer_{n}"
        x = x + _own_attention(w, f"{part}/self_attention", x, heads, before)
        name = f"{part}/attention"
        query = _linear(w, f"{name}/linear_0", _norm(w, f"{name}/layer_norm", x))
        keys, values = jnp.split(_linear(w, f"{name}/linear_1", encoded), 2, axis=-1)
        x = x + _linear(w, f"{name}/linear_2", _attended(query, keys, values, heads, None))
        x = x + _feed_forward(w, f"{part}/ffn", x)
    x = _norm(w, "decoder/layer_norm", x)
    return (x @ w["decoder/embeddings/weight"].T).astype(jnp.float32)


def _layers(w: Weights, half: str) -> int:
    return sum(f"{half}/layer_{n}/ffn/linear_0/weight" in w for n in range(64))


def _own_attention(w: Weights, part: str, x: Array, heads: int, mask: Array | None) -> Array:
    query, keys, values = jnp.split(_linear(w, f"{part}/linear_0", _norm(w, f"{part}/layer_norm", x)), 3, axis=-1)
    return _linear(w, f"{part}/linear_1", _attended(query, keys, values, heads, mask))


def _attended(query: Array, keys: Array, values: Array, heads: int, mask: Array | None) -> Array:
    def apart(x: Array) -> Array:
        return x.reshape(*x.shape[:2], heads, -1)

    q, k, v = apart(query), apart(keys), apart(values)
    weights = jnp.einsum("bthd,bshd->bhts", q, k) / np.sqrt(q.shape[-1])
    if mask is not None:
        weights = jnp.where(mask, weights, -1e9)
    shares = jax.nn.softmax(weights.astype(jnp.float32), axis=-1).astype(v.dtype)
    return jnp.einsum("bhts,bshd->bthd", shares, v).reshape(query.shape)


def _feed_forward(w: Weights, part: str, x: Array) -> Array:
    wide = _linear(w, f"{part}/linear_0", _norm(w, f"{part}/layer_norm", x))
    return _linear(w, f"{part}/linear_1", jax.nn.gelu(wide, approximate=False))


def _linear(w: Weights, name: str, x: Array) -> Array:
    return x @ w[f"{name}/weight"].T + w[f"{name}/bias"]


def _norm(w: Weights, name: str, x: Array) -> Array:
    exact = x.astype(jnp.float32)
    mean = exact.mean(-1, keepdims=True)
    even = (exact - mean) / jnp.sqrt(((exact - mean) ** 2).mean(-1, keepdims=True) + EPSILON)
    return (even * w[f"{name}/gamma"] + w[f"{name}/beta"]).astype(x.dtype)
