"""An utterance's sound turned into scored texts by a Whisper model held to the phrase grammar; no network is asked."""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from journal.errors import HearingError
from journal.hearing.beam import Search, Written, search
from journal.hearing.decoder import Decoder, Heard
from journal.hearing.ear import adapted, joined, read_ear
from journal.hearing.modelfile import Floats
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound, Speakable
from journal.hearing.weights import shipped_model
from journal.hearing.writing import Tokens, Writing, sentences

_FRAME = 160
"""Samples in a feature frame."""
_WINDOWS = (6.0, 10.0, 20.0, 30.0)
"""Windows the encoder is given, seconds; the model was trained on 30, shorter ones cost far less time."""
_ROOM = 0.5
"""Silence that must fit in the window after the sound, seconds; without any the model runs on."""
_HYPOTHESES = 16
_SHORTEST = RATE // 20
_POINT_APART = re.compile(r"([0-9]{2})\. (?:[Pp]oint )?([0-9])(?=\.?$)")
"""How the model writes "thirty four point six" when it hears a pause in it: "34. 6."."""
_TOKEN_WORTH = 0.3
"""Added to a text's score for each token, natural log: long texts are made of more chances to lose."""
_ENDING_WORTH = 1.5
"""Times that the chance of ending counts over again: a text cut short must pay for the sound it leaves unexplained."""
_NOTHING = 12.5
"""So far behind the best unconstrained text, a held one is as likely as that nothing of the grammar was said, natural
log."""
# The three are set by the benchmark's tuning voices, clean and at 10 dB.
_NO_PHRASE = 3.0
"""So far behind the best unconstrained text, natural log, the held ones leave room for words in another order."""
_ANY_ORDER = Search(beams=5, free_beams=0, behind=4.0)
"""How texts are looked for that are held to the words alone, in any order."""
_SHORT = 2
"""Tokens that such a text may have beyond twice those of the unconstrained one, which may be in figures."""
_ANY_ORDER_COSTS = 4.0
"""Taken from the score of such a text, natural log: any talk can be written better so than in phrases."""


@dataclass(frozen=True)
class _Last:
    """What came of the utterance heard last, for a second look at it."""

    sound: Sound
    heard: Heard
    held: list[Written]
    free: Written | None


