"""A phone's microphone in a real browser over HTTPS, with sound from a file: nothing that is said is lost.

Chromium plays the file into its own fake microphone and converts its rate, which moves and rounds samples a bit: what
came is held to the bit against what that microphone gave to the page, and by likeness against the file.
"""

from __future__ import annotations

import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from journal.facts import Baseline, Cut, RunStarted
from journal.record.files import sha256_of
from journal.record.job import Job
from journal.record.spool import Spool
from tests.webui.browser import PHONE, opened, serving_securely
from tests.webui.conftest import FLAGS, Shop

pytest.importorskip("soundfile", reason="the speech extra is not installed")
pytest.importorskip("playwright.sync_api", reason="playwright is not installed")

import soundfile

from journal.hearing.endpoint import utterances
from journal.hearing.sources import blocks_from_file, read_file
from journal.hearing.types import RATE, Sound

DEMO = Path(__file__).resolve().parents[2] / "demo" / "orchard"
PATIENCE_MS = 60_000


@contextmanager
def phone_with(sound: Sound, folder: Path) -> Iterator[Any]:
    """A browser whose microphone hears this sound once, and which lets any page of a certificate of its own have it."""
    from playwright.sync_api import sync_playwright

    where = shutil.which("chromium") or shutil.which("chromium-browser")
    if where is None:
        pytest.skip("Debian's chromium is not installed")
    soundfile.write(folder / "said.wav", sound, RATE, subtype="PCM_16")
    more = [
        "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", "--ignore-certificate-errors",
        f"--use-file-for-fake-audio-capture={folder / 'said.wav'}%noloop",
    ]  # fmt: skip
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=where, args=[*FLAGS, *more])
        yield browser
        browser.close()


def samples_of(folder: Path, job: str) -> bytes:
    """All that came, of all streams."""
    data = b""
    for stream in Spool(folder, job).streams():
        at = stream.first
        while more := stream.samples(at, 1 << 20):
            data, at = data + more, at + len(more) // 2
    return data


def alone(context: Any) -> Any:
    """A page whose server starts no listener of its own: what was heard would be let go."""
    page = context.new_page()
    page.route("**/handset/listen", lambda route: route.fulfill(json={"words": ""}))
    return page


def came(folder: Path, job: str) -> Sound:
    """The same as sound."""
    return np.frombuffer(samples_of(folder, job), "<i2").astype(np.float32) / np.float32(32_768)


def until(done: Callable[[], bool], page: Any, seconds: float = 60.0) -> None:
    """Wait while the page goes on."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end, page.locator("#why").inner_text()
        page.wait_for_timeout(100)


KEEP = """() => {
    const add = Stream.prototype.add;
    window.recorded = [];
    Stream.prototype.add = function (samples) { recorded.push(samples.slice()); add.call(this, samples); };
}"""
"""Has the page keep a copy of all that its microphone gives."""

SUM = """async () => {
    const all = new Int16Array(recorded.reduce((sum, samples) => sum + samples.length, 0));
    let at = 0;
    for (const samples of recorded) { all.set(samples, at); at += samples.length; }
    const sum = new Uint8Array(await crypto.subtle.digest("SHA-256", all));
    return [all.length, [...sum].map((byte) => byte.toString(16).padStart(2, "0")).join("")];
}"""
"""How many samples that were, and their SHA-256."""


def sent(page: Any, folder: Path, job: str) -> bool:
    """Whether as much came as the phone's microphone gave, and no more is to come."""
    gave = page.evaluate("recorded.reduce((sum, samples) => sum + samples.length, 0)")
    return 2 * gave == len(samples_of(folder, job)) and all(stream.ended for stream in Spool(folder, job).streams())


