"""`python -m tests.trust.day [HOURS]`: a day in a shop at many times real speed, counted against its script.

One process listens, job after job, through the same code as a microphone's sound takes: silence, the engine's noise,
talk, readings and a doubtful one. Meanwhile the page, a process of its own, is open in three browsers; photos arrive
through it, the question is answered on it and the parts desk answers its link. Every hour of sound it prints memory,
open files, threads and the journal's size, as they are then.

The speech is real; what recognises it knows the demo's lines (`tests/trust/road.py`), so that a fault of the road is
not hidden among a recogniser's.
"""

from __future__ import annotations

import http.cookiejar
import re
import socket
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
import urllib.request
import uuid
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from journal.facts import Answer, Body, Engine, Injection, JobOpened, PartAnswer, Photo, Question, Source
from journal.facts.codec import body_to_json
from journal.hearing.types import RATE, Candidate, Expect, Hearing, Sound
from journal.listening import Ears, Listening, listen
from journal.record.store import Store
from journal.record.verify import verify
from journal.session import Session, open_job
from tests.ground.script import fits, matched
from tests.trust.road import DEMO, KnownSpeech, Line, lines
from webui.live import DEAD_S

SIX = Engine(6, (1, 5, 3, 6, 2, 4), injection=Injection.HYDRAULIC)
JOB_S = 1200.0
"""Sound of one job, seconds."""
DOUBTED = "baseline at fifty six"
DOUBT = "baseline at fifty nine"
"""A line that is heard as either of two, so that a question must be asked."""
PICTURE = (DEMO / "orchard" / "blow-by.jpg").read_bytes()


class Doubting(KnownSpeech):
    """Known speech with one line that may have been another."""

    def hear(self, sound: Sound, expect: Expect = Expect.ANYTHING) -> Hearing:
        """As known speech; the doubted line with its rival right behind it."""
        heard = super().hear(sound, expect)
        if heard.candidates and heard.candidates[0].text == DOUBTED:
            doubted = Candidate(DOUBTED, -0.69, self.name), Candidate(DOUBT, -0.7, self.name)
            return replace(heard, candidates=doubted)
        return heard


class Browser:
    """One browser: it keeps its cookies and fills forms in as a person would."""

    def __init__(self, address: str, cookies: http.cookiejar.CookieJar | None = None) -> None:
        """At the page's address; with the cookies of one that was let in, or as a stranger."""
        self.address = address
        self.cookies = http.cookiejar.CookieJar() if cookies is None else cookies
        self.jar = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(self.cookies))

    def get(self, path: str) -> str:
        """A page."""
        with self.jar.open(self.address + path, timeout=30) as page:
            return str(page.read().decode())

    def send(self, form_at: str, path: str, fields: dict[str, str], photo: tuple[str, bytes] | None = None) -> str:
        """A form that stands on the page `form_at`, sent to `path`."""
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.get(form_at))
        assert found is not None, form_at
        fields = {"csrf_token": found[1], **fields}
        headers = {"Referer": self.address + form_at, "Origin": self.address}
        if photo is None:
            data = urllib.parse.urlencode(fields).encode()
        else:
            edge = uuid.uuid4().hex
            headers["Content-Type"] = f"multipart/form-data; boundary={edge}"
            data = _multipart(edge, fields, photo)
        with self.jar.open(urllib.request.Request(self.address + path, data, headers), timeout=30) as page:
            return str(page.read().decode())


def _multipart(edge: str, fields: dict[str, str], photo: tuple[str, bytes]) -> bytes:
    parts = [
        f'--{edge}\r\nContent-Disposition: form-data; name="{name}"\r\n\r\n{value}\r\n'.encode()
        for name, value in fields.items()
    ]
    head = f'--{edge}\r\nContent-Disposition: form-data; name="photos"; filename="{photo[0]}"\r\n'
    parts.append(head.encode() + b"Content-Type: image/jpeg\r\n\r\n" + photo[1] + b"\r\n")
    return b"".join(parts) + f"--{edge}--\r\n".encode()


