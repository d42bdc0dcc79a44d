"""Names of recognisers turned into recognisers that are ready to hear, with what this machine has."""

from __future__ import annotations

import importlib.util
from collections.abc import Mapping, Sequence
from functools import partial
from pathlib import Path

from journal.errors import HearingError
from journal.hearing.apart import Apart
from journal.hearing.modelfile import Floats
from journal.hearing.pocketsphinx import PocketSphinx
from journal.hearing.types import Recogniser, Speakable

EAR = "ear"
"""Whisper with the journal's own adapters."""
NAMES = ("auto", EAR, "whisper", "vosk", "pocketsphinx")
"""What `--listener` takes."""
LIGHT = "pocketsphinx"
"""The one that every machine can run."""
ASKS_A_LOT = "PocketSphinx alone asks about nearly all it hears; for Whisper beside it install the speech extra"
"""What whoever listens with that one alone is told."""


def recognisers(
    names: Sequence[str],
    speakable: Speakable,
    model_dir: Path | None,
    models_home: Path,
    own: Mapping[str, Floats] | None = None,
) -> list[Recogniser]:
    """Recognisers by name, each loaded once.

    Args:
        names: of `NAMES`; empty means auto: the ear, or a Whisper model that the user named, with PocketSphinx beside
            it as the two fail differently, and Vosk too where an English model is found.
        speakable: what can be said.
        model_dir: a model folder the user named, for whichever recogniser it fits.
        models_home: the journal's own model folder.
        own: a technician's own adapters, for the ear.

    Raises:
        HearingError: a name is unknown, or a recogniser or its model cannot be had.
    """
    asked = names or ("auto",)
    for name in asked:
        if name not in NAMES:
            raise HearingError(f"{name!r} is no recogniser; choose of {', '.join(NAMES)}")
    if model_dir is not None and not model_dir.is_dir():
        raise HearingError(f"{model_dir} is no model folder; give the unpacked folder")
    chosen: dict[str, None] = {}
    for name in asked:
        chosen.update(dict.fromkeys(_found(model_dir, models_home) if name == "auto" else (name,)))
    if {"whisper", EAR} <= chosen.keys():
        raise HearingError(f"{EAR} is whisper with adapters; choose one of the two")
    if model_dir is not None and (kind := _kind(model_dir)) not in chosen:
        raise HearingError(f"{model_dir} is a model for {kind}; add --listener {kind}")
    if "pocketsphinx" not in chosen:
        return [_make(name, speakable, model_dir, models_home, own) for name in chosen]
    # Begun first, so that it loads while the others do; alone, so that it can be ended when it hangs.
    beside = Apart("pocketsphinx", partial(PocketSphinx, speakable))
    found = [beside if name == beside.name else _make(name, speakable, model_dir, models_home, own) for name in chosen]
    beside.ready()
    return found


def _found(model_dir: Path | None, models_home: Path) -> list[str]:
    """What this machine has, the most exact first; PocketSphinx where nothing is found, for its error."""
    from journal.hearing.vosk import find_model, is_model

    own = model_dir is not None and not is_model(model_dir)
    wanted = {"whisper" if own else EAR: "faster_whisper", "pocketsphinx": "pocketsphinx"}
    names = [name for name, module in wanted.items() if importlib.util.find_spec(module) is not None]
    if (model_dir is not None and is_model(model_dir)) or find_model(models_home) is not None:
        names.append("vosk")
    return names or ["pocketsphinx"]


def _kind(model: Path) -> str:
    """Which recogniser a model folder is for."""
    from journal.hearing.vosk import is_model

    if is_model(model):
        return "vosk"
    if (model / "model.bin").is_file():
        return "whisper"
    raise HearingError(f"{model} is neither a Vosk nor a Whisper model: give the folder that holds am or model.bin")


def _make(
    name: str, speakable: Speakable, model_dir: Path | None, models_home: Path, own: Mapping[str, Floats] | None
) -> Recogniser:
    from journal.hearing import vosk, whisper
    from journal.hearing.ear import SHIPPED

    def named_for(vosk_model: bool) -> Path | None:
        return model_dir if model_dir is not None and vosk.is_model(model_dir) == vosk_model else None

    if name in ("whisper", EAR):
        try:
            ear = SHIPPED if name == EAR else None
            return whisper.Whisper(speakable, named_for(vosk_model=False), ear, own)
        except ImportError as error:
            raise HearingError("Whisper is not installed; install the speech extra") from error
    if name == "pocketsphinx":
        return PocketSphinx(speakable)
    found = named_for(vosk_model=True) or vosk.find_model(models_home)
    if found is None:
        raise HearingError(
            "no English Vosk model found; run `journal models fetch vosk`, or name its folder with --model"
        )
    return vosk.Vosk(speakable, found)
