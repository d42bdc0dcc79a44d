"""An utterance's sound turned into scored texts by PocketSphinx and the phrase grammar: the light recogniser."""

from __future__ import annotations

import itertools
import math
import tomllib
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from journal.errors import HearingError
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound, Speakable, WordGraph

Cepstra = npt.NDArray[np.float64]
"""Mel-frequency cepstral coefficients, shape (13,)."""

_SHORTEST = RATE // 20
"""Fewer samples give it no frame to work on, which leaves it unusable."""
_FRAME = RATE // 50
_BEGINNING = RATE
"""Samples whose cepstra, with those heard before, give the mean that it subtracts from all of them.

With that of the whole utterance it hears no better, and could take in nothing while it is said."""
_REMEMBERED = 150
"""Frames that the mean of the phrases before counts for beside the 100 of the beginning.

With none it hears a sixteenth less; with 500 a mean that fits no longer, for another voice or another distance, stays
longer."""
_STEP = RATE // 10
"""Samples taken in at a time: always the same, as what it makes of a sound depends on it a little."""
_CEPSTRA = 13
_AS_FRAMES = 500
"""PocketSphinx's own: how many frames the mean it is given counts for when it goes on averaging."""
_NO_SEARCH = "none"
"""A grammar of one word, for sound whose cepstra alone are wanted."""
_LONGEST = 12 * RATE
"""Samples beyond are not looked at: over long noise its n-best search runs for minutes."""
_HYPOTHESES = 8
_LOOKED_AT = 40
_LANGUAGE_WEIGHT = 6.5
"""PocketSphinx's own default for grammars: how much a word's chance in the grammar counts beside its sound."""
_SILENCE = 0.3
"""Chance of silence between words. At its own 0.005 the noise of a shop there became "at", "oh", "two" and "eight"."""
_WORD_PENALTY = 0.03
"""Chance of one word more, for the same reason."""
_FLOOR_DB = 30.0
"""White noise is added this far below the speech: exact digital silence ruins the cepstral mean that it subtracts."""
_SHARPNESS = 50.0
"""Times its own log-likelihood, which it gives with 10 bits dropped; 1,024 would be all of it, and far too sure."""
_WORD_BEAM = 1e-20
"""Word ends so much less likely than the best are dropped; with its own 7e-29, n-best lists in noise took seconds."""
_SPEECH_FITS = -5.2
"""Log-likelihood of a frame's sound, beside that of the best sound there is, from which words are worth hearing.

The tuning voices' phrases have -3.3 in the median and -5.2 at the lowest fiftieth, chat held to the phrases -5.5."""
_FIT_SHARPNESS = 3.0
"""How fast nothing said becomes likelier below that: log-odds for each unit."""
# All but the language weight are set by the benchmark's tuning voices.


