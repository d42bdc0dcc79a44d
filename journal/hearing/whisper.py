"""An utterance's sound turned into scored texts by a Whisper model on this machine; the network is never asked."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from journal.errors import HearingError
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound
from journal.hearing.weights import shipped_model

_FRAME = 160
"""Samples in a feature frame."""
_WINDOWS = (6.0, 10.0, 20.0, 30.0)
"""Windows the encoder is given, seconds; the model was trained on 30, shorter ones cost far less time."""
_HYPOTHESES = 5


class Whisper:
    """Whisper through ctranslate2; see `Recogniser`."""

    name = "whisper"

    def __init__(self, model: Path | None = None) -> None:
        """Loads the model.

        Args:
            model: a ctranslate2 Whisper folder; none for the one that ships in a registry package.

        Raises:
            HearingError: the model is missing, damaged or not for English.
        """
        import ctranslate2
        import tokenizers
        from faster_whisper.feature_extractor import FeatureExtractor

        folder = model or shipped_model()
        try:
            self._model: Any = ctranslate2.models.Whisper(str(folder), device="cpu", compute_type="int8")
            self._tokenizer: Any = tokenizers.Tokenizer.from_file(str(folder / "tokenizer.json"))
        except Exception as error:  # tokenizers raises bare Exception for a damaged file.
            raise HearingError(f"the Whisper model in {folder} cannot be loaded; fetch it again") from error
        self._features: Any = FeatureExtractor(feature_size=self._model.n_mels)
        marks = ["<|startoftranscript|>"]
        if self._model.is_multilingual:
            marks += ["<|en|>", "<|transcribe|>"]
        self._prompt = [self._tokenizer.token_to_id(mark) for mark in [*marks, "<|notimestamps|>"]]
        self._first_mark = int(self._tokenizer.token_to_id("<|endoftext|>") or 0)

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """See `Recogniser.hear`."""
        result = self._generate(sound, _HYPOTHESES)
        if result.no_speech_prob > 0.9:
            return Hearing(candidates=())
        best: dict[str, float] = {}
        for tokens, mean in zip(result.sequences_ids, result.scores, strict=True):
            text = self._text(tokens)
            if text:
                best.setdefault(text, min(0.0, mean * (len(tokens) + 1)))
        found = sorted(best.items(), key=lambda pair: -pair[1])
        return Hearing(
            candidates=tuple(Candidate(text, score, self.name) for text, score in found),
            free_score=found[0][1] if found else None,
            free_text=found[0][0] if found else "",
        )

    def note(self, sound: Sound) -> str:
        """See `Recogniser.note`."""
        return self._text(self._generate(sound, 1).sequences_ids[0])

    def _generate(self, sound: Sound, hypotheses: int) -> Any:
        import ctranslate2

        features = ctranslate2.StorageView.from_array(self._window(sound)[None])
        return self._model.generate(
            features,
            [self._prompt],
            beam_size=5,
            num_hypotheses=hypotheses,
            return_scores=True,
            return_no_speech_prob=True,
            max_length=80,
        )[0]

    def _window(self, sound: Sound) -> Any:
        """Log-mel features, shape (mels, frames), of the sound and silence up to the next window."""
        seconds = next((w for w in _WINDOWS if w * RATE >= len(sound) + RATE), _WINDOWS[-1])
        samples = round(seconds * RATE)
        padded = np.zeros(samples, dtype=np.float32)
        padded[: min(len(sound), samples)] = np.clip(sound[:samples], -1.0, 1.0)
        return np.ascontiguousarray(self._features(padded, padding=0)[:, : samples // _FRAME])

    def _text(self, tokens: list[int]) -> str:
        return str(self._tokenizer.decode([t for t in tokens if t < self._first_mark])).strip()
