"""An utterance's sound turned into scored texts by PocketSphinx and a JSGF grammar: the light recogniser."""

from __future__ import annotations

import itertools
import math
from typing import Any

import numpy as np

from journal.errors import HearingError
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound, Speakable

_SHORTEST = RATE // 20
"""Fewer samples give it no frame to work on, which leaves it unusable."""
_HYPOTHESES = 5
_LOOKED_AT = 40


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
        # Dither: exact digital silence ruins the running cepstral mean.
        self._decoder: Any = pocketsphinx.Decoder(lm=None, dither=True, loglevel="FATAL", bestpath=True)
        for expect, grammar in speakable.jsgf.items():
            try:
                self._decoder.add_jsgf_string(expect.value, grammar)
            except (ValueError, RuntimeError) as error:
                raise HearingError("PocketSphinx refuses the phrase grammar") from error

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """See `Recogniser.hear`."""
        if len(sound) < _SHORTEST:
            return Hearing(candidates=())
        decoder = self._decoder
        decoder.activate_search(expect.value)
        decoder.start_utt()
        decoder.process_raw((np.clip(sound, -1.0, 1.0) * 32_767).astype("<i2").tobytes(), full_utt=True)
        decoder.end_utt()
        best: dict[str, float] = {}
        hypothesis = decoder.hyp()
        if hypothesis is not None and hypothesis.hypstr:
            # Its lattice search may return the same words under several segmentations.
            found = itertools.islice(decoder.nbest(), _LOOKED_AT)
            for each in itertools.chain((hypothesis,), found):
                if each is not None and each.hypstr and len(best) < _HYPOTHESES:
                    best.setdefault(each.hypstr, each.score)
        scored = [(text, min(0.0, math.log(max(score, 1e-300)))) for text, score in best.items()]
        scored.sort(key=lambda pair: -pair[1])
        return Hearing(candidates=tuple(Candidate(text, score, self.name) for text, score in scored))

    def note(self, sound: Sound) -> str:
        """Empty: this recogniser has no open vocabulary worth keeping."""
        return ""
