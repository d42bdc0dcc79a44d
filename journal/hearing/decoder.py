"""Whisper's decoder with a key and value cache, so that a search may follow many texts and choose where they go.

ctranslate2 runs whole decodes only; asking it for the next token's chances costs a run over the whole prefix each
time. The weights are read from ctranslate2's own file and run by onnxruntime.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import onnxruntime

from journal.hearing.decoder_graph import layer_count, listen_graph, step_graph
from journal.hearing.modelfile import Floats, decoder_variables


@dataclass(frozen=True)
class Heard:
    """What the decoder needs of one encoded utterance."""

    given: dict[str, Floats]
    """A layer each of keys, shape (heads, head size, frames), and values, (heads, frames, head size)."""


@dataclass(frozen=True)
class Texts:
    """Texts being written side by side: what the decoder remembers of each, and what may come next."""

    own: dict[str, Floats]
    """A layer each of keys and values, shape (texts, heads, tokens, head size)."""
    length: int
    """Tokens so far."""
    scores: Floats
    """Log-probability of each token to come next, shape (texts, vocabulary)."""


class Decoder:
    """The decoder half of a Whisper model."""

    def __init__(self, model: bytes) -> None:
        """Args: model, the contents of ctranslate2's model.bin.

        Raises:
            ValueError: not such a file's.
        """
        found = decoder_variables(model)
        self.vocabulary = len(found["embeddings/weight"])
        """How many tokens there are, special ones included."""
        heads, layers = int(found["num_heads"]), layer_count(found)
        nothing = np.zeros((1, heads, 0, found["embeddings/weight"].shape[1] // heads), dtype=np.float32)
        self._nothing = {f"own {what} {n}": nothing for what in ("keys", "values") for n in range(layers)}
        self._remembered = [f"{what} {n}" for what in ("keys", "values") for n in range(layers)]
        self._listen = _session(listen_graph(found))
        self._step = _session(step_graph(found))

    def listen(self, encoded: Floats) -> Heard:
        """Prepares encoded sound, shape (frames, width)."""
        made = self._listen.run(self._remembered, {"sound": encoded})
        return Heard(dict(zip(self._remembered, made, strict=True)))

    def begin(self, heard: Heard, prompt: Sequence[int]) -> Texts:
        """One text holding the prompt, of one token at least."""
        texts = Texts(self._nothing, 0, np.zeros((1, 0), dtype=np.float32))
        for token in prompt:
            texts = self.step(heard, texts, [0], [token])
        return texts

    def step(self, heard: Heard, texts: Texts, rows: Sequence[int], tokens: Sequence[int]) -> Texts:
        """Texts of one token more.

        Args:
            heard: the utterance.
            texts: what was written so far.
            rows: which text each of the new ones goes on from; one may be gone on from more than once, or not at all.
            tokens: what each of the new ones adds to it.
        """
        given: dict[str, Any] = {
            "tokens": np.asarray(tokens, dtype=np.int64),
            "rows": np.asarray(rows, dtype=np.int64),
            "at": np.asarray([texts.length], dtype=np.int64),
        }
        wanted = ["scores", *(f"new {name}" for name in self._remembered)]
        scores, *own = self._step.run(wanted, given | texts.own | heard.given)
        remembered = {f"own {name}": value for name, value in zip(self._remembered, own, strict=True)}
        return Texts(remembered, texts.length + 1, scores)


def _session(graph: bytes) -> Any:
    how = onnxruntime.SessionOptions()
    # The other core is the other listener's: a second thread here would wait for it at every step.
    how.intra_op_num_threads = 1
    # Processors that add up 8-bit products in 16 bits cut off what is too large: there it goes a slower, exact way.
    how.add_session_config_entry("session.x64quantprecision", "1")
    return onnxruntime.InferenceSession(graph, how, providers=["CPUExecutionProvider"])
