"""The baseline: Whisper's free dictation, as it comes out of its library, for the same parser."""

from __future__ import annotations

from faster_whisper import WhisperModel

from journal.hearing.types import Candidate, Expect, Hearing, Sound
from journal.hearing.weights import shipped_model


class FreeWhisper:
    """faster-whisper as its documentation runs it, on the same weights."""

    name = "free"

    def __init__(self) -> None:
        self._model = WhisperModel(str(shipped_model()), device="cpu", compute_type="int8", local_files_only=True)

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        segments, _ = self._model.transcribe(sound, language="en", beam_size=5, without_timestamps=True)
        text = " ".join(each.text.strip() for each in segments)
        return Hearing((Candidate(text, 0.0, self.name),) if text else ())