class PocketSphinx:
    """PocketSphinx with its bundled English model; see `Recogniser`."""

    name = "pocketsphinx"

    def __init__(self, speakable: Speakable) -> None:
        """Compiles the grammars.

        Raises:
            HearingError: PocketSphinx is not installed or refuses a grammar.
        """
        try:
            import pocketsphinx
        except ImportError as error:
            raise HearingError("PocketSphinx is not installed; install the speech extra") from error
        self._decoder: Any = pocketsphinx.Decoder(
            lm=None, wbeam=_WORD_BEAM, silprob=_SILENCE, wip=_WORD_PENALTY, loglevel="FATAL"
        )
        self._fillers = speakable.fillers
        self._expect: Expect | None = None
        self._taken: Sound = np.zeros(0, dtype=np.float32)
        self._floor = np.float32(0.0)
        self._heard: Cepstra = np.zeros(_CEPSTRA)
        self._remembered = 0
        said = {word for word in speakable.words if self._pronounced(word)}
        if speakable.attention and speakable.attention not in said:
            raise HearingError(f"PocketSphinx does not know how {speakable.attention!r} sounds; choose another word")
        graphs = {_NO_SEARCH: WordGraph((((min(said), 1),), ()), frozenset({1}))}
        graphs |= {expect.value: graph for expect, graph in speakable.graph.items()}
        for name, graph in graphs.items():
            try:
                self._decoder.add_fsg(name, self._network(name, graph, said))
            except (ValueError, RuntimeError) as error:
                raise HearingError("PocketSphinx refuses the phrase grammar; use another --listener") from error

    def _network(self, name: str, graph: WordGraph, said: set[str]) -> Any:
        """The word graph as PocketSphinx takes it."""
        import pocketsphinx

        logmath = self._decoder.get_logmath()
        end = len(graph.arcs)
        network = pocketsphinx.FsgModel(name, logmath, _LANGUAGE_WEIGHT, end + 1)
        numbers = {word: network.word_add(word) for word in said}
        for state, arcs in enumerate(graph.arcs):
            chance = int(_LANGUAGE_WEIGHT * logmath.log(1 / max(1, len(arcs))))
            for word, target in arcs:
                if word in said:
                    network.trans_add(state, target, chance, numbers[word])
        for state in graph.finals:
            network.null_trans_add(state, end, 0)
        network.set_start_state(graph.start)
        network.set_final_state(end)
        return network

    def _pronounced(self, word: str) -> bool:
        """Whether a word has a pronunciation, after a look at our own."""
        if self._decoder.lookup_word(word) is None and word in _pronunciations():
            self._decoder.add_word(word, _pronunciations()[word], True)
        return self._decoder.lookup_word(word) is not None

    def follow(self, sound: Sound) -> str:
        """See `Follower.follow`."""
        sound = sound[:_LONGEST]
        if len(sound) < _BEGINNING:
            return ""
        self._take_in(sound[: len(sound) // _STEP * _STEP], Expect.ANYTHING)
        hypothesis = self._decoder.hyp()
        return self._without_fillers(hypothesis.hypstr) if hypothesis is not None else ""

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """See `Recogniser.hear`."""
        if len(sound) < _SHORTEST:
            return Hearing(candidates=())
        self._take_in(sound[:_LONGEST], expect)
        decoder = self._decoder
        self._end()
        best: dict[str, float] = {}
        hypothesis = decoder.hyp()
        if hypothesis is not None and hypothesis.hypstr:
            # Its lattice search may return the same words under several segmentations.
            found = itertools.islice(decoder.nbest(), _LOOKED_AT)
            for each in itertools.chain((hypothesis,), found):
                if each is not None and each.hypstr and len(best) < _HYPOTHESES:
                    best.setdefault(self._without_fillers(each.hypstr), each.score)
        scored = [(text, _SHARPNESS * min(0.0, math.log(max(score, 1e-300)))) for text, score in best.items()]
        if scored:
            nothing = max(score for _, score in scored) + _FIT_SHARPNESS * (_SPEECH_FITS - self._fit())
            scored.append(("", min(0.0, nothing)))
        scored.sort(key=lambda pair: -pair[1])
        if scored and scored[0][0]:
            self._heard, self._remembered = self._mean(), _REMEMBERED
        return Hearing(candidates=tuple(Candidate(text, score, self.name) for text, score in scored))

    def _take_in(self, sound: Sound, expect: Expect) -> None:
        """Goes on from what was taken in, where that is how this sound begins; else from the start."""
        if self._expect is not expect or not np.array_equal(self._taken, sound[: len(self._taken)]):
            self._end()
            self._begin(sound[:_BEGINNING], expect)
        while len(self._taken) < len(sound):
            so_far = len(self._taken)
            self._decoder.process_raw(self._floored(sound, so_far, so_far + _STEP), full_utt=False)
            self._taken = sound[: so_far + _STEP]

    def _begin(self, sound: Sound, expect: Expect) -> None:
        """Begins an utterance whose beginning is this."""
        frames = sound[: len(sound) // _FRAME * _FRAME].reshape(-1, _FRAME)
        power = np.sort(np.mean(np.square(frames), axis=1))
        speech = math.sqrt(float(np.mean(power[len(power) // 2 :])))
        self._floor = np.float32(speech * 10 ** (-_FLOOR_DB / 20))
        total, count = self._cepstra(sound)
        mean = (total + self._remembered * self._heard) / (count + self._remembered)
        self._decoder.activate_search(expect.value)
        self._start(mean)
        self._taken = sound[:0]
        self._expect = expect

    def _cepstra(self, sound: Sound) -> tuple[Cepstra, int]:
        """Sum of a sound's cepstra and their number."""
        decoder = self._decoder
        decoder.activate_search(_NO_SEARCH)
        self._start(np.zeros(_CEPSTRA))
        for at in range(0, len(sound), _STEP):
            # Told so once, it keeps all frames of an utterance; in its ring of them the last ones of some are lost.
            decoder.process_raw(self._floored(sound, at, at + _STEP), no_search=True, full_utt=False)
        decoder.end_utt()
        count = decoder.n_frames()
        return self._mean() * (_AS_FRAMES + count), count

    def _start(self, mean: Cepstra) -> None:
        """Starts an utterance from whose cepstra this is subtracted."""
        self._decoder.set_cmn(",".join(map(str, mean.tolist())))
        self._decoder.start_utt()

    def _mean(self) -> Cepstra:
        """The mean after an utterance: of its frames, and of the one it was started with as if of `_AS_FRAMES`."""
        return np.array([float(each) for each in self._decoder.get_cmn(False).split(",")])

    def _end(self) -> None:
        """Ends the utterance that was begun, if one was."""
        if self._expect is not None:
            self._decoder.end_utt()
            self._expect = None

    def _floored(self, sound: Sound, begin: int, end: int) -> bytes:
        """A part of a sound over a floor of white noise, always the same, within full scale."""
        part = sound[begin:end]
        floored = np.clip(part + self._floor * _noise()[begin : begin + len(part)], -1.0, 1.0)
        return (floored * 32_767).astype("<i2").tobytes()

    def _fit(self) -> float:
        """Mean log-likelihood of a frame of the words last heard, beside that of the best sound there is."""
        words = [each for each in self._decoder.seg() if each.word[0] not in "<+("]
        frames: int = sum(each.end_frame - each.start_frame + 1 for each in words)
        fit = math.fsum(math.log(max(each.ascore, 1e-300)) for each in words)
        return fit / max(1, frames)

    def _without_fillers(self, text: str) -> str:
        """A text without the "uh" and "okay" before it, which it likes to find in noise."""
        words = text.split()
        while len(words) > 1 and words[0] in self._fillers:
            del words[0]
        return " ".join(words)


@cache
def _noise() -> Sound:
    """White noise as long as the longest sound, root mean square 1."""
    noise: Sound = np.random.default_rng(0).standard_normal(_LONGEST, dtype=np.float32)
    return noise


@cache
def _pronunciations() -> dict[str, str]:
    text = resources.files("journal.hearing").joinpath("pronunciations.toml").read_text(encoding="utf-8")
    return {word: str(phones) for word, phones in tomllib.loads(text).items()}
