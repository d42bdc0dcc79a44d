"""A phone that was let in as the microphone and camera of a job: its sound in, and what was made of it out."""

from __future__ import annotations

import math
import secrets
import tempfile
import time
from collections.abc import Mapping, Sequence
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from flask import Blueprint, flash, render_template, request, url_for
from flask import session as cookie
from flask.typing import ResponseReturnValue
from werkzeug.datastructures import FileStorage

from journal.errors import BadInput, HearingError, JournalError
from journal.facts import Seen
from journal.record.job import Asked, Fact, Job
from journal.record.spool import UNHEARD_S, Spool, pieces
from webui import camera
from webui.access import is_owner, loopback
from webui.acting import acting, done
from webui.files import photo_of
from webui.heard import heard_in
from webui.job import about
from webui.listener import PHONE, Wanted
from webui.live import told
from webui.log import refused
from webui.photos import bare_name
from webui.said import said
from webui.shop import shop

pages = Blueprint("handset", __name__)

KEPT_S = 600
"""Sound that a phone keeps while there is no line, seconds."""

LONGEST_MEMO_S = 600
"""A voice memo that is taken, seconds."""

MEMO_KINDS = "WAV, FLAC, OGG, AIFF or MP3"
"""What is read here where the phone cannot turn a memo into samples itself."""


@pages.get("/job/<job_id>/handset")
def view(job_id: str) -> ResponseReturnValue:
    """The microphone and the camera."""
    state = shop().state(job_id)
    Spool(shop().folder, state.job.id).let_go()
    shown = {**about(state, "phone"), **camera.view(state.job, "handset", job_id=job_id)}
    return render_template(
        "handset.html", **shown, secure=_secure_address(job_id), may=_may_listen(), minutes=KEPT_S // 60,
        kinds=MEMO_KINDS, unheard=round(UNHEARD_S / 60), owner=is_owner(), lan=shop().lan,
    )  # fmt: skip


def _may_listen() -> bool:
    """Whether the browser lets this page use the microphone: by TLS, or on this machine (W3C Secure Contexts, 3.1)."""
    return request.is_secure or _name() == "localhost" or loopback(_name())


def _name() -> str:
    """The host's name or address in this request, without a port."""
    return urlsplit(f"//{request.host}").hostname or ""


def _secure_address(job_id: str) -> str:
    """Where this very page is to be had by TLS; empty where it is not."""
    secure, name = shop().secure, _name()
    return f"https://{name}:{secure.port}{url_for('handset.view', job_id=job_id)}" if secure else ""


@pages.get("/job/<job_id>/handset/now")
def now(job_id: str) -> ResponseReturnValue:
    """What the open page shows by now."""
    return _now(job_id)


@pages.post("/job/<job_id>/handset")
def send(job_id: str) -> ResponseReturnValue:
    """Take in photos, or a voice memo."""
    session = acting(job_id)
    memo = request.files.get("memo")
    if memo is not None and memo.filename:
        _take_memo(session.job, memo)
    else:
        camera.take(session)
    return camera.answered(url_for("handset.view", job_id=job_id), lambda: _now(job_id))


@pages.post("/job/<job_id>/handset/cue")
def cue(job_id: str) -> ResponseReturnValue:
    """Say where the next photos belong."""
    camera.point(acting(job_id))
    return camera.answered(url_for("handset.view", job_id=job_id), lambda: _now(job_id))


@pages.post("/job/<job_id>/handset/listen")
def listen(job_id: str) -> ResponseReturnValue:
    """Have the shop's machine listen to this job's phones, unless it listens for another job."""
    job, listener = shop().state(job_id).job, shop().listener
    if job.closed is not None:
        raise BadInput("this job is closed: open it again to go on listening")
    wanted = listener.wanted
    if wanted is not None and wanted.job != job.id:
        raise BadInput("the shop's machine listens for another job now: stop that on its page Live first")
    lead = wanted.lead if wanted is not None else bool(cookie.get("lead"))
    listener.start(Wanted(job.id, PHONE, technician=str(cookie.get("technician", "")), lead=lead))
    return told("the shop's machine listens to this phone", url_for("handset.view", job_id=job_id))


@pages.get("/job/<job_id>/handset/photo/<sha256:sha>")
def photo(job_id: str, sha: str) -> ResponseReturnValue:
    """A small copy of a photo of this job."""
    return photo_of(shop().state(job_id).job, sha, "thumb")


