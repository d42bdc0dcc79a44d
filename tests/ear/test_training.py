"""The training's arithmetic is ctranslate2's, its features are Whisper's own, and a few steps of it learn something."""

from __future__ import annotations

import json
import os
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest

from journal.hearing.types import RATE

pytest.importorskip("faster_whisper", reason="the speech extra is not installed")
# Compiling takes longer than the little that is run.
os.environ.setdefault("XLA_FLAGS", "--xla_backend_optimization_level=0 --xla_llvm_disable_expensive_passes=true")

import jax
import jax.numpy as jnp

from journal.hearing.arithmetic import encode, fresh, merged
from journal.hearing.ear import UP, adapted
from journal.hearing.modelfile import variables
from journal.hearing.weights import shipped_model
from tests.ear import train
from tests.ear.data import Said
from tests.ear.spoil import noise, placed


@pytest.fixture(scope="module")
def base() -> dict[str, np.ndarray]:
    return variables((shipped_model() / "model.bin").read_bytes())


def test_features_are_those_of_faster_whisper() -> None:
    from faster_whisper.feature_extractor import FeatureExtractor

    sound = np.random.default_rng(1).standard_normal(2 * RATE).astype(np.float32) * 0.1
    extractor = FeatureExtractor(feature_size=80)
    theirs = extractor(sound, padding=0)[:, :200]
    ours = train.features(jnp.asarray(sound[None]), jnp.asarray(extractor.mel_filters, dtype=jnp.float32))[0]
    assert np.abs(np.asarray(ours) - theirs).max() < 1e-3


def test_sound_is_encoded_as_ctranslate2_does_with_adapters_in_it(base: dict[str, np.ndarray]) -> None:
    """ctranslate2 is the outside reference: it loads the file with the same adapters in it."""
    import ctranslate2

    ear = fresh(base, {"encoder/": 4}, 1)
    dice = np.random.default_rng(2)
    ear = {name: value + 0.02 * dice.standard_normal(value.shape).astype(np.float32) for name, value in ear.items()}
    folder = shipped_model()
    files = {name: (folder / name).read_bytes() for name in ("config.json", "vocabulary.txt")}
    files["model.bin"] = adapted(folder / "model.bin", ear)
    model = ctranslate2.models.Whisper(str(folder), compute_type="float32", files=files)
    features = dice.uniform(-1, 1, (1, 80, 200)).astype(np.float32)
    theirs = np.array(model.encode(ctranslate2.StorageView.from_array(features), to_cpu=True))
    ours = np.asarray(encode(merged(base, ear), jnp.asarray(features), 6))
    assert np.linalg.norm(ours - theirs) / np.linalg.norm(theirs) < 5e-3


def test_adapters_change_nothing_before_they_are_trained(base: dict[str, np.ndarray]) -> None:
    ear = fresh(base, {"encoder/layer_0/": 2}, 1)
    whole = merged({name: value for name, value in base.items() if value.ndim}, ear)
    assert all(
        np.array_equal(whole[name.removesuffix(UP)], base[name.removesuffix(UP)]) for name in ear if name.endswith(UP)
    )
    assert {name.split("/")[1] for name in ear} == {"layer_0"}


def test_noise_is_as_loud_as_it_should_be_and_never_the_same() -> None:
    made = np.asarray(noise(jax.random.key(1), 3, RATE // 2))
    assert np.allclose(made.std(axis=1), 1, atol=0.02)
    assert np.abs(np.corrcoef(made) - np.eye(3)).max() < 0.9


def test_utterances_are_placed_where_they_should_be() -> None:
    sounds = np.concatenate((np.zeros(100), np.full(400, 16_384), np.zeros(100))).astype(np.int16)
    one = [np.array([value], dtype=np.float32) for value in (100, 400, 2.0, 50)]
    made, end = placed(jnp.asarray(sounds), one[0].astype(np.int32), *one[1:], 600)
    heard = np.flatnonzero(np.asarray(made[0]) > 0.4)
    assert (heard[0], round(float(end[0]))) == (50, 250)
    assert abs(int(heard[-1]) - 249) <= 1


def test_a_few_steps_learn_something(
    base: dict[str, np.ndarray], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On one sound in a model of one layer, a few of its matrices, so that it takes seconds on a CPU."""
    monkeypatch.setattr(train, "_ROUND", 1)
    # Noise is tried above; a step that makes it too takes long to compile.
    monkeypatch.setattr(train, "spoilt", lambda key, clean, end, rooms, decibels: clean)
    monkeypatch.setattr(train, "_SHARES", (0.5, 1.0))
    small = {n: v for n, v in base.items() if not any(f"layer_{k}/" in n for k in (1, 2, 3))}
    t = np.arange(RATE // 2) / RATE
    sound = (0.3 * np.sin(2 * np.pi * (300 + 400 * t) * t) * 32_767).astype(np.int16)
    np.save(tmp_path / "sounds.npy", np.concatenate([sound] * 4))
    np.save(tmp_path / "rooms.npy", np.eye(1, 200, dtype=np.float32))
    said = [Said(n * len(sound), len(sound), "38.2.", "flite", False, held_back=n > 1) for n in range(4)]
    (tmp_path / "said.jsonl").write_text("".join(json.dumps(asdict(one)) + "\n" for one in said), encoding="utf-8")
    plan = train.Plan(
        batch=2,
        steps=10,
        minutes=60,
        warm_steps=1,
        windows=(3,),
        rate=1e-2,
        ranks=(("encoder/layer_0/ffn", 2), ("decoder/layer_0/ffn", 2)),
    )
    trainer = train.Trainer(train.Sounds(tmp_path), train.Words(shipped_model()), small, plan)
    assert (len(trainer.closed), len(trainer.opened), len(trainer.held)) == (2, 0, 2)
    ear, went = train.train(trainer)
    assert went[-2]["loss"] < went[0]["loss"] - 0.5, went
    assert any(np.abs(value).max() > 0 for name, value in ear.items() if name.endswith(UP))