@dataclass
class Day:
    """What a day amounts to."""

    seconds: float = 0.0
    """Sound heard, seconds."""
    jobs: int = 0
    """Jobs worked on."""
    said: int = 0
    """Entries the script said must come of the speech."""
    lost: list[str] = field(default_factory=list)
    """What is not as the script says, a line each."""
    asked: int = 0
    """How many of them were asked about first."""
    acknowledged: int = 0
    """Entries the session or the page said were on disk."""
    events: int = 0
    """Live updates the three browsers got."""
    samples: list[dict[str, float]] = field(default_factory=list)
    """Memory and the rest, one for each hour begun."""


def sound_of_job(script: tuple[Line, ...], seconds: float, chance: np.random.Generator) -> Iterator[Sound]:
    """The demo's lines in order with a shop's noise between them, so many seconds in all, or as long as they take."""
    spoken = sum(len(line.sound) for line in script) / RATE
    pause = max(0.9, (seconds - spoken) / (len(script) + 1))
    for line in script:
        yield noise(pause, chance)
        yield line.sound
    yield noise(pause, chance)


def noise(seconds: float, chance: np.random.Generator) -> Sound:
    """Silence, a fan, or an engine at idle, at a level that a voice beside the microphone stands above."""
    samples = round(seconds * RATE)
    hiss = chance.standard_normal(samples).astype(np.float32)
    kind = chance.integers(3)
    if kind == 0:
        return 1e-4 * hiss
    rumble = np.convolve(hiss, np.ones(24, dtype=np.float32) / 24, mode="same")
    if kind == 1:
        return 0.004 * rumble
    firing = 0.003 * np.sin(2 * np.pi * 35 * np.arange(samples) / RATE) ** 9
    return (0.003 * rumble + firing).astype(np.float32)


class Raw:
    """Blocks of sound as raw 16-bit bytes, as they come from a pipe."""

    def __init__(self, blocks: Iterator[Sound], day: Day) -> None:
        """Count what is read into the day."""
        self.blocks, self.day, self.left = blocks, day, b""

    def read(self, size: int) -> bytes:
        """The next bytes, fewer at the end."""
        while len(self.left) < size:
            block = next(self.blocks, None)
            if block is None:
                break
            self.left += (block.clip(-1, 1) * 32767).astype("<i2").tobytes()
        data, self.left = self.left[:size], self.left[size:]
        self.day.seconds += len(data) / 2 / RATE
        return data


def measure(store: Store, server: int) -> dict[str, float]:
    """Memory of both processes in MB, open files, threads, the journal's size in MB, as far as the system tells."""
    sample: dict[str, float] = {"threads": threading.active_count()}
    for name, process in (("listening MB", "self"), ("page MB", str(server))):
        status = Path(f"/proc/{process}/status")
        if status.is_file() and (found := re.search(r"VmRSS:\s+(\d+)", status.read_text())):
            sample[name] = int(found[1]) / 1024
            sample[name.replace("MB", "files")] = len(list(Path(f"/proc/{process}/fd").iterdir()))
    sample["database MB"] = sum(file.stat().st_size for file in store.folder.glob(f"{store.path.name}*")) / 1e6
    return sample


def watch(own: Browser, job: str, day: Day, ends: threading.Event) -> None:
    """A browser with the job's live page open: it takes each update and asks for what the page shows then."""
    browser = Browser(own.address, own.cookies)
    try:
        with browser.jar.open(f"{own.address}/job/{job}/events", timeout=60) as stream:
            while not ends.is_set():
                line = stream.readline()
                if not line:
                    return
                if line.startswith((b"event: changed", b"data: changed", b"event: heard")):
                    day.events += 1
                    browser.get(f"/job/{job}/live/now")
    except OSError as error:  # what a page answers with an error is one too
        day.lost.append(f"job {day.jobs + 1}: a live page failed: {error}")


