"""The pages on a production server: a folder and an address in, answers out until it is told to stop."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

from flask import Flask

from journal.errors import BadInput, RecordError
from webui.app import create_app
from webui.connections import PageServer
from webui.lan import Network, port_of, shown
from webui.running import forget_address, keep_address
from webui.shop import Shop

PORT = 8470
"""The port used where none is asked for."""

THREADS = 48
"""Answers at once; an open live page holds one of them, asleep."""


M_ARENA_MAX, M_MMAP_THRESHOLD = -8, -3
"""Numbers of settings in glibc's malloc.h: most pools of memory a process has, and the size from which on a piece of
memory is the system's again as soon as it is freed, bytes."""


def _print(line: str) -> None:
    # At once: whoever started the server from another program waits for the address.
    print(line, flush=True)


def serve(
    folder: Path,
    host: str = "",
    port: int = PORT,
    lan: bool = False,
    *,
    secure_port: int | None = None,
    announce: Callable[[str], None] = _print,
    ready: Callable[[str], None] = lambda address: None,
) -> None:
    """Serve the journal in `folder` until Ctrl-C or a request to end; prints the address first.

    Args:
        folder: the journal's folder.
        host: address to listen on; empty for this machine only, or for all of its networks with `lan`.
        port: TCP port; 0 for any free one.
        lan: whether other devices of the shop's network may reach it, with a code.
        secure_port: TCP port for HTTPS beside it, with `lan`; 0 for any free one, none for the one after `port`, or
            any where that is taken.
        announce: takes each line to print.
        ready: takes the address that lets one browser of this machine in, once it can be opened.

    Raises:
        BadInput: when the address cannot be listened on.
        RecordError: when the journal cannot be opened.
    """
    host = host or ("0.0.0.0" if lan else "127.0.0.1")
    if not lan and not _is_loopback(host):
        raise BadInput(f"{host} can be reached from the network: say --lan to allow that, with a code for each device")
    one_pool()
    app = create_app(folder, lan=lan, announce=announce)
    shop: Shop = app.extensions["journal"]
    server = listening(app, host, port)
    network = shop.network = Network(server, host if lan else "0.0.0.0", secure_port, announce)
    if lan:
        network.open()
    _stop_on_signals(shop)
    settle(shop)
    if (own := _own_address(host)) is not None:
        shop.entrance.keep = lambda address: keep_address(folder, address)
        address = shop.entrance.at(f"http://{own}:{port_of(server)}")
        announce(f"Journal at {address}  (Ctrl-C stops it)")
        announce("That address lets one browser of this machine in, once.")
        ready(address)
    if lan:
        network.tell()
    try:
        server.run()
    finally:
        forget_address(folder)
        shop.close()
        network.close()
        server.close()


def one_pool() -> None:
    """Have all threads take their memory from one pool, where the C library is glibc; elsewhere do nothing.

    glibc gives threads a pool each, up to eight for a core (mallopt(3), M_ARENA_MAX), and each keeps room for the
    largest answer it ever made; as the answers go round all the threads, these rooms fill over a day. Python runs one
    thread at a time anyway, so that nobody waits for the one pool. What a large photo took is given back at once.
    """
    with contextlib.suppress(OSError, AttributeError):
        libc = ctypes.CDLL("libc.so.6")
        libc.mallopt(M_ARENA_MAX, 1)
        libc.mallopt(M_MMAP_THRESHOLD, 1 << 20)


def settle(shop: Shop) -> None:
    """Do before the first page what would make it wait: read the closed jobs, and put what is loaded out of the way.

    A full garbage collection in the midst of a page looks at everything that is loaded, which takes longer than many
    a page; what is there before the first one stays for good and need not be looked at again (Python's `gc.freeze`).
    """
    with contextlib.suppress(RecordError):  # another program holds the journal: they are read with the first page
        shop.learn()
    gc.collect()
    gc.freeze()


def listening(app: Flask, host: str, port: int) -> PageServer:
    """A server for the application that has its address and waits to be run.

    Raises:
        BadInput: when the address cannot be listened on.
    """
    try:
        server = PageServer(app, host, port, THREADS)
        app.extensions["journal"].port = port_of(server)
        return server
    except OSError as error:
        raise BadInput(f"{host}:{port}: cannot listen there: {error.strerror}; try another --port") from None


def _own_address(host: str) -> str | None:
    """The address by which this machine reaches itself; none where only others are listened for."""
    if host in ("0.0.0.0", "::"):
        return "127.0.0.1" if host == "0.0.0.0" else "[::1]"
    return shown(host) if _is_loopback(host) else None


def _is_loopback(host: str) -> bool:
    return host in ("localhost", "::1") or host.startswith("127.")


def _stop_on_signals(shop: Shop) -> None:
    def stop(number: int, frame: FrameType | None) -> None:
        # Open live pages must end first, or the server would wait for them.
        shop.watcher.close()
        raise SystemExit(0)

    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
    if sys.platform == "win32":
        signal.signal(signal.SIGBREAK, stop)
