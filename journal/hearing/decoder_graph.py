"""The decoder half of a Whisper model as ONNX graphs: one token more for each text, and an utterance made ready for it.

The arithmetic is that of Radford et al., "Robust Speech Recognition via Large-Scale Weak Supervision" (2022): pre-norm
transformer, learnt positions, tied embeddings. Weights are held in 8 bits with a scale for each output, and each
product's input is brought to 8 bits as it comes: a quarter of the memory to read, which is what the time goes to.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np
from onnx import TensorProto, helper, numpy_helper

from journal.hearing.modelfile import Floats

_OPSET = 20
"""The first with Gelu."""
_OURS_RUN_IN = "com.microsoft"
"""The domain of onnxruntime's own operators."""
_EPSILON = 1e-5


class _Graph:
    """A graph being put together; each operation gives the name of its output."""

    def __init__(self) -> None:
        self._nodes: list[Any] = []
        self._constants: dict[str, Any] = {}
        self._inputs: list[Any] = []
        self._outputs: list[Any] = []

    def constant(self, name: str, value: Any) -> str:
        if name not in self._constants:
            self._constants[name] = numpy_helper.from_array(np.ascontiguousarray(value), name)
        return name

    def input(self, name: str, shape: list[int | str], kind: int = TensorProto.FLOAT) -> None:
        self._inputs.append(helper.make_tensor_value_info(name, kind, shape))

    def output(self, name: str, shape: list[int | str]) -> None:
        self._outputs.append(helper.make_tensor_value_info(name, TensorProto.FLOAT, shape))

    def run(self, operator: str, *inputs: str, name: str = "", domain: str = "", **how: Any) -> str:
        name = name or f"made {len(self._nodes)}"
        self._nodes.append(helper.make_node(operator, list(inputs), [name], domain=domain, **how))
        return name

    def parts(self, x: str, *names: str) -> list[str]:
        """The columns of `x` in so many equal parts."""
        made = [f"{x} {name}" for name in names]
        self._nodes.append(helper.make_node("Split", [x], made, axis=1, num_outputs=len(made)))
        return made

    def reshaped(self, x: str, *shape: int) -> str:
        return self.run("Reshape", x, self.constant(f"shape {shape}", np.asarray(shape, dtype=np.int64)))

    def linear(self, x: str, name: str, weight: Floats, bias: Floats) -> str:
        """Args: weight, shape (outputs, inputs); bias, shape (outputs,)."""
        largest = np.maximum(weight.max(axis=1), -weight.min(axis=1))
        scale = np.maximum(largest, 1e-12) / 127
        rounded = weight / scale[:, None]
        np.rint(rounded, out=rounded)
        rounded = rounded.astype(np.int8).T
        return self.run(
            "DynamicQuantizeMatMul",
            x,
            self.constant(f"{name} weight", rounded),
            self.constant(f"{name} scale", scale.astype(np.float32)),
            "",
            self.constant(f"{name} bias", bias),
            domain=_OURS_RUN_IN,
        )

    def norm(self, x: str, name: str, scale: Floats, shift: Floats) -> str:
        scale_name, shift_name = self.constant(f"{name} scale", scale), self.constant(f"{name} shift", shift)
        return self.run("LayerNormalization", x, scale_name, shift_name, axis=-1, epsilon=_EPSILON)

    def bytes(self) -> bytes:
        graph = helper.make_graph(self._nodes, "decoder", self._inputs, self._outputs)
        opsets = [helper.make_opsetid("", _OPSET), helper.make_opsetid(_OURS_RUN_IN, 1)]
        model = helper.make_model(graph, opset_imports=opsets, ir_version=10)
        # Last, as all that is in the graph is copied into the model.
        model.graph.initializer.extend(self._constants.values())
        return bytes(model.SerializeToString())


def layer_count(found: Mapping[str, Floats]) -> int:
    """How many layers a model's variables are for."""
    return sum(f"layer_{n}/ffn/linear_0/weight" in found for n in range(len(found)))


def listen_graph(found: Mapping[str, Floats]) -> bytes:
    """ONNX: encoded sound, `sound` (frames, width), to each layer's `keys N` and `values N`, (heads, ...) both.

    Keys are (heads, head size, frames), values (heads, frames, head size).
    """
    graph = _Graph()
    heads, size, width = _sizes(found)
    graph.input("sound", ["frames", width])
    for n in range(layer_count(found)):
        name = f"layer_{n}/attention/linear_1"
        keys, values = graph.parts(_linear(graph, found, name, "sound"), "keys", "values")
        for what, made, order in (("keys", keys, (1, 2, 0)), ("values", values, (1, 0, 2))):
            graph.run("Transpose", graph.reshaped(made, -1, heads, size), perm=order, name=f"{what} {n}")
            graph.output(f"{what} {n}", [heads, "a", "b"])
    return graph.bytes()


