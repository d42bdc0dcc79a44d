"""The pages on a production server: a folder and an address in, answers out until it is told to stop."""

from __future__ import annotations

import contextlib
import ctypes
import gc
import signal
import socket
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

from flask import Flask

from journal.errors import BadInput, RecordError
from webui.app import create_app
from webui.certificate import own_certificate, own_names
from webui.connections import PageServer
from webui.network import lan_address
from webui.running import forget_address, keep_address
from webui.secure import SecureFront
from webui.shop import Secure, Shop

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
    front = None
    if lan:
        beside = port + 1 if port else 0
        front = secured(server, host, beside if secure_port is None else secure_port, or_any=secure_port is None)
    _stop_on_signals(shop)
    settle(shop)
    if (own := _own_address(host)) is not None:
        shop.entrance.keep = lambda address: keep_address(folder, address)
        address = shop.entrance.at(f"http://{own}:{port_of(server)}")
        announce(f"Journal at {address}  (Ctrl-C stops it)")
        announce("That address lets one browser of this machine in, once.")
        ready(address)
    if lan:
        announce(f"For other devices: http://{_shown(host)}:{port_of(server)}/")
        announce("The shop's network can see this journal, unencrypted; each device must give a code once.")
    if front is not None and shop.secure is not None:
        announce(f"Encrypted, as a phone needs it to be the microphone: https://{_shown(host)}:{front.port}/")
        announce(f"Fingerprint (SHA-256) of its certificate, of which a phone warns: {shop.secure.fingerprint}")
        front.start()
    if lan:
        announce(f"Code for the next device: {shop.door.shown}")
    try:
        server.run()
    finally:
        forget_address(folder)
        shop.close()
        if front is not None:
            front.close()
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


def secured(server: PageServer, host: str, port: int, *, or_any: bool = False) -> SecureFront:
    """What takes TLS connections for a server, with the journal's own certificate; it waits to be started.

    Args:
        server: the page's.
        host: address to listen on.
        port: TCP port; 0 for any free one.
        or_any: whether any will do where that one is taken.

    Raises:
        BadInput: when the address cannot be listened on.
        RecordError: when the certificate can neither be read nor written.
    """
    shop: Shop = server.app.extensions["journal"]
    own = own_certificate(shop.folder, own_names(host))
    try:
        front = SecureFront(server, own.context(), host, port if port <= 65535 else 0)
    except OSError as error:
        if or_any and port:
            return secured(server, host, 0)
        what = f"{host}:{port}: cannot listen there for HTTPS: {error.strerror}"
        raise BadInput(f"{what}; try another --secure-port") from None
    shop.secure = Secure(front.port, own.fingerprint)
    return front


def port_of(server: PageServer) -> int:
    """The TCP port a server listens on."""
    return int(server.effective_port)


def _own_address(host: str) -> str | None:
    """The address by which this machine reaches itself; none where only others are listened for."""
    if host in ("0.0.0.0", "::"):
        return "127.0.0.1" if host == "0.0.0.0" else "[::1]"
    return _shown(host) if _is_loopback(host) else None


def _is_loopback(host: str) -> bool:
    return host in ("localhost", "::1") or host.startswith("127.")


def _shown(host: str) -> str:
    if host not in ("0.0.0.0", "::"):
        return f"[{host}]" if ":" in host else host
    return lan_address() or socket.gethostname()


def _stop_on_signals(shop: Shop) -> None:
    def stop(number: int, frame: FrameType | None) -> None:
        # Open live pages must end first, or the server would wait for them.
        shop.watcher.close()
        raise SystemExit(0)

    signal.signal(signal.SIGINT, stop)
    signal.signal(signal.SIGTERM, stop)
    if sys.platform == "win32":
        signal.signal(signal.SIGBREAK, stop)