def work_one_job(
    store: Store, known: KnownSpeech, script: tuple[Line, ...], person: Browser, day: Day, length: float
) -> None:
    """Open a job, hear it through, let page and parts desk take part, and hold it against the script."""
    job = open_job(store, JobOpened(f"Unit {day.jobs + 1}", SIX, "misses"), "Ash")
    session = Session(store, job, source=Source.VOICE)
    ends = threading.Event()
    watching = [threading.Thread(target=watch, args=(person, job, day, ends), daemon=True) for _ in range(3)]
    for thread in watching:
        thread.start()
    desk = Browser(person.address)
    kept: list[str] = []
    chance = np.random.default_rng(day.jobs)
    sys.stdin = SimpleNamespace(buffer=Raw(sound_of_job(script, length, chance), day))  # type: ignore[assignment]
    for number, one in enumerate(listen(session, Ears([known]), Listening(source=Path("-")))):
        for outcome in one.outcomes:
            if outcome.entry is None:
                continue
            kept.append(outcome.entry.id)
            if isinstance(outcome.entry.body, Question):
                choice = _meant(outcome.entry.body, script)
                time.sleep(DEAD_S + 0.1)  # nobody reads a question faster
                person.send(f"/job/{job}/live", f"/job/{job}/question/{outcome.entry.id}", {"choice": choice})
                day.acknowledged += 1
                day.asked += 1
        if number % 15 == 7:
            picture = PICTURE + f"{day.jobs} {number}".encode()
            person.send(f"/job/{job}/photos", f"/job/{job}/photos", {}, (f"{number}.jpg", picture))
            day.acknowledged += 1
    part = _ask_the_desk(person, desk, job, store)
    day.acknowledged += 2 + len(kept)
    ends.set()
    day.jobs += 1
    _hold_against_script(store, job, script, kept, part, day)
    # One more entry wakes each browser's stream, which then ends.
    session.type("note end of the day's work on this one")
    for thread in watching:
        thread.join(30)
        if thread.is_alive():
            day.lost.append(f"job {day.jobs}: a live page did not end")


def _meant(question: Question, script: tuple[Line, ...]) -> str:
    """Which option a person who knows what was said picks."""
    wanted = [entry for line in script for entry in line.entries]
    right = (i for i, body in enumerate(question.options) if any(fits(want, body_to_json(body)) for want in wanted))
    return str(next(right, 0))


def _ask_the_desk(person: Browser, desk: Browser, job: str, store: Store) -> str:
    parts = f"/job/{job}/parts"
    person.send(parts, parts, {"description": "valve bridge", "quantity": "1", "cylinder": "3"})
    shown = person.send(parts, f"/job/{job}/links", {"days": "1"})
    token = re.search(r"/desk/([\w.~-]+)", shown)
    assert token is not None
    wanted = store.job(job).parts[0].wanted.entry.id
    at = f"/desk/{token[1]}"
    answers = {"far": "ordered", "number": "B-3", "date": "2026-03-01"}
    desk.send(at, at, {f"{name}-{wanted}": text for name, text in answers.items()})
    return wanted


def _hold_against_script(
    store: Store, job_id: str, script: tuple[Line, ...], kept: list[str], part: str, day: Day
) -> None:
    job = store.job(job_id)
    on_disk = {entry.id for entry in job.entries}
    day.lost += [
        f"job {day.jobs}: entry {entry} was acknowledged and is gone" for entry in kept if entry not in on_disk
    ]
    wanted = [entry for line in script for entry in line.entries]
    made = [_meanings(entry.body) for entry in job.entries if entry.source is Source.VOICE]
    day.said += len(wanted)
    right = matched(wanted, made)
    if right != len(wanted) or len(made) != len(wanted):
        odd = [meanings for meanings in made if not any(fits(want, m) for want in wanted for m in meanings)]
        day.lost.append(f"job {day.jobs}: {right} of {len(wanted)} said, {len(made)} made; odd: {odd[:3]}")
    if job.waiting or not any(isinstance(entry.body, Answer) for entry in job.entries):
        day.lost.append(f"job {day.jobs}: {len(job.waiting)} questions wait, though each was answered")
    photos = sum(isinstance(entry.body, Photo) for entry in job.entries)
    if photos != 3:
        day.lost.append(f"job {day.jobs}: {photos} photos of 3")
    if not any(isinstance(entry.body, PartAnswer) and entry.body.part == part for entry in job.entries):
        day.lost.append(f"job {day.jobs}: the desk's answer is not there")


