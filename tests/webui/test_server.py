"""The production server: its address, its stop, and several of them at once."""

from __future__ import annotations

import hashlib
import os
import platform
import re
import signal
import socket
import ssl
import subprocess
import sys
import threading
import urllib.request
from pathlib import Path
from types import SimpleNamespace

import pytest

from journal.errors import BadInput
from tests.webui.conftest import Shop, text_of
from tests.webui.own import own_browser
from webui import create_app
from webui.lan import port_of
from webui.server import listening, serve


def started(folder: Path, *more: str) -> tuple[subprocess.Popen[str], str]:
    """A server as its own process, and the address it printed, which lets one browser in."""
    command = [sys.executable, "-m", "journal", "--journal", str(folder), "serve", "--port", "0", *more]
    # Its lines come at once by themselves, also where Python is not told so from outside.
    env = {name: value for name, value in os.environ.items() if name != "PYTHONUNBUFFERED"}
    process = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env)
    assert process.stdout is not None
    found = re.search(r"http://127\.0\.0\.1:\d+/enter/[\w-]+", process.stdout.readline())
    assert found is not None
    return process, found.group(0)


def let_in(address: str) -> tuple[urllib.request.OpenerDirector, str]:
    """A browser that followed the printed address, and where the pages are."""
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
    base = address.split("enter/")[0]
    with browser.open(address, timeout=20) as page:
        assert page.geturl() == base
    return browser, base


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGINT])
@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals between processes")
def test_it_prints_its_address_serves_and_stops_cleanly_with_a_live_page_open(shop: Shop, how: signal.Signals) -> None:
    job = shop.open()
    process, address = started(shop.folder)
    try:
        browser, base = let_in(address)
        assert b"Orchard pump 2" in browser.open(base, timeout=20).read()
        live = browser.open(f"{base}job/{job}/events", timeout=20)
        assert live.readline().startswith(b"retry:")
        process.send_signal(how)
        out, err = process.communicate(timeout=20)
    finally:
        process.kill()
    assert process.returncode == 0 and err == ""
    assert "Traceback" not in out


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no such signals between processes")
def test_with_lan_it_says_who_can_see_it_and_the_code(shop: Shop) -> None:
    process, _ = started(shop.folder, "--lan")
    assert process.stdout is not None
    assert "lets one browser of this machine in, once" in process.stdout.readline()
    assert re.match(r"For other devices: http://[^/]+/$", process.stdout.readline())
    assert "network can see this journal" in process.stdout.readline()
    secure = re.search(r"https://[^/]+:(\d+)/$", process.stdout.readline())
    fingerprint = re.search(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}$", process.stdout.readline())
    assert secure is not None and fingerprint is not None
    assert re.search(r"Code for the next device: \d{4} \d{4}", process.stdout.readline())
    came = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate(("127.0.0.1", int(secure[1])), timeout=20))
    assert hashlib.sha256(came).digest().hex(":").upper() == fingerprint[0], "what is told is what comes"
    process.send_signal(signal.SIGTERM)
    process.communicate(timeout=20)
    assert process.returncode == 0


def test_a_port_in_use_is_one_clear_line(tmp_path: Path) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        with pytest.raises(BadInput, match="try another --port"):
            serve(tmp_path, port=taken.getsockname()[1], announce=lambda line: None)


def test_two_servers_on_one_journal_both_write_and_see_it(shop: Shop) -> None:
    app = create_app(shop.folder)
    other = Shop(shop.folder, app, own_browser(app), [])
    job = shop.open()

    def write(made: Shop) -> None:
        for _ in range(5):
            made.post(f"/job/{job}/add", words="blow by light")

    writers = [threading.Thread(target=write, args=[made]) for made in (shop, other)]
    for writer in writers:
        writer.start()
    for writer in writers:
        writer.join()
    assert len(shop.job(job).checks) == 10
    assert text_of(other.get(f"/job/{job}/review")).count("blow by light") >= 10
    app.extensions["journal"].close()


def test_a_page_server_begun_in_an_empty_folder_makes_the_journal(tmp_path: Path) -> None:
    folder = tmp_path / "new journal"
    app = create_app(folder)
    assert own_browser(app).get("/").status_code == 200
    app.extensions["journal"].close()
    server = listening(app, "127.0.0.1", 0)
    assert port_of(server) > 0
    server.close()


def test_the_first_page_finds_the_closed_jobs_read_already(shop: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    import gc

    import journal.study
    from journal.facts import JobClosed
    from webui.server import settle

    for _ in range(3):
        shop.enter(shop.open(), JobClosed("injector", 2))
    job, read = shop.open(), []
    plain = journal.study.closed_job
    monkeypatch.setattr(journal.study, "closed_job", lambda one: read.append(one.id) or plain(one))
    try:
        with shop.app.app_context():
            settle(shop.app.extensions["journal"])
    finally:
        gc.unfreeze()
    assert len(read) == 3
    assert shop.get(f"/job/{job}").status_code == 200
    assert len(read) == 3, "no page reads them again"
    shop.enter(job, JobClosed("camshaft", 2))
    assert shop.get(f"/job/{shop.open()}").status_code == 200
    assert len(read) == 4, "what is closed since is read, and only that"


POOLS = """
import ctypes, sys, threading
from webui.server import one_pool

if sys.argv[1] == "one":
    one_pool()
together = threading.Barrier(9)

def work():
    kept = [bytearray(50_000) for _ in range(20)]
    together.wait()
    together.wait()

threads = [threading.Thread(target=work) for _ in range(8)]
for thread in threads:
    thread.start()
together.wait()
libc = ctypes.CDLL("libc.so.6")
libc.fdopen.restype = ctypes.c_void_p
libc.malloc_info(0, ctypes.c_void_p(libc.fdopen(1, b"w")))
libc.fflush(None)
together.wait()
"""
"""Threads that hold memory at the same time, then glibc's own account of its pools (malloc_info(3))."""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library has no such pools")
@pytest.mark.parametrize(("how", "most"), [("one", 1), ("as it comes", 99)])
def test_all_threads_take_their_memory_from_one_pool(root: Path, how: str, most: int) -> None:
    command = [sys.executable, "-c", POOLS, how]
    told = subprocess.run(command, cwd=root, capture_output=True, text=True, check=True).stdout
    pools = told.count("<heap nr=")
    assert 1 <= pools <= most
    assert pools > 1 or how == "one", "without it there are several"


def test_requests_that_wait_fill_no_terminal(capsys: pytest.CaptureFixture[str], shop: Shop) -> None:
    from waitress.task import ThreadedTaskDispatcher

    waiting = ThreadedTaskDispatcher()  # without a thread: all that comes waits
    for _ in range(50):
        waiting.add_task(SimpleNamespace(defer=lambda: None))
    assert len(waiting.queue) == 50
    assert capsys.readouterr().err == ""
