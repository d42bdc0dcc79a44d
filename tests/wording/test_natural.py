"""What technicians say in their own words becomes the entries it should, over lists written for that.

All lists are of our own invention, each by another writer, and all were looked at by now. Before anything was set by
them, `tuned_j`, whose writer knew the style of `given`, came to 87 % right and none wrong of 200 (88 % and 1 wrong by
the code before), `tuned_k`, by one who knew none of them, to 78 % and 1 wrong of 160 (84 % and 4 by the code before),
`tuned_i` to 81 % right and 3 % wrong of 240 (81 and 2 % by the code before), `tuned_h` to 93 % and 1 % of
300 (93 % by the code before), `tuned_g` to 86 % and 1 % of 300, `tuned_f` to 69 % and 3 % of 300 (66 % by the code
before), `tuned_e` to 71 % and 5 % of 300, `tuned_d` to 83 % and 2 % of 320 (what only a note can hold among them), and,
when less was understood, `tuned_c` to 68 % and 5 % of 420 and `reported` to 88 % and 1 % of 300: a new list is the only
one to report on. `mended` holds what was not right before of
929 lines that a session wrote for itself (89 % right and 2 % wrong by the code before).
`python -m tests.wording.natural.score FILE --list` prints each line's verdict.
"""

from __future__ import annotations

import json
from collections import Counter
from pathlib import Path

import pytest

from tests.wording.natural.score import judge, play

FOLDER = Path(__file__).parent / "natural"
LEAST_UNDERSTOOD = {
    "given": 0.98,
    "tuned_a": 0.98,
    "tuned_b": 0.94,
    "tuned_c": 0.91,
    "tuned_d": 0.92,
    "tuned_e": 0.91,
    "tuned_f": 0.85,
    "tuned_g": 0.93,
    "tuned_h": 0.94,
    "tuned_i": 0.82,
    "tuned_j": 0.91,
    "tuned_k": 0.87,
    "mended": 0.98,
    "reported": 0.94,
}
"""Entered, or asked about as what it is, which is done where the words are far from what can be said."""
LEAST_RIGHT = {
    "given": 0.98,
    "tuned_a": 0.95,
    "tuned_b": 0.92,
    "tuned_c": 0.855,
    "tuned_d": 0.89,
    "tuned_e": 0.84,
    "tuned_f": 0.78,
    "tuned_g": 0.91,
    "tuned_h": 0.91,
    "tuned_i": 0.76,
    "tuned_j": 0.86,
    "tuned_k": 0.78,
    "mended": 0.98,
    "reported": 0.93,
}
MOST_WRONG = {
    "given": 0,
    "tuned_a": 0,
    "tuned_b": 0,
    "tuned_c": 0,
    "tuned_d": 0,
    "tuned_e": 0,
    "tuned_f": 0,
    "tuned_g": 0,
    "tuned_h": 0,
    "tuned_i": 1,
    "tuned_j": 0,
    "tuned_k": 0,
    "mended": 0,
    "reported": 1,
}
MOST_LOST = {
    "given": 0.01,
    "tuned_a": 0.01,
    "tuned_b": 0.02,
    "tuned_c": 0.02,
    "tuned_d": 0.01,
    "tuned_e": 0.02,
    "tuned_f": 0.04,
    "tuned_g": 0.02,
    "tuned_h": 0.02,
    "tuned_i": 0.06,
    "tuned_j": 0.03,
    "tuned_k": 0.05,
    "mended": 0,
    "reported": 0.01,
}


def lines(name: str) -> list[dict[str, object]]:
    """The phrases of a list; what only a note can hold counts apart."""
    found = [json.loads(line) for line in (FOLDER / f"{name}.jsonl").read_text("utf-8").splitlines()]
    return [line for line in found if line["group"] != "beyond"]


@pytest.mark.parametrize("name", sorted(LEAST_RIGHT))
def test_natural_phrases_are_understood(name: str, tmp_path: Path) -> None:
    said = lines(name)
    verdicts: Counter[str] = Counter()
    negatives: Counter[str] = Counter()
    for number, line in enumerate(said):
        taken, asks, _, not_understood = play(line, tmp_path / str(number))
        assert not not_understood, line["id"]
        verdict = judge(line, taken, asks)
        verdicts[verdict] += 1
        if line["group"] == "negative":
            negatives["entered" if taken else "let go"] += 1
    assert verdicts["right"] >= LEAST_RIGHT[name] * len(said), verdicts
    assert verdicts["right"] + verdicts["first"] >= LEAST_UNDERSTOOD[name] * len(said), verdicts
    assert verdicts["wrong"] <= MOST_WRONG[name], verdicts
    assert verdicts["lost"] <= MOST_LOST[name] * len(said), verdicts
    assert negatives["entered"] <= (1 if name == "reported" else 0), negatives
