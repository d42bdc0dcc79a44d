"""An utterance's sound turned into scored texts by Vosk and the grammar's words, where an English model is found."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np

from journal.errors import HearingError
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound, Speakable

_HYPOTHESES = 5
_UNKNOWN = "[unk]"
"""What English models hear in place of words that are not on the list."""
_KNOWS = 0.5
"""Share of the grammar's words that a model for English knows at the least."""


class Vosk:
    """Vosk with a model folder; see `Recogniser`."""

    name = "vosk"

    def __init__(self, speakable: Speakable, model: Path) -> None:
        """Loads the model.

        Args:
            speakable: gives the word list.
            model: a Vosk model folder.

        Raises:
            HearingError: Vosk is not installed, the folder is no model, or the model is not for English.
        """
        try:
            import vosk
        except (ImportError, OSError) as error:
            raise HearingError("Vosk is not installed; install the speech extra") from error
        vosk.SetLogLevel(-1)
        self._vosk: Any = vosk
        try:
            self._model: Any = vosk.Model(str(model))
        except Exception as error:  # The library raises bare Exception.
            raise HearingError(f"{model} is no usable Vosk model; fetch it again") from error
        known = [word for word in speakable.words if self._model.vosk_model_find_word(word) >= 0]
        if len(known) < _KNOWS * len(speakable.words):
            raise HearingError(
                f"{model} knows {len(known)} of the {len(speakable.words)} words that can be said: it is for another "
                "language; `journal models fetch vosk` gets an English one"
            )
        if self._model.vosk_model_find_word(_UNKNOWN) >= 0:
            known.append(_UNKNOWN)
        # The library does not read escapes, only letters as they are.
        self._grammar = json.dumps(known, ensure_ascii=False)
        self._followed = np.zeros(0, dtype=np.float32)
        self._recogniser: Any = None

    def follow(self, sound: Sound) -> str:
        """See `Follower.follow`."""
        if self._recogniser is None or not np.array_equal(self._followed, sound[: len(self._followed)]):
            self._recogniser = self._vosk.KaldiRecognizer(self._model, RATE, self._grammar)
            self._recogniser.SetMaxAlternatives(_HYPOTHESES)
            self._followed = sound[:0]
        self._recogniser.AcceptWaveform(_pcm(sound[len(self._followed) :]))
        self._followed = sound
        return str(json.loads(self._recogniser.PartialResult()).get("partial", ""))

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """See `Recogniser.hear`."""
        self.follow(sound)
        found = json.loads(self._recogniser.FinalResult()).get("alternatives", [])
        self._recogniser = None
        best: dict[str, float] = {}
        for each in found:
            text = str(each["text"]).strip()
            if text:
                best.setdefault(text, float(each["confidence"]))
        # Vosk's path confidences have no fixed zero: only their differences mean something.
        top = max(best.values(), default=0.0)
        return Hearing(candidates=tuple(Candidate(text, score - top, self.name) for text, score in best.items()))


def _pcm(sound: Sound) -> bytes:
    return (np.clip(sound, -1.0, 1.0) * 32_767).astype("<i2").tobytes()


def find_model(models_home: Path) -> Path | None:
    """A Vosk English model in the journal's own model folder or in Vosk's usual places; none when there is none.

    Args:
        models_home: the journal's own model folder.
    """
    places = [models_home, *_usual_places()]
    for place in places:
        if not place.is_dir():
            continue
        for folder in [place, *sorted(place.iterdir())]:
            if is_model(folder) and _is_english(folder):
                return folder
    return None


def is_model(folder: Path) -> bool:
    """Whether a folder is laid out as a Vosk model."""
    return (folder / "am" / "final.mdl").is_file() or (folder / "final.mdl").is_file()


def _is_english(folder: Path) -> bool:
    """Vosk's own naming, vosk-model[-small]-LANGUAGE-…, is all there is to tell a model's language by."""
    return any(part.startswith("en") for part in folder.name.removeprefix("vosk-model-").split("-")[:2])


def _usual_places() -> list[Path]:
    """Where Vosk's library looks for models, and where Debian would put them."""
    import os

    named = os.environ.get("VOSK_MODEL_PATH")
    home = Path.home()
    places = [Path(named)] if named else []
    return [
        *places,
        Path("/usr/share/vosk"),
        home / "AppData" / "Local" / "vosk",
        home / ".cache" / "vosk",
        home / ".local" / "share" / "vosk",
    ]
