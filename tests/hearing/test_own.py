"""A technician's own adapters: joined with the ear's, fitted, kept, refused and thrown away."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError, NotFound
from journal.hearing import own
from journal.hearing.types import Sound, Speakable

pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
# Compiling takes longer than the little that is run.
os.environ.setdefault("XLA_FLAGS", "--xla_backend_optimization_level=0 --xla_llvm_disable_expensive_passes=true")

from journal.hearing.ear import DOWN, SHIPPED, UP, joined
from journal.hearing.whisper import Whisper

NAME = "R. Ash"


def halves(seed: int, rank: int) -> dict[str, np.ndarray]:
    dice = np.random.default_rng(seed)
    return {
        "a" + UP: dice.standard_normal((5, rank)).astype(np.float32),
        "a" + DOWN: dice.standard_normal((rank, 7)).astype(np.float32),
        "b": dice.standard_normal(5).astype(np.float32),
    }


def test_what_is_joined_adds_what_both_add() -> None:
    """Held to numpy's sum of the two products, in double precision."""
    one, other = halves(1, 3), halves(2, 2)
    both = joined(one, {**other, "c": np.ones(2, dtype=np.float32)})
    wanted = sum(each["a" + UP].astype(float) @ each["a" + DOWN].astype(float) for each in (one, other))
    assert np.allclose(both["a" + UP] @ both["a" + DOWN], wanted, atol=1e-5)
    assert np.allclose(both["b"], one["b"] + other["b"])
    assert np.array_equal(both["c"], np.ones(2))


def test_a_few_steps_make_the_text_likelier_to_the_ear_itself(
    say: Callable[..., Sound], speakable: Speakable, monkeypatch: pytest.MonkeyPatch
) -> None:
    """ctranslate2 and the search judge, not the arithmetic that was fitted; one layer's matrices, to take seconds."""
    monkeypatch.setattr(own, "_TOGETHER", 1)
    sound, text = say("cylinder four cut, thirty eight"), "Cylinder 4 out, 39."
    ranks = (("encoder/layer_3/ffn", 2), ("decoder/layer_3/ffn", 2))
    fitted = own.fit([sound], [text], own.Plan(steps=2, rate=1e-2, ranks=ranks))
    assert {name.split("/")[1] for name in fitted} == {"layer_3"}

    def score(whisper: Whisper) -> float:
        whisper.hear(sound)
        return max(c.score for c in whisper.weigh(sound, [text]).candidates if "39" in c.text)

    assert score(Whisper(speakable, None, SHIPPED, fitted)) > score(Whisper(speakable, None, SHIPPED)) + 0.5


def test_what_is_kept_is_read_back_and_can_be_thrown_away(tmp_path: Path) -> None:
    told: list[str] = []
    kept = own.keep_own(tmp_path, NAME, halves(1, 2), {"clips": 90})
    read = own.read_own(tmp_path, NAME, told.append)
    assert read is not None
    assert all(np.allclose(read[name], value, atol=2e-3) for name, value in halves(1, 2).items())
    assert json.loads(kept.with_suffix(".json").read_text())["clips"] == 90
    assert own.read_own(tmp_path, "r ash", told.append) is None
    own.forget_own(tmp_path, NAME)
    assert own.read_own(tmp_path, NAME, told.append) is None
    assert told == [] and not list((tmp_path / own.FOLDER).iterdir())
    with pytest.raises(NotFound, match="R\\. Ash"):
        own.forget_own(tmp_path, NAME)


@pytest.mark.parametrize("harm", ["bytes", "record", "no record"])
def test_a_damaged_voice_is_left_out_with_a_line(tmp_path: Path, harm: str) -> None:
    told: list[str] = []
    kept = own.keep_own(tmp_path, NAME, halves(1, 2), {})
    record = kept.with_suffix(".json")
    match harm:
        case "bytes":
            kept.write_bytes(kept.read_bytes()[:-1] + b"x")
        case "record":
            record.write_text("[]")
        case _:
            record.unlink()
    assert own.read_own(tmp_path, NAME, told.append) is None
    assert len(told) == 1 and "damaged" in told[0] and "train-voice" in told[0]


def test_a_voice_for_another_ear_is_left_out_with_a_line(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    told: list[str] = []
    own.keep_own(tmp_path, NAME, halves(1, 2), {})
    monkeypatch.setattr(own, "checksum", lambda path: "0" * 64)
    assert own.read_own(tmp_path, NAME, told.append) is None
    assert len(told) == 1 and "another ear" in told[0]


def test_adapters_that_are_of_no_use_to_the_model_are_refused(speakable: Speakable) -> None:
    with pytest.raises(HearingError):
        Whisper(speakable, None, SHIPPED, halves(1, 2))