class Whisper:
    """Whisper, encoded by ctranslate2 and decoded against the grammar; see `Recogniser`."""

    def __init__(
        self,
        speakable: Speakable,
        model: Path | None = None,
        ear: Path | None = None,
        own: Mapping[str, Floats] | None = None,
    ) -> None:
        """Loads the model.

        Args:
            speakable: gives the word graphs; without any, texts are unconstrained.
            model: a ctranslate2 Whisper folder; none for the one that ships in a registry package.
            ear: adapters that are put into the latter, which is then another listener, called `ear`; none to leave it
                as its makers trained it.
            own: a technician's own adapters beside those of the ear; see `journal.hearing.own`.

        Raises:
            HearingError: the model is missing, damaged or not for English.
        """
        self.name = "whisper" if ear is None else "ear"
        import ctranslate2
        import threadpoolctl
        import tokenizers
        from faster_whisper.feature_extractor import FeatureExtractor

        # The features are small matrices: a second thread only waits for the first, and where another listener has
        # that core it waits long.
        threadpoolctl.threadpool_limits(limits=1, user_api="blas")
        folder = model or shipped_model()
        try:
            # One thread: the other core is the other listener's.
            file = folder / "model.bin"
            weights = file.read_bytes() if ear is None else adapted(file, joined(read_ear(ear), own or {}))
            files = {name: (folder / name).read_bytes() for name in ("config.json", "vocabulary.txt")}
            self._model: Any = ctranslate2.models.Whisper(
                str(folder), device="cpu", compute_type="int8", intra_threads=1, files={"model.bin": weights, **files}
            )
            self._tokenizer: Any = tokenizers.Tokenizer.from_file(str(folder / "tokenizer.json"))
            self._decoder = Decoder(weights)
        except HearingError:
            raise
        except Exception as error:  # tokenizers raises bare Exception for a damaged file.
            raise HearingError(f"the Whisper model in {folder} cannot be loaded; fetch it again") from error
        self._features: Any = FeatureExtractor(feature_size=self._model.n_mels)
        marks = ["<|startoftranscript|>"]
        if self._model.is_multilingual:
            marks += ["<|en|>", "<|transcribe|>"]
        self._prompt = [self._mark(mark) for mark in [*marks, "<|notimestamps|>"]]
        self._end = self._mark("<|endoftext|>")
        self._banned = np.arange(self._end + 1, self._decoder.vocabulary)
        self._tokens = Tokens(self._encode, self._tokenizer.decode, self._end)
        self._last: _Last | None = None
        self._openers = speakable.openers
        self._attention = speakable.attention
        self._writing = {expect: Writing(graph, self._tokens) for expect, graph in speakable.graph.items()}
        self._any_order = Writing(speakable.any_order, self._tokens) if speakable.any_order is not None else None

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """See `Recogniser.hear`."""
        if len(sound) < _SHORTEST:
            return Hearing(candidates=())
        heard = self._decoder.listen(self._encoded(sound))
        held, free = self._searched(heard, self._writing[expect], Search())
        if free and _behind(held, free[0]) > _NO_PHRASE:
            held = [*held, *self._in_any_order(heard, free[0])]
        self._last = _Last(sound, heard, held, free[0] if free else None)
        return self._hearing(held, self._last.free)

    def weigh(self, sound: Sound, texts: Sequence[str]) -> Hearing:
        """See `Weigher.weigh`; nothing for a sound that is not the one heard last."""
        last = self._last
        if last is None or last.sound is not sound:
            return Hearing(candidates=())
        some = Writing(sentences(texts), self._tokens)
        held, _ = self._searched(last.heard, some, Search(free_beams=0))
        return self._hearing([*last.held, *held], last.free)

    def _searched(self, heard: Heard, writing: Writing, how: Search) -> tuple[list[Written], list[Written]]:
        return search(self._decoder, heard, self._prompt, writing, self._end, how, self._banned)

    def _in_any_order(self, heard: Heard, free: Written) -> list[Written]:
        """Texts of words in any order; none that say all again, which has more chances to be likely."""
        if self._any_order is None:
            return []
        words = self._words(free)
        once = len(free.tokens) * period(words) // max(1, len(words))
        texts, _ = self._searched(heard, self._any_order, replace(_ANY_ORDER, longest=2 * once + _SHORT))
        said = [each for each in texts if period(words := self._words(each)) == len(words)]
        return [replace(each, score=each.score - _ANY_ORDER_COSTS) for each in said]

    def _words(self, text: Written) -> list[str]:
        return _bare(self._text(text.tokens)).split()

    def _hearing(self, held: list[Written], free: Written | None) -> Hearing:
        candidates = [Candidate(text, score, self.name) for text, score in self._joined(held)[:_HYPOTHESES]]
        free_text, free_score = (self._text(free.tokens), _fair(free)) if free else ("", None)
        best = free_score if free_score is not None else max((c.score for c in candidates), default=0.0)
        candidates.append(Candidate("", min(0.0, best - _NOTHING), self.name))
        candidates.sort(key=lambda each: -each.score)
        if free_score is not None and self._opener(free_text) in self._openers:
            # What follows "note" is open vocabulary: no grammar holds it.
            candidates.insert(0, Candidate(free_text, min(0.0, max(candidates[0].score, free_score)), self.name))
        return Hearing(tuple(candidates), free_text)

    def _opener(self, text: str) -> str:
        """The first word that counts."""
        words = _bare(text).replace(",", " ").split()
        if self._attention and words[:1] == [self._attention]:
            del words[0]
        return words[0] if words else ""

    def _joined(self, texts: list[Written]) -> list[tuple[str, float]]:
        """Texts with their scores, best first; those that differ in capitals and marks only are one."""
        alike: dict[str, list[tuple[float, str]]] = defaultdict(list)
        for each in texts:
            text = _POINT_APART.sub(r"\1.\2", self._text(each.tokens))
            alike[_bare(text)].append((_fair(each), text))
        summed = [
            (max(same)[1], max(same)[0] + math.log(sum(math.exp(score - max(same)[0]) for score, _ in same)))
            for same in alike.values()
        ]
        return sorted(((text, min(0.0, score)) for text, score in summed), key=lambda pair: -pair[1])

    def _encoded(self, sound: Sound) -> Floats:
        import ctranslate2

        features = ctranslate2.StorageView.from_array(self._window(sound)[None])
        encoded: Floats = np.array(self._model.encode(features, to_cpu=True))[0].astype(np.float32)
        return encoded

    def _window(self, sound: Sound) -> Floats:
        """Log-mel features, shape (mels, frames), of the sound and silence up to the next window."""
        seconds = next((w for w in _WINDOWS if w * RATE >= len(sound) + _ROOM * RATE), _WINDOWS[-1])
        samples = round(seconds * RATE)
        padded = np.zeros(samples, dtype=np.float32)
        padded[: min(len(sound), samples)] = np.clip(sound[:samples], -1.0, 1.0)
        return np.ascontiguousarray(self._features(padded, padding=0)[:, : samples // _FRAME])

    def _mark(self, mark: str) -> int:
        token = self._tokenizer.token_to_id(mark)
        if token is None:
            raise HearingError(f"the Whisper model has no {mark}; fetch one that is made for English")
        return int(token)

    def _encode(self, text: str) -> list[int]:
        ids: list[int] = self._tokenizer.encode(text, add_special_tokens=False).ids
        return ids

    def _text(self, tokens: tuple[int, ...]) -> str:
        return str(self._tokenizer.decode([t for t in tokens if t < self._end])).strip()


def _behind(held: list[Written], free: Written) -> float:
    """How far the best of these is behind."""
    return _fair(free) - max(map(_fair, held), default=-math.inf)


def period(words: Sequence[str]) -> int:
    """After how many words they begin again and go on so to the end; their number where they do not."""
    return next((n for n in range(1, len(words)) if words[n:] == words[:-n]), len(words))


def _fair(text: Written) -> float:
    return text.score + _ENDING_WORTH * text.ending + _TOKEN_WORTH * len(text.tokens)


def _bare(text: str) -> str:
    """A text without capitals and without marks that stand for nothing; a point or a comma within a number stays."""
    return " ".join(re.sub(r"[.,!?;:]+(?=\s|$)", " ", text.lower()).split())