def _meanings(body: Body) -> list[dict[str, Any]]:
    """What an entry may mean: its body, or the options it asks about."""
    return [body_to_json(option) for option in body.options] if isinstance(body, Question) else [body_to_json(body)]


def simulate(
    hours: float, folder: Path, root: Path, job_s: float = JOB_S, tell: Callable[[Day], None] = lambda day: None
) -> Day:
    """Work through so many hours of sound in a journal in `folder`, with the project in `root`.

    `tell` is called with the day so far each time something was measured.
    """
    day = Day()
    script = lines()
    known = Doubting.of(script)
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "journal", "--journal", str(folder), "serve", "--port", str(port)]
    with Store.open(folder) as store, (folder / "server.txt").open("w") as said:
        server = subprocess.Popen(command, cwd=root, stdout=said, stderr=subprocess.STDOUT)
        try:
            _wait_for(f"http://127.0.0.1:{port}/code")
            person = Browser(f"http://127.0.0.1:{port}")
            entered = re.search(r"/enter/[\w-]+", (folder / "server.txt").read_text(encoding="utf-8"))
            assert entered is not None
            person.get(entered[0])
            while day.seconds < hours * 3600:
                if day.seconds >= 3600 * len(day.samples):
                    day.samples.append(measure(store, server.pid))
                    tell(day)
                work_one_job(store, known, script, person, day, job_s)
            day.samples.append(measure(store, server.pid))
            tell(day)
            day.lost += verify(store)
        finally:
            server.terminate()
            server.wait(30)
    for file in (folder / "server.txt", folder / "page.log"):
        if file.is_file() and re.search('Traceback|"event": "failed"', file.read_text(encoding="utf-8")):
            day.lost.append(f"an unhandled exception in {file.name}")
    return day


def _wait_for(address: str, seconds: float = 20) -> None:
    ends = time.monotonic() + seconds
    while True:
        try:
            urllib.request.urlopen(address, timeout=5).close()
            return
        except OSError:
            if time.monotonic() > ends:
                raise
            time.sleep(0.1)


def print_last(day: Day) -> None:
    """The last measurement as a line, the first one under a heading."""
    sample = day.samples[-1]
    if len(day.samples) == 1:
        print("  ".join(name.rjust(16) for name in ["hour", *sample]))
    hour = f"{day.seconds / 3600:.2f}"
    print("  ".join([hour.rjust(16), *(f"{value:.4g}".rjust(16) for value in sample.values())]), flush=True)


def main() -> int:
    """Run a day and print what it came to; the exit code is 0 when nothing was lost."""
    hours = float(sys.argv[1]) if len(sys.argv) > 1 else 8.0
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder:
        day = simulate(hours, Path(folder), Path(__file__).resolve().parents[2], tell=print_last)
    took = time.monotonic() - began
    print(f"{day.seconds / 3600:.2f} h of sound in {took / 60:.1f} min ({day.seconds / took:.0f} times real speed)")
    print(f"{day.jobs} jobs, {day.said} entries said, {day.asked} of them asked about")
    print(f"{day.acknowledged} entries acknowledged, {day.events} live updates")
    print("\n".join(day.lost) or "nothing lost")
    return 1 if day.lost else 0


if __name__ == "__main__":
    sys.exit(main())