@pages.post("/job/<job_id>/handset/sound/<stream>/<int:at>")
def sound(job_id: str, stream: str, at: int) -> ResponseReturnValue:
    """Keep a piece of sound, 16-bit samples as the body; how much of its stream is here, and what the page shows."""
    data = request.get_data()
    job = shop().state(job_id).job
    if not shop().quotas.sound_comes(_device(), max(1, math.ceil(len(data) / 32_000))):
        refused("too much sound by one device", again_and_again=True)
        return {"full": True, **_heard(job)}, 429
    try:
        if job.closed is not None:
            raise BadInput("this job is closed: open it again to go on listening")
        come = Spool(shop().folder, job.id).put(stream, at, data, device=_device(), age_s=_age())
    except BadInput as error:
        return {"refused": str(error)}, 400
    shop().speaking[_device()] = (job.id, time.monotonic())
    return {"have": come.have, "full": come.full, **_heard(job)}


@pages.post("/job/<job_id>/handset/sound/<stream>/end")
def end(job_id: str, stream: str) -> ResponseReturnValue:
    """There will be no more of this sound."""
    Spool(shop().folder, shop().state(job_id).job.id).end(stream, _device())
    return _heard(shop().state(job_id).job)


def _device() -> str:
    """The device that is asking; it was let in, or it would not have come so far."""
    return str(cookie["device"])


def _age() -> float:
    """How long ago the last sample was recorded, seconds, as the phone's own clock tells."""
    text = request.args.get("age", "0")[:20]
    try:
        return float(text)
    except ValueError:
        raise BadInput("age: give seconds") from None


def _now(job_id: str) -> dict[str, Any]:
    job = shop().state(job_id).job
    return {**camera.now(job, "handset", job_id=job_id), **_heard(job)}


def _heard(job: Job) -> dict[str, Any]:
    """Whether somebody hears what this phone sends, what was heard last, the answers to it, the question that waits."""
    spool = Spool(shop().folder, job.id)
    heard = heard_in(shop().folder)
    mine = heard.job == job.id
    after = request.args.get("after", "")
    answers = spool.answers(int(after) if after.isascii() and after.isdigit() and len(after) < 10 else 0)
    return {
        "attended": bool(spool.attended()),
        "heard": heard.heard if mine else "",
        "made": heard.made if mine else "",
        "answers": answers if after else answers[-1:],
        "asked": _asked(job.waiting[-1], job.seen) if job.waiting else None,
    }


def _asked(asked: Asked, shown: Mapping[str, Sequence[Fact[Seen]]]) -> dict[str, Any]:
    """The question that waits, the last one, as a page shows it."""
    seen = shown.get(asked.question.entry.id, ())
    entry, question = asked.question.entry, asked.question.body
    options = [said(option) for option in question.options]
    return {
        "id": entry.id,
        "at": url_for("live.answer", job_id=entry.job, entry_id=entry.id),
        "prompt": question.prompt,
        "crops": [url_for("files.seen", job_id=entry.job, entry_id=fact.entry.id) for fact in seen],
        "options": [f"Yes: {options[0]}"] if len(options) == 1 else options,
        "none": "No" if len(options) == 1 else "Neither",
    }


def _take_memo(job: Job, memo: FileStorage) -> None:
    """A voice memo becomes a stream of its own, heard as if it had been said when it was recorded."""
    name = bare_name(memo.filename or "")
    try:
        data = _samples(memo, name)
        if not shop().quotas.sound_comes(_device(), math.ceil(len(data) / 32_000)):
            raise BadInput(f"{name}: this phone has sent very much sound; wait a minute")
        spool, stream = Spool(shop().folder, job.id), secrets.token_hex(8)
        left = len(data)
        for at, piece in pieces(data):
            left -= len(piece)
            if spool.put(stream, at, piece, device=_device(), age_s=left / 32_000).full:
                raise BadInput(f"{name}: so much waits to be heard already; send it when that is done")
        spool.end(stream, _device())
    except JournalError as error:
        flash(str(error), "danger")
        refused("voice memo that cannot be heard")
        return
    done(f"{name} is in, and is heard as soon as the shop's machine listens to its phones")


def _samples(memo: FileStorage, name: str) -> bytes:
    """A memo's sound as a phone sends it: mono, 16 bits, 16,000 a second."""
    if find_spec("soundfile") is None:
        raise HearingError("sound cannot be read here: install the speech extra")
    import numpy as np

    from journal.hearing.sources import blocks_from_file
    from journal.hearing.types import RATE

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "memo"
        memo.save(path)
        parts, samples = [], 0
        try:
            for block in blocks_from_file(path):
                parts.append(np.round(np.clip(block, -1, 1) * 32_767).astype("<i2"))
                samples += len(block)
                if samples > LONGEST_MEMO_S * RATE:
                    raise BadInput(f"{name} is longer than {LONGEST_MEMO_S // 60} minutes: send it in parts")
        except HearingError:
            raise BadInput(
                f"{name} cannot be read here: send {MEMO_KINDS}, or open this page where the phone can convert it"
            ) from None
    return np.concatenate(parts).tobytes()
