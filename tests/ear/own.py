"""What a technician's own voice is worth: a voice of the benchmark says readings, half are fitted to, half are judged.

`python -m tests.ear.own 'festival kal' --level 10` prints what becomes of the half that nothing was fitted to, without
the adapters and with them. As in a journal, only what the decision entered, or asked about by its right name, counts as
confirmed and is fitted to.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

from journal.facts import Body
from journal.hearing.choose import EAR, LIGHT
from journal.hearing.endpoint import utterances
from journal.hearing.modelfile import Floats
from journal.hearing.own import Plan, fit
from journal.listening import Ears
from journal.own_voice import ASKED, RIGHT, Clip, Example, cost, judged, text_for
from journal.wording import decide
from tests.bench._items import CONTEXT, Item, readings, sound_of, wanted


def said(voice: str, level: float | None, count: int) -> Iterator[tuple[Item, Clip]]:
    """Readings in that voice, each once, with what is meant."""
    for item in readings(voice, level, count):
        [meant] = wanted(item)
        assert isinstance(meant, Body)
        yield item, Clip(item.key, meant, replace(CONTEXT, speaker=0.0))


def heard(items: list[tuple[Item, Clip]], own: Mapping[str, Floats] | None) -> list[Example]:
    """As the usual listeners hear them; those that are not cut out as one utterance are left out."""
    ears = Ears.open((EAR, LIGHT), None, Path(), 6, own=own)
    found = []
    for item, clip in items:
        cuts = list(utterances([sound_of(item)]))
        if len(cuts) == 1:
            made = ears.hear(cuts[0])
            found.append(Example(clip, cuts[0], made, text_for(made, clip)))
    return found


def is_confirmed(one: Example) -> bool:
    """Whether its entry would stand, or its question be answered with what it names."""
    made = decide(one.heard.candidates, one.clip.context, free_text=one.heard.free_text, seconds=one.heard.seconds)
    became = judged(one.heard, one.clip)
    named = [meaning for each in made for meaning in (each.meaning, *each.alternatives)]
    return bool(one.text) and (became == RIGHT or (became == ASKED and one.clip.meant in named))


def main() -> None:
    """Print it."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("voice")
    ask.add_argument("--level", type=float)
    ask.add_argument("--count", type=int, default=150, help="fitted to; as many are judged")
    asked = ask.parse_args()
    every = list(said(asked.voice, asked.level, 2 * asked.count))
    known = [one for one in heard(every[: asked.count], None) if is_confirmed(one)]
    began = time.process_time()
    own = fit([one.utterance.sound for one in known], [one.text for one in known], Plan())
    print(f"{len(known)} confirmed of {asked.count}, fitted in {time.process_time() - began:.0f} s of processor time")
    for what, adapters in (("without", None), ("with", own)):
        counts = Counter(judged(one.heard, one.clip) for one in heard(every[asked.count :], adapters))
        print(f"{what:8} {dict(counts)} cost of 100: {100 * cost(counts) / max(1, counts.total()):.1f}", flush=True)


if __name__ == "__main__":
    main()
