"""Listen, Stop and the choice of the microphone: the page starts the listener, and ends it."""

from __future__ import annotations

import subprocess
import sys
import threading
import time

from flask import Blueprint, session, url_for
from flask.typing import ResponseReturnValue

from journal.errors import BadInput
from journal.output.speaking import WAYS
from webui.acting import field
from webui.listener import Wanted
from webui.live import told
from webui.shop import shop

pages = Blueprint("listening", __name__)

_KNOWN_S = 5.0
"""Seconds for which a list of microphones is good: several pages ask for it at once."""

_asking = threading.Lock()
_known: tuple[float, list[dict[str, str]]] = (-_KNOWN_S, [])


@pages.post("/job/<job_id>/listen")
def listen(job_id: str) -> ResponseReturnValue:
    """Listen for this job, or no more."""
    job = shop().state(job_id).job
    if field("act", 10) == "stop":
        shop().listener.stop()
        return told("stopped", url_for("live.live", job_id=job_id))
    if job.closed is not None:
        raise BadInput("this job is closed: reopen it under Finish to go on")
    voice = field("voice", 10) or "spoken"
    if voice not in WAYS:
        raise BadInput("choose how it answers")
    session["voice"], session["microphone"] = voice, field("microphone", 120)
    technician = str(session.get("technician", ""))
    session["lead"] = bool(field("lead", 5))
    shop().listener.start(Wanted(job_id, session["microphone"], voice, technician, session["lead"]))
    return told("starting to listen", url_for("live.live", job_id=job_id))


@pages.get("/microphones")
def microphones() -> ResponseReturnValue:
    """The machine's microphones, by number and name.

    A process of its own lists them: PortAudio looks once, when it starts, and would not see one plugged in later.
    """
    global _known
    with _asking:
        at, found = _known
        if time.monotonic() - at >= _KNOWN_S:
            found = _listed()
            _known = time.monotonic(), found
    return {"microphones": found, "chosen": str(session.get("microphone", ""))}


def _listed() -> list[dict[str, str]]:
    ask = [sys.executable, "-m", "journal", "listen", "--microphones"]
    try:
        done = subprocess.run(ask, capture_output=True, text=True, errors="replace", timeout=60)
    except (OSError, subprocess.TimeoutExpired):
        return []
    pairs = (line.split(" ", 1) for line in done.stdout.splitlines() if line[:1].isdigit() and " " in line)
    return [{"number": number, "name": name} for number, name in pairs]
