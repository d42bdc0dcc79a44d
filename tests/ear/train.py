"""Trains the ear: adapters to Whisper tiny.en, on the sounds that `tests.ear.data` made.

`python -m tests.ear.train FOLDER OUT --minutes 8` on one GPU; a CPU does the same, slowly. Of the passes it keeps the
one that is best on voices that are not trained on. Open dictation is kept by holding the trained model's chances, in
noise, to those that the untrained one gives to the clean sound.
"""

from __future__ import annotations

import argparse
import functools
import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
import tokenizers

from journal.hearing.arithmetic import encode, fresh, merged, scores
from journal.hearing.ear import DOWN
from journal.hearing.modelfile import variables
from journal.hearing.types import RATE
from journal.hearing.weights import shipped_model
from tests.ear.data import Said
from tests.ear.spoil import placed, spoilt

Array = Any
_WINDOWS = (6, 10)
"""Seconds, as the tool's own; of three steps two are with the first."""
_HOW_OFTEN = (2, 1)
_TOKENS = 48
_LOOK_EVERY = 400
_ROUND = 2**28
_OFTEN = {"kokoro": 8, "orders": 6, "digits": 2}
"""How many times as often sounds of a source are taken as others: natural voices and people are few."""
_PATIENCE = 8
"""Looks without any gain, after which it ends."""
_SHARES = (0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
_LEVELS = (60.0, 20.0, 10.0, 5.0)
_MELS, _HEADS = 80, 6


@dataclass(frozen=True)
class Plan:
    """How it is trained."""

    seed: int = 1
    minutes: float = 8.0
    steps: int = 10**9
    """At most, whatever time is left."""
    batch: int = 64
    ranks: tuple[tuple[str, int], ...] = (("encoder/", 48), ("decoder/", 16))
    rate: float = 6e-4
    warm_steps: int = 200
    """Over which the rate comes up."""
    open_share: float = 0.3
    """Of a batch."""
    windows: tuple[int, ...] = _WINDOWS


class Sounds:
    """What is trained on, on the device."""

    def __init__(self, folder: Path) -> None:
        """Args: folder, as `tests.ear.data` made it."""
        rows = (folder / "said.jsonl").read_text(encoding="utf-8").splitlines()
        self.said = [Said(**json.loads(row)) for row in rows]
        samples = np.load(folder / "sounds.npy")
        # To a round length, so that a step that was compiled for other sounds fits these.
        self.samples = jnp.asarray(np.pad(samples, (0, -len(samples) % _ROUND)))
        self.rooms = jnp.asarray(np.load(folder / "rooms.npy"))
        self.start = np.array([one.start for one in self.said])
        self.length = np.array([one.length for one in self.said])


class Words:
    """Texts as tokens."""

    def __init__(self, model: Path) -> None:
        self._of: Any = tokenizers.Tokenizer.from_file(str(model / "tokenizer.json"))
        self.end = int(self._of.token_to_id("<|endoftext|>"))
        self.prompt = [int(self._of.token_to_id(f"<|{mark}|>")) for mark in ("startoftranscript", "notimestamps")]

    def tokens(self, text: str) -> list[int]:
        """Prompt, text and end; shorter than `_TOKENS` where it can be trained on."""
        return [*self.prompt, *self._of.encode(f" {text}", add_special_tokens=False).ids, self.end]

    def text(self, tokens: Sequence[int]) -> str:
        """What was written."""
        return str(self._of.decode([t for t in tokens if t < self.end])).strip()


@functools.cache
def _mel_filters() -> np.ndarray:
    from faster_whisper.feature_extractor import FeatureExtractor

    return np.asarray(FeatureExtractor(feature_size=_MELS).mel_filters, dtype=np.float32)


def features(sound: Array, filters: Array) -> Array:
    """Log-mel features as Whisper's own, shape (utterances, mels, frames)."""
    wide = jnp.pad(sound, ((0, 0), (200, 200)), mode="reflect")
    frames = sound.shape[1] // 160
    at = jnp.arange(frames)[:, None] * 160 + jnp.arange(400)[None]
    window = jnp.asarray(np.hanning(401)[:-1], dtype=jnp.float32)
    power = jnp.abs(jnp.fft.rfft(wide[:, at] * window)) ** 2
    mel = jnp.log10(jnp.clip(jnp.einsum("mf,btf->bmt", filters, power, precision="highest"), 1e-10, None))
    mel = jnp.maximum(mel, mel.max((1, 2), keepdims=True) - 8.0)
    return (mel + 4.0) / 4.0


def _masked(key: Array, x: Array) -> Array:
    """SpecAugment (Park et al., 2019): stretches of time and bands taken out."""
    count, mels, frames = x.shape
    drawn = iter(jax.random.uniform(key, (9, count, 1, 1)))
    out = jnp.zeros((count, mels, frames), dtype=bool)
    for axis, size, widest in ((1, mels, 10), (1, mels, 10), (2, frames, 14), (2, frames, 14)):
        first, width = jnp.floor(next(drawn) * size), jnp.floor(next(drawn) * widest)
        at = jnp.arange(size).reshape((1, size, 1) if axis == 1 else (1, 1, size))
        out = out | ((at >= first) & (at < first + width))
    spared = next(drawn) < 0.4
    return jnp.where(out & ~spared, x.min((1, 2), keepdims=True), x)


def _half(w: Mapping[str, Array]) -> dict[str, Array]:
    return {name: value.astype(jnp.bfloat16) for name, value in w.items()}


def _chances(w: Mapping[str, Array], x: Array, tokens: Array) -> Array:
    half = _half(w)
    encoded = encode(half, x.astype(jnp.bfloat16), _HEADS)
    return jax.nn.log_softmax(scores(half, encoded, tokens[:, :-1], _HEADS), axis=-1)


def _of_text(chances: Array, tokens: Array, counted: Array) -> Array:
    """Mean loss of a token, over those that count."""
    told = jnp.take_along_axis(chances, tokens[:, 1:, None], axis=-1)[..., 0]
    return -(told * counted).sum() / jnp.maximum(counted.sum(), 1)


class Trainer:
    """Weights, adapters, and the steps."""

    def __init__(self, sounds: Sounds, words: Words, base: Mapping[str, np.ndarray], plan: Plan) -> None:
        self.sounds, self.words, self.plan = sounds, words, plan
        self.base = {n: jnp.asarray(v) for n, v in base.items() if v.ndim}
        self.ear: dict[str, Array] = {n: jnp.asarray(v) for n, v in fresh(base, dict(plan.ranks), plan.seed).items()}
        self.moved = tuple({n: np.zeros_like(v) for n, v in self.ear.items()} for _ in range(2))
        self.filters = jnp.asarray(_mel_filters())
        self.dice = np.random.default_rng(plan.seed)
        self._step = jax.jit(self._one_step, static_argnames=("samples", "opened"))
        self._look = jax.jit(self._loss_of, static_argnames=("samples",))
        self._placed = jax.jit(placed, static_argnames=("samples",))
        self._written = jax.jit(self._next_tokens)
        texts = self._texts()
        self.tokens = np.full((len(texts), _TOKENS), words.end)
        fits = np.zeros(len(texts), dtype=bool)
        self.counted = np.zeros((len(texts), _TOKENS - 1), dtype=np.float32)
        for n, text in enumerate(texts):
            ids = words.tokens(text)
            if text and len(ids) <= _TOKENS:
                fits[n] = True
                self.tokens[n, : len(ids)] = ids
                self.counted[n, len(words.prompt) - 1 : len(ids) - 1] = 1
        held = np.array([one.held_back for one in sounds.said])
        opened = np.array([one.open for one in sounds.said])
        self.opened, self.closed = (np.flatnonzero(fits & ~held & (opened == o)) for o in (True, False))
        self.held = np.random.default_rng(0).permutation(np.flatnonzero(fits & held))[: 8 * plan.batch]
        self.opened, self.closed = (
            np.repeat(some, [_OFTEN.get(sounds.said[n].source, 1) for n in some]) for some in (self.opened, self.closed)
        )

    def _texts(self) -> list[str]:
        """What is to be written; of what nobody wrote down, what the untrained model makes of it."""
        found = [one.text for one in self.sounds.said]
        unknown = [n for n, text in enumerate(found) if not text]
        for at in range(0, len(unknown), self.plan.batch):
            some = np.array(unknown[at : at + self.plan.batch])
            for n, text in zip(some, self.write(some), strict=True):
                found[n] = text
        return found

    def write(self, which: np.ndarray, w: Mapping[str, Array] | None = None) -> list[str]:
        """What a model, the untrained one without `w`, writes for clean sounds, the likeliest token each time."""
        w = self.base if w is None else w
        x = self._clean(which, 10 * RATE)
        tokens = np.full((len(which), _TOKENS), self.words.end)
        tokens[:, : len(self.words.prompt)] = self.words.prompt
        encoded = None
        for n in range(len(self.words.prompt), _TOKENS):
            encoded, following = self._written(w, x if encoded is None else None, encoded, jnp.asarray(tokens), n - 1)
            tokens[:, n] = np.where(tokens[:, n - 1] == self.words.end, self.words.end, np.asarray(following))
            if n > len(self.words.prompt) and (tokens[:, n] == self.words.end).all():
                break
        return [self.words.text(row[len(self.words.prompt) :]) for row in tokens.tolist()]

    def _next_tokens(self, w: Any, x: Any, encoded: Any, tokens: Any, at: Any) -> tuple[Array, Array]:
        if encoded is None:
            encoded = encode(w, features(x, self.filters), _HEADS)
        here = scores(w, encoded, tokens, _HEADS)[:, at]
        return encoded, here[:, : self.words.end + 1].argmax(-1)

    def _clean(self, which: np.ndarray, samples: int) -> Array:
        ones = np.ones(len(which), dtype=np.float32)
        start, length = self.sounds.start[which], self.sounds.length[which]
        return self._placed(self.sounds.samples, start, length, ones, ones * RATE // 2, samples=samples)[0]

    def step(self, rate: float) -> Array:
        """One step on a batch; its loss, once that is worked out."""
        plan, dice = self.plan, self.dice
        often = np.array(_HOW_OFTEN[: len(plan.windows)]) / sum(_HOW_OFTEN[: len(plan.windows)])
        samples = plan.windows[dice.choice(len(plan.windows), p=often)] * RATE
        opened = round(plan.open_share * plan.batch)
        short = [pool[self.sounds.length[pool] < samples / 1.25 - 1.3 * RATE] for pool in (self.opened, self.closed)]
        counts = (opened, plan.batch - opened) if len(short[0]) else (0, plan.batch)
        which = np.concatenate([dice.choice(p, n) for p, n in zip(short, counts, strict=True) if n])
        levels = np.where(dice.random(plan.batch) < 0.25, 60.0, dice.uniform(-1, 30, plan.batch))
        given = (
            self.sounds.start[which],
            self.sounds.length[which],
            dice.uniform(0.9, 1.12, plan.batch).astype(np.float32),
            (dice.uniform(0.1, 0.8, plan.batch) * RATE).astype(np.float32),
            levels.astype(np.float32),
            self.tokens[which],
            self.counted[which],
        )
        fixed = (self.base, self.sounds.samples, self.sounds.rooms)
        key = jax.random.key(dice.integers(2**31))
        self.ear, self.moved, loss = self._step(
            fixed, self.ear, self.moved, key, given, np.float32(rate), samples=samples, opened=counts[0]
        )
        return loss

    def _one_step(
        self, fixed: Any, ear: Any, moved: Any, key: Any, given: Any, rate: Any, *, samples: int, opened: int
    ) -> tuple[Any, Any, Any]:
        base, sounds, rooms = fixed
        start, length, faster, lead, levels, tokens, counted = given
        noisy, masks = jax.random.split(key)
        clean, end = placed(sounds, start, length, faster, lead, samples)
        x = _masked(masks, features(spoilt(noisy, clean, end, rooms, levels), self.filters))
        taught = _chances(base, features(clean[:opened], self.filters), tokens[:opened]) if opened else None

        def loss(ear: Any) -> Array:
            chances = _chances(merged(base, ear), x, tokens)
            total = _of_text(chances, tokens, counted)
            if taught is not None:
                apart = (jnp.exp(taught) * (taught - chances[:opened])).sum(-1) * counted[:opened]
                total = total + 0.5 * apart.sum() / jnp.maximum(counted[:opened].sum(), 1)
            return total

        value, slope = jax.value_and_grad(loss)(ear)
        norm = jnp.sqrt(sum((s**2).sum() for s in jax.tree.leaves(slope)))
        slope = jax.tree.map(lambda s: s / jnp.maximum(1.0, norm), slope)
        # Adam (Kingma and Ba, 2015), its bias left to the slow beginning.
        first = jax.tree.map(lambda m, s: 0.9 * m + 0.1 * s, moved[0], slope)
        second = jax.tree.map(lambda m, s: 0.98 * m + 0.02 * s**2, moved[1], slope)
        ear = jax.tree.map(lambda e, m, v: e - rate * (m / (jnp.sqrt(v) + 1e-8) + 0.01 * e), ear, first, second)
        return ear, (first, second), value

    def look(self) -> float:
        """The loss on what is held back, in noise of all levels; the same noise each time."""
        samples, found = max(self.plan.windows) * RATE, []
        for n, level in enumerate(_LEVELS):
            for at in range(0, len(self.held) - self.plan.batch + 1, self.plan.batch):
                some = self.held[at : at + self.plan.batch]
                clean = self._clean(some, samples)
                end = RATE / 2 + self.sounds.length[some]
                key = jax.random.key(100 * n + at)
                found.append(self._look(self.base, self.ear, key, clean, end, self.sounds.rooms, level,
                                        self.tokens[some], self.counted[some], samples=samples))  # fmt: skip
        return float(np.mean([np.asarray(f) for f in found])) if found else float("nan")

    def share(self) -> float:
        """How much of the adapters is best for open dictation in voices held back.

        Between the model before and after the training lies one that is better than both at what was not trained on
        (Wortsman et al., "Robust fine-tuning of zero-shot models", 2022). More of it gains phrases little.
        """
        whole, held = jax.device_get(self.ear), self.held
        opened = np.array([n for n in held if self.sounds.said[n].open], dtype=held.dtype)
        self.held = opened[: max(1, len(opened) // self.plan.batch) * self.plan.batch]
        found = []
        for share in _SHARES:
            self.ear = part(whole, share)
            found.append(self.look())
            print(f"{share:.1f} of it: {found[-1]:.4f}", flush=True)
        self.ear, self.held = whole, held
        return _SHARES[int(np.nanargmin(found))] if np.isfinite(found).any() else 1.0

    def _loss_of(
        self, base: Any, ear: Any, key: Any, clean: Any, end: Any, rooms: Any, level: Any, tokens: Any, counted: Any,
        *, samples: int,
    ) -> Array:  # fmt: skip
        x = spoilt(key, clean, end, rooms, jnp.full(len(clean), level))
        return _of_text(_chances(merged(base, ear), features(x, self.filters), tokens), tokens, counted)


def part(ear: Mapping[str, np.ndarray], share: float) -> dict[str, np.ndarray]:
    """So much of what adapters change."""
    return {name: value if name.endswith(DOWN) else value * share for name, value in ear.items()}


def train(trainer: Trainer) -> tuple[dict[str, np.ndarray], list[dict[str, float]]]:
    """The adapters that were best on what is held back, as much of them as is best there, and how it went."""
    plan = trainer.plan
    began, step = time.monotonic(), 0
    best, least, waited = trainer.ear, float("inf"), 0
    went: list[dict[str, float]] = []
    while True:
        gone = max((time.monotonic() - began) / 60 / plan.minutes, step / plan.steps)
        if step % _LOOK_EVERY == 0 or gone >= 1:
            loss = trainer.look()
            went.append({"step": step, "minutes": round((time.monotonic() - began) / 60, 2), "loss": round(loss, 4)})
            print(went[-1], flush=True)
            waited = 0 if not loss >= least else waited + 1
            if not loss >= least:
                best, least = trainer.ear, loss
            if gone >= 1 or waited > _PATIENCE:
                break
        trainer.step(plan.rate * min(1.0, (step + 1) / plan.warm_steps) * 0.5 * (1 + np.cos(np.pi * min(1.0, gone))))
        step += 1
    trainer.ear = best
    share = trainer.share()
    went.append({"share": share})
    return part(jax.device_get(best), share), went


def main() -> None:
    """Train it."""
    ask = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ask.add_argument("folder", type=Path)
    ask.add_argument("out", type=Path)
    ask.add_argument("--model", type=Path, help="a folder with ctranslate2's tiny.en; none for the shipped one")
    ask.add_argument("--seed", type=int, default=Plan.seed)
    ask.add_argument("--minutes", type=float, default=Plan.minutes)
    ask.add_argument("--rate", type=float, default=Plan.rate)
    asked = ask.parse_args()
    model = asked.model or shipped_model()
    plan = Plan(seed=asked.seed, minutes=asked.minutes, rate=asked.rate)
    trainer = Trainer(Sounds(asked.folder), Words(model), variables((model / "model.bin").read_bytes()), plan)
    print(f"{len(trainer.closed)} phrases, {len(trainer.opened)} open, {len(trainer.held)} held back", flush=True)
    ear, went = train(trainer)
    asked.out.mkdir(parents=True, exist_ok=True)
    np.savez(asked.out / "ear.npz", **{name: value.astype(np.float16) for name, value in ear.items()})
    (asked.out / "went.json").write_text(json.dumps({"seed": plan.seed, "went": went}), encoding="utf-8")


if __name__ == "__main__":
    main()
