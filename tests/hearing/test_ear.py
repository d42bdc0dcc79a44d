"""The adapters that ship are put into Whisper's weights as they should be, and only into the model they are for."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from journal.errors import HearingError
from journal.hearing.choose import recognisers
from journal.hearing.types import Sound, Speakable

pytest.importorskip("faster_whisper", reason="the speech extra is not installed")

from journal.hearing.ear import DOWN, SHIPPED, UP, adapted, read_ear
from journal.hearing.modelfile import contents, variables
from journal.hearing.weights import shipped_model
from journal.hearing.whisper import Whisper


@pytest.fixture(scope="module")
def file() -> Path:
    return shipped_model() / "model.bin"


def test_what_ships_is_what_its_record_tells_of() -> None:
    record = json.loads(SHIPPED.with_suffix(".json").read_text(encoding="utf-8"))
    assert hashlib.sha256(SHIPPED.read_bytes()).hexdigest() == record["sha256"]
    assert SHIPPED.stat().st_size <= 4_000_000
    assert all(record[what] for what in ("date", "recipe", "voices", "recordings", "licence"))


def test_products_and_sums_are_put_into_the_weights(file: Path) -> None:
    """Held to numpy's own product of the two halves, in double precision."""
    ear = read_ear()
    before, after = variables(file.read_bytes()), variables(adapted(file, ear))
    assert before.keys() == after.keys()
    changed = {name.removesuffix(UP) for name in ear if not name.endswith(DOWN)}
    for name, value in before.items():
        wanted = value.astype(np.float64)
        if name + UP in ear:
            product = ear[name + UP].astype(np.float64) @ ear[name + DOWN].astype(np.float64)
            wanted = wanted + product.reshape(value.shape)
        elif name in ear:
            wanted = wanted + ear[name]
        assert np.allclose(after[name], wanted, rtol=1e-3, atol=1e-4), name
        assert (name in changed) == (not np.array_equal(after[name], value)), name
    assert any(name.startswith("encoder/") for name in changed)
    assert any(name.startswith("decoder/") for name in changed)


def test_a_model_file_keeps_its_layout(file: Path) -> None:
    model, made = file.read_bytes(), adapted(file, read_ear())
    assert len(made) == len(model)
    assert list(contents(made)) == list(contents(model))


def test_adapters_for_another_model_are_refused(file: Path) -> None:
    with pytest.raises(ValueError, match="another model"):
        adapted(file, {"encoder/layer_9/ffn/linear_0/bias": np.zeros(4, dtype=np.float32)})
    with pytest.raises(ValueError, match="Whisper"):
        list(contents(b"\x00" * 4 + b"\x01\x00\x00"))
    with pytest.raises(ValueError, match="too soon"):
        list(contents(file.read_bytes()[:100_000]))


def test_damaged_adapters_are_said_to_be_damaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    damaged = tmp_path / "ear.npz"
    data = bytearray(SHIPPED.read_bytes())
    data[len(data) // 2] ^= 1
    damaged.write_bytes(data)
    damaged.with_suffix(".json").write_bytes(SHIPPED.with_suffix(".json").read_bytes())
    monkeypatch.setattr("journal.hearing.ear.SHIPPED", damaged)
    with pytest.raises(HearingError, match="install the journal again"):
        read_ear(damaged)
    damaged.unlink()
    with pytest.raises(HearingError, match="install the journal again"):
        read_ear(damaged)


def test_both_ears_hear_a_reading(speakable: Speakable, say: Callable[..., Sound]) -> None:
    sound = say("cylinder four cut, thirty eight")
    [trained] = recognisers(["ear"], speakable, None, Path())
    [plain] = recognisers(["whisper"], speakable, None, Path())
    texts = []
    for each in (trained, plain):
        heard = each.hear(sound)
        texts.append([(c.text, c.score) for c in heard.candidates])
        assert "38" in heard.candidates[0].text.replace("thirty eight", "38").replace("thirty-eight", "38")
    assert (trained.name, plain.name) == ("ear", "whisper")
    assert texts[0] != texts[1], "one of them has adapters in it"
    named = Whisper(speakable, shipped_model()).hear(sound)
    assert [(c.text, c.score) for c in named.candidates] == texts[1], "a folder that is named is left as it is"


def test_the_same_listener_is_not_taken_twice(speakable: Speakable) -> None:
    with pytest.raises(HearingError, match="choose one"):
        recognisers(["whisper", "ear"], speakable, None, Path())