def step_graph(found: Mapping[str, Floats]) -> bytes:
    """ONNX: one token more for each text.

    Inputs: `tokens` (texts,), `rows` (texts,): which text of the memory each goes on from, `at` (1,): how many tokens
    came before; a layer each of `keys N` and `values N` as `listen_graph` gives them, `own keys N` and `own values N`
    (texts before, heads, tokens before, head size). Outputs: `scores` (texts, vocabulary), log-probabilities of what
    comes next, and `new keys N` and `new values N` (texts, heads, tokens, head size).
    """
    graph = _Graph()
    heads, size, width = _sizes(found)
    for name, length in (("tokens", "texts"), ("rows", "texts"), ("at", 1)):
        graph.input(name, [length], TensorProto.INT64)
    embeddings = found["embeddings/weight"]
    # As half floats: looked up by row only, and the sum with the position forgives the last bits.
    looked_up = graph.run("Gather", graph.constant("embeddings", embeddings.astype(np.float16)), "tokens")
    position = graph.run("Gather", graph.constant("positions", found["position_encodings/encodings"]), "at")
    x = graph.run("Add", graph.run("Cast", looked_up, to=TensorProto.FLOAT), position)
    for n in range(layer_count(found)):
        x = graph.run("Add", x, _own_attention(graph, found, n, x, heads, size, width))
        x = graph.run("Add", x, _sound_attention(graph, found, n, x, heads, size, width))
        x = graph.run("Add", x, _feed_forward(graph, found, n, x))
    # The last norm's scale goes into the weights and its shift into a bias: what is left to bring to 8 bits is even,
    # which halves the error of the scores.
    even = graph.norm(x, "last norm", np.ones(width, dtype=np.float32), np.zeros(width, dtype=np.float32))
    shift = (embeddings @ found["layer_norm/beta"]).astype(np.float32)
    logits = graph.linear(even, "last", embeddings * found["layer_norm/gamma"], shift)
    graph.run("LogSoftmax", logits, axis=-1, name="scores")
    graph.output("scores", ["texts", len(embeddings)])
    return graph.bytes()


def _own_attention(
    graph: _Graph, found: Mapping[str, Floats], n: int, x: str, heads: int, size: int, width: int
) -> str:
    """Attention to the text so far, which is remembered."""
    part = f"layer_{n}/self_attention"
    together = _linear(graph, found, f"{part}/linear_0", _norm(graph, found, part, x))
    query, *own = (
        graph.reshaped(made, -1, heads, 1, size) for made in graph.parts(together, "query", "keys", "values")
    )
    for what, new in zip(("keys", "values"), own, strict=True):
        graph.input(f"own {what} {n}", ["texts before", heads, "before", size])
        before = graph.run("Gather", f"own {what} {n}", "rows")
        graph.run("Concat", before, new, axis=2, name=f"new {what} {n}")
        graph.output(f"new {what} {n}", ["texts", heads, "length", size])
    keys = graph.run("Transpose", f"new keys {n}", perm=(0, 1, 3, 2))
    weights = _weights(graph, query, keys, size)
    mixed = graph.reshaped(graph.run("MatMul", weights, f"new values {n}"), -1, width)
    return _linear(graph, found, f"{part}/linear_1", mixed)


def _sound_attention(
    graph: _Graph, found: Mapping[str, Floats], n: int, x: str, heads: int, size: int, width: int
) -> str:
    """Attention to the sound."""
    part = f"layer_{n}/attention"
    graph.input(f"keys {n}", [heads, size, "frames"])
    graph.input(f"values {n}", [heads, "frames", size])
    query = _linear(graph, found, f"{part}/linear_0", _norm(graph, found, part, x))
    query = graph.run("Transpose", graph.reshaped(query, -1, heads, size), perm=(1, 0, 2))
    weights = _weights(graph, query, f"keys {n}", size)
    mixed = graph.run("Transpose", graph.run("MatMul", weights, f"values {n}"), perm=(1, 0, 2))
    return _linear(graph, found, f"{part}/linear_2", graph.reshaped(mixed, -1, width))


def _feed_forward(graph: _Graph, found: Mapping[str, Floats], n: int, x: str) -> str:
    part = f"layer_{n}/ffn"
    wide = _linear(graph, found, f"{part}/linear_0", _norm(graph, found, part, x))
    return _linear(graph, found, f"{part}/linear_1", graph.run("Gelu", wide))


def _weights(graph: _Graph, query: str, keys: str, size: int) -> str:
    scale = graph.constant("scale", np.float32(1 / np.sqrt(size)))
    return graph.run("Softmax", graph.run("Mul", graph.run("MatMul", query, keys), scale), axis=-1)


def _linear(graph: _Graph, found: Mapping[str, Floats], part: str, x: str) -> str:
    return graph.linear(x, part, found[f"{part}/weight"], found[f"{part}/bias"])


def _norm(graph: _Graph, found: Mapping[str, Floats], part: str, x: str) -> str:
    name = f"{part}/layer_norm"
    return graph.norm(x, name, found[f"{name}/gamma"], found[f"{name}/beta"])


def _sizes(found: Mapping[str, Floats]) -> tuple[int, int, int]:
    """Heads, size of a head, size of a hidden state."""
    heads, width = int(found["num_heads"]), found["embeddings/weight"].shape[1]
    return heads, width // heads, width