def all_there(page: Any, folder: Path, job: str, said: Sound) -> None:
    """What came is to the bit what the phone's microphone gave; and that was what was said.

    Of the latter a little may be missing: on a busy machine the fake microphone itself leaves out moments.
    """
    data = samples_of(folder, job)
    assert page.evaluate(SUM) == [len(data) // 2, sha256_of(data)]
    got = came(folder, job)
    step, slack, shift = RATE // 2, RATE, 0
    found = []
    for begin in range(RATE, len(said) - step, step):
        its = said[begin : begin + step]
        if float(np.sqrt(np.mean(its**2))) < 0.015:
            continue
        first = max(0, begin + shift - slack)
        place, alike = found_in(its, got[first : begin + shift + step + slack])
        found.append(alike > 0.8)
        shift = first + place - begin if found[-1] else shift
    assert len(found) >= 6 and sum(found) / len(found) > 0.9, found


def found_in(its: Sound, got: Sound) -> tuple[int, float]:
    """Where in a sound another is likest to it, and how alike it is there, from -1 to 1."""
    assert len(got) >= len(its), "it ends before"
    size = 1 << int(np.ceil(np.log2(len(got) + len(its))))
    match = np.fft.irfft(np.fft.rfft(got, size) * np.conj(np.fft.rfft(its, size)), size)
    place = int(np.argmax(match[: len(got) - len(its) + 1]))
    mine = got[place : place + len(its)]
    return place, float(match[place] / np.sqrt(np.sum(its**2) * np.sum(mine**2) + 1e-12))


def dictated(seconds: float) -> Sound:
    """The first so many seconds of the demo's recordings, one after the other."""
    names = ("1-idle.flac", "2-half-engine.flac", "3-high-pressure.flac")
    return np.concatenate([read_file(DEMO / name) for name in names])[: round(seconds * RATE)]


@pytest.mark.parametrize("away_s", [3, pytest.param(60, marks=pytest.mark.long)])
def test_what_is_said_while_the_network_is_away_comes_when_it_is_back(lan: Shop, tmp_path: Path, away_s: int) -> None:
    job, said = lan.open(), dictated(away_s + 8)
    with phone_with(said, tmp_path) as browser, serving_securely(lan) as (_, by_tls), opened(browser, PHONE) as context:
        page = alone(context)
        page.goto(f"{by_tls}/job/{job}/handset")
        page.evaluate(KEEP)
        page.get_by_role("button", name="Start the microphone").click()
        until(lambda: len(came(lan.folder, job)) > 2 * RATE, page)
        context.set_offline(True)
        page.get_by_text("no line to the shop's machine").wait_for(timeout=PATIENCE_MS)
        assert page.locator("#state").inner_text() == "NOT LISTENING"
        page.wait_for_timeout(1000 * away_s)
        before = len(came(lan.folder, job))
        context.set_offline(False)
        until(lambda: len(came(lan.folder, job)) > len(said) + RATE, page)
        assert len(came(lan.folder, job)) - before > away_s * RATE, "it was away, and what was said then came after"
        page.get_by_role("button", name="Stop the microphone").click()
        until(lambda: sent(page, lan.folder, job), page)
        all_there(page, lan.folder, job, said)


CATCH = """() => {
    const Worklet = AudioWorkletNode;
    window.AudioWorkletNode = class extends Worklet {
        constructor(...how) { super(...how); window.node = this; }
    };
}"""
"""Has the page keep hold of where its sound comes from."""

LATE = """() => {
    document.getElementById("listen").click();
    const before = recorded.length;
    node.port.onmessage({ data: { at: Date.now(), samples: new Int16Array(512) } });
    return recorded.length - before;
}"""
"""Stops the microphone while a block of its sound is on its way; how many blocks were kept after that."""


def test_a_block_on_its_way_when_the_microphone_is_stopped_begins_no_stream(lan: Shop, tmp_path: Path) -> None:
    job, said = lan.open(), dictated(20)
    with phone_with(said, tmp_path) as browser, serving_securely(lan) as (_, by_tls), opened(browser, PHONE) as context:
        page = alone(context)
        page.goto(f"{by_tls}/job/{job}/handset")
        page.evaluate(KEEP)
        page.evaluate(CATCH)
        page.get_by_role("button", name="Start the microphone").click()
        until(lambda: len(came(lan.folder, job)) > 2 * RATE, page)
        assert page.evaluate(LATE) == 0
        until(lambda: all(stream.ended for stream in Spool(lan.folder, job).streams()), page)
        data = samples_of(lan.folder, job)
        assert page.evaluate(SUM) == [len(data) // 2, sha256_of(data)]
        assert len(Spool(lan.folder, job).streams()) == 1
        page.get_by_role("button", name="Start the microphone").click()
        until(lambda: len(Spool(lan.folder, job).streams()) == 2, page)


def free_ports() -> tuple[int, int]:
    """Two ports that nobody listens on."""
    with socket.socket() as one, socket.socket() as two:
        one.bind(("127.0.0.1", 0))
        two.bind(("127.0.0.1", 0))
        return one.getsockname()[1], two.getsockname()[1]


@contextmanager
def served(folder: Path, ports: tuple[int, int]) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The server as its own process, and the address that lets a browser in."""
    command = [sys.executable, "-m", "journal", "--journal", str(folder), "serve", "--lan"]
    command += ["--port", str(ports[0]), "--secure-port", str(ports[1])]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    try:
        assert process.stdout is not None
        found = re.search(r"http://127\.0\.0\.1:\d+/enter/[\w-]+", process.stdout.readline())
        assert found is not None
        yield process, found.group(0)
    finally:
        process.kill()
        process.wait()


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals between processes")
def test_what_is_said_while_the_server_is_killed_and_started_again_comes_then(lan: Shop, tmp_path: Path) -> None:
    job, said, ports = lan.open(), dictated(10), free_ports()
    with phone_with(said, tmp_path) as browser, opened(browser, PHONE, known=False) as context:
        page = alone(context)
        with served(lan.folder, ports) as (process, enter):
            page.goto(enter)
            page.goto(f"https://127.0.0.1:{ports[1]}/job/{job}/handset")
            page.evaluate(KEEP)
            page.get_by_role("button", name="Start the microphone").click()
            until(lambda: len(came(lan.folder, job)) > 2 * RATE, page)
            process.send_signal(signal.SIGKILL)
            page.get_by_text("no line to the shop's machine").wait_for(timeout=PATIENCE_MS)
        with served(lan.folder, ports):
            until(lambda: len(came(lan.folder, job)) > len(said) + RATE, page)
            page.get_by_role("button", name="Stop the microphone").click()
            until(lambda: sent(page, lan.folder, job), page)
            all_there(page, lan.folder, job, said)


def test_a_phone_that_is_put_out_is_the_microphone_no_more(lan: Shop, tmp_path: Path) -> None:
    job = lan.open()
    with (
        phone_with(dictated(20), tmp_path) as browser,
        serving_securely(lan) as (_, by_tls),
        opened(browser, PHONE) as context,
    ):
        page = alone(context)
        page.goto(f"{by_tls}/job/{job}/handset")
        page.get_by_role("button", name="Start the microphone").click()
        until(lambda: len(came(lan.folder, job)) > RATE, page)
        grants = lan.app.extensions["journal"].grants
        grants.put_out(grants.devices()[0].id)
        page.get_by_text("this phone was put out").wait_for(timeout=PATIENCE_MS)
        there = len(came(lan.folder, job))
        page.wait_for_timeout(1500)
        assert page.locator("#state").inner_text() == "NOT LISTENING"
        assert len(came(lan.folder, job)) == there


def test_readings_dictated_to_the_phone_become_entries_each_once_or_are_asked_about(lan: Shop, tmp_path: Path) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    # The phone is deaf while it answers, as the shop's own microphone is: whoever speaks waits for that.
    pause = np.zeros(3 * RATE, np.float32)
    every = [utterance.sound for utterance in utterances(blocks_from_file(DEMO / "1-idle.flac"))]
    phrases = [every[at] for at in (0, 2, 3, 4, 6)]  # the run, its baseline and three cylinders
    job, said = lan.open(), np.concatenate([part for phrase in phrases for part in (phrase, pause)])
    listen = [sys.executable, "-m", "journal", "--journal", str(lan.folder), "listen"]
    listener = subprocess.Popen([*listen, "--from", "phone"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        with (
            phone_with(said, tmp_path) as browser,
            serving_securely(lan) as (_, by_tls),
            opened(browser, PHONE) as context,
        ):
            page = alone(context)
            page.goto(f"{by_tls}/job/{job}/handset")
            until(lambda: bool(Spool(lan.folder, job).attended()), page)
            page.get_by_role("button", name="Start the microphone").click()
            page.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
            until(lambda: _read(lan, job) > 8 * RATE, page, 120)
            context.set_offline(True)
            page.get_by_text("no line to the shop's machine").wait_for(timeout=PATIENCE_MS)
            page.wait_for_timeout(4_000)
            context.set_offline(False)
            page.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
            until(lambda: Spool(lan.folder, job).streams()[0].taken > len(said) - 5 * RATE, page, 180)
    finally:
        listener.send_signal(signal.SIGINT)
        out, err = listener.communicate(timeout=60)
    assert "Traceback" not in err, err
    other = lan.open("Chipper 7")
    told = [*listen, "--from", str(tmp_path / "said.wav")]
    done = subprocess.run(told, capture_output=True, text=True, timeout=240)
    assert done.returncode == 0, done.stderr
    mine, its, waiting = readings(lan.job(job)), readings(lan.job(other)), lan.job(job).waiting
    assert out.count("heard  ") >= len(phrases), out
    # What the browser's own change of rate makes less certain may be asked about, and nothing else may become of it.
    assert len(mine) >= 3 and all(reading in its for reading in mine) and len(mine) == len(set(map(str, mine))), out
    assert len(its) - len(mine) <= len(waiting), out
    spoken = [entry for entry in lan.job(job).entries if entry.heard]
    assert spoken and all(entry.clip for entry in spoken), "each with its sound"


def test_starting_the_microphone_has_the_shops_machine_listen(lan: Shop, tmp_path: Path) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    pytest.importorskip("faster_whisper", reason="no recogniser is installed")
    job = lan.open()
    with (
        phone_with(dictated(30), tmp_path) as browser,
        serving_securely(lan) as (_, by_tls),
        opened(browser, PHONE) as context,
    ):
        page = context.new_page()
        page.goto(f"{by_tls}/job/{job}/handset")
        page.get_by_role("button", name="Start the microphone").click()
        page.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
        until(lambda: lan.job(job).runs != (), page, 120)
        page.locator("#heard", has_text="“").wait_for(timeout=PATIENCE_MS)


def test_a_listener_that_is_killed_is_told_on_the_phone_and_the_next_one_hears_what_was_said_meanwhile(
    lan: Shop, tmp_path: Path
) -> None:
    pytest.importorskip("pocketsphinx", reason="no recogniser is installed")
    job, said = lan.open(), dictated(40)
    spool = Spool(lan.folder, job)
    command = [sys.executable, "-m", "journal", "--journal", str(lan.folder), "listen", "--from", "phone"]
    command += ["--listener", "pocketsphinx"]
    with (
        phone_with(said, tmp_path) as browser,
        serving_securely(lan) as (_, by_tls),
        opened(browser, PHONE) as context,
    ):
        page = alone(context)
        page.goto(f"{by_tls}/job/{job}/handset")
        first = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            until(lambda: spool.attended() == first.pid, page)
            page.get_by_role("button", name="Start the microphone").click()
            page.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
            until(lambda: _read(lan, job) > 0, page)
        finally:
            first.kill()
            first.wait()
        page.get_by_text("nothing on the shop's machine listens to this phone").wait_for(timeout=PATIENCE_MS)
        assert page.locator("#state").inner_text() == "NOT LISTENING"
        there = spool.streams()[0].have
        until(lambda: spool.streams()[0].have > there + 3 * RATE, page)
        second = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            page.get_by_text("LISTENING", exact=True).wait_for(timeout=PATIENCE_MS)
            until(lambda: _read(lan, job) > there + 3 * RATE, page)
        finally:
            second.kill()
            second.wait()


def _read(shop: Shop, job: str) -> int:
    return max((stream.read for stream in Spool(shop.folder, job).streams()), default=0)


def readings(job: Job) -> list[object]:
    """What the job's runs came to."""
    bodies = [job.effective[entry.id].body for entry in job.entries if entry.id in job.effective]
    return [body for body in bodies if isinstance(body, RunStarted | Baseline | Cut)]
