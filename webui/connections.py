"""A production server that nobody keeps from others: so many connections an address, little patience, bodies judged.

Waitress reads a request's whole body before the application sees its head, waits two minutes for whoever says nothing,
and takes no further connection while a hundred are open; what is added here are the three bounds.
"""

from __future__ import annotations

import contextlib
import errno
import ipaddress
import os
import socket
import threading
import time
from io import BytesIO
from typing import Any

from flask import Flask
from waitress.adjustments import Adjustments
from waitress.channel import HTTPChannel
from waitress.parser import HTTPRequestParser, ParsingError
from waitress.server import TcpWSGIServer
from waitress.utilities import Error

from webui.bodies import Taken, judge
from webui.shop import Shop

AN_ADDRESS = 64
"""Connections that one address may have open: its longest idle one makes room for another."""

IN_ALL = 640
"""Connections that all addresses but this machine's may have open together; likewise."""

SECURE_IN_ALL = 128
"""Of these, such by TLS; each takes a third of a megabyte and three open files."""

FILES = 4 * IN_ALL
"""Files that the process asks to have open at most: many a system offers 1024 or 256 at first."""

SPARE_FILES = 200
"""Of these, what is left for all else: databases, photos, the log."""

FEWEST = 16
"""Connections taken from other addresses however few files may be open."""

SLOWEST = 2_000
"""Bytes a second below which a body keeps its place only while nobody else wants it."""

HEAD_S = 10.0
"""Seconds within which a request's head must have come, and all of what comes from whoever is not in."""

IDLE_S = 60.0
"""Seconds for which a connection may rest between two requests, or within the body of one."""


MOVED_S = 5.0
"""Seconds within which it must listen elsewhere."""

THIS_MACHINE = "this machine"


class PageServer(TcpWSGIServer):  # type: ignore[misc]  # waitress has no types
    """Waitress with bounds on connections, patience and bodies."""

    def __init__(self, app: Flask, host: str, port: int, threads: int) -> None:
        """Listen; `OSError` when the address cannot be listened on."""
        self.app = app
        self.channel_class = _Connection
        adjustments = Adjustments(
            host=host, port=port, threads=threads, ident=None, asyncore_use_poll=True, cleanup_interval=1,
            # Both are seen to here: waitress would stop listening.
            connection_limit=2 * IN_ALL, channel_timeout=int(IDLE_S),
            # Nobody could do anything about them, and whoever breaks lines off would fill the terminal.
            log_socket_errors=False,
        )  # fmt: skip
        self.most = max(FEWEST, min(IN_ALL, more_files() - SPARE_FILES - AN_ADDRESS - 3 * SECURE_IN_ALL))
        super().__init__(app, adj=adjustments)

    def maintenance(self, now: float) -> None:
        """Close connections that kept us waiting too long; `now` in seconds since 1970."""
        for connection in list(self.active_channels.values()):
            if connection.overdue(now):
                connection.drop()

    def take(self, line: socket.socket, address: tuple[str, int]) -> None:
        """Serve a connection whose TLS is seen to elsewhere, as one of this address; from any thread."""
        self.trigger.pull_trigger(lambda: _Secure(self, line, address, self.adj, map=self._map))

    def listen_on(self, host: str) -> None:
        """Listen on another of this machine's addresses at the same port; from a thread that answers a request.

        Lines that are open stay; where only this machine is listened to from now on, those of others are closed.

        Raises:
            OSError: when it cannot be listened on; it listens where it did, then.
        """
        moved, failed = threading.Event(), list[OSError]()

        def move() -> None:
            before = self.effective_host
            try:
                self._listen(host)
            except OSError as error:
                failed.append(error)
                self._listen(before)
            moved.set()

        self.trigger.pull_trigger(move)
        if not moved.wait(MOVED_S):
            raise OSError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT))
        if failed:
            raise failed[0]

    def _listen(self, host: str) -> None:
        self.del_channel()
        self.socket.close()
        self.create_socket(self.family, self.socktype)
        self.set_reuse_addr()
        self.bind((host, int(self.effective_port)))
        self.accept_connections()
        self.effective_host = host
        if neighbour(host) == THIS_MACHINE:
            for connection in list(self.active_channels.values()):
                if connection.whose != THIS_MACHINE:
                    connection.drop()

    def make_room(self, whose: str, scheme: str) -> bool:
        """Have room for one more connection; false when all that would have to give way are at work.

        Args:
            whose: its `neighbour`.
            scheme: `http` or `https`.
        """
        here = [connection for connection in self.active_channels.values() if not connection.will_close]
        crowds = [([connection for connection in here if connection.whose == whose], AN_ADDRESS)]
        if whose != THIS_MACHINE:  # which others keep nobody from
            others = [connection for connection in here if connection.whose != THIS_MACHINE]
            if scheme == "https":
                crowds.append(([connection for connection in others if connection.scheme == scheme], SECURE_IN_ALL))
            crowds.append((others, self.most))
        return all(_one_less(crowd) for crowd, most in crowds if len(crowd) >= most)

    def accept(self) -> Any:
        """The next connection with its address; none where it is gone, or no more files may be open."""
        try:
            return super().accept()
        except OSError as error:
            if error.errno in (errno.EMFILE, errno.ENFILE):
                _one_less([each for each in self.active_channels.values() if not each.will_close])
            return None


def _one_less(crowd: list[_Connection]) -> bool:
    """Drop the longest idle of these; false when all are at work."""
    idle = [connection for connection in crowd if not connection.at_work]
    if idle:
        min(idle, key=lambda connection: connection.last_activity).drop()
    return bool(idle)


def more_files() -> int:
    """Have this process be let open `FILES` files where it is let fewer; how many it is let open now."""
    try:
        import resource
    except ImportError:  # Windows has no such bound
        return FILES
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = FILES if hard == resource.RLIM_INFINITY else min(FILES, hard)
    if soft == resource.RLIM_INFINITY or soft >= wanted:
        return FILES if soft == resource.RLIM_INFINITY else soft
    with contextlib.suppress(OSError, ValueError):
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        return wanted
    return soft


def neighbour(address: str) -> str:
    """What counts as one address: this machine to itself, and a network of IPv6 that one device can have to itself."""
    try:
        parsed = ipaddress.ip_address(address)
    except ValueError:
        return address
    if parsed.is_loopback:
        return THIS_MACHINE
    return str(ipaddress.ip_network((address, 64), strict=False)) if parsed.version == 6 else address


class _Connection(HTTPChannel):  # type: ignore[misc]
    """One connection."""

    def __init__(self, server: PageServer, sock: Any, addr: Any, adj: Any, map: Any = None) -> None:
        self.whose = neighbour(str(addr[0]))
        room = server.make_room(self.whose, self.scheme)
        super().__init__(server, sock, addr, adj, map=map)
        self.began: float | None = self.creation_time
        """When it began to make us wait for a whole request; none while it does not."""
        if not room:
            self.drop()

    scheme = "http"
    """What its addresses begin with."""

    def parser_class(self, adj: Any) -> _Request:
        """A parser for the next request, that knows whose it is."""
        return _Request(adj, self.server.app, str(self.addr[0]), self.scheme)

    @property
    def at_work(self) -> bool:
        """Whether a request of it is being answered, or the body of one that may take its time comes in well enough."""
        if self.requests or not self._may_take_its_time:
            return bool(self.requests)
        waited = time.time() - (self.began or 0.0)
        return bool(waited < HEAD_S or self.request.body_bytes_received > SLOWEST * waited)

    @property
    def _may_take_its_time(self) -> bool:
        return self.request is not None and bool(self.request.taken.known)

    def received(self, data: bytes) -> Any:
        """Take in what came."""
        if self.request is None:
            self.began = time.time()
        done = super().received(data)
        if self.request is None:
            self.began = None
        return done

    def overdue(self, now: float) -> bool:
        """Whether it has made us wait too long."""
        if self.requests or self.will_close:
            return False
        if self.began is not None and not self._may_take_its_time:
            return now - self.began > HEAD_S
        return bool(now - self.last_activity > IDLE_S)

    def drop(self) -> None:
        """Close it, whether or not the other end takes what is still to be sent."""
        self.will_close = True
        with contextlib.suppress(OSError):
            self.socket.shutdown(socket.SHUT_RDWR)


class _Secure(_Connection):
    """One connection that comes by TLS."""

    scheme = "https"


class _Refused(Error):  # type: ignore[misc]
    """An answer to a request whose body is not read."""

    def __init__(self, status: int) -> None:
        self.code, self.reason = status, {403: "Forbidden", 413: "Content Too Large"}.get(status, "Too Many Requests")
        super().__init__("This was not taken in: start from the page's own address.")


class _Request(HTTPRequestParser):  # type: ignore[misc]
    """A request whose head decides whether its body is read."""

    def __init__(self, adj: Any, app: Flask, address: str, scheme: str) -> None:
        super().__init__(adj)
        self.app, self.address, self.scheme, self.taken = app, address, scheme, Taken()
        self.body_rcv: Any = None

    def parse_header(self, header_plus: bytes) -> None:
        """Read the head, then judge the body."""
        super().parse_header(header_plus)
        if self.chunked and "CONTENT_LENGTH" in self.headers:
            # RFC 9112, 6.1: where the next request begins is not certain, so the line is closed after the answer.
            raise ParsingError("a body has one length")
        self.url_scheme = self.scheme
        if self.body_rcv is None:
            return
        self.taken = judge(self.app, self.address, self.command, self.path, self.headers, self.content_length)
        if self.taken.status:
            self._refuse(self.taken.status, self.taken.why)
        elif self.content_length > self.taken.most:
            self.body_rcv = _LetGo(self.content_length)

    def received(self, data: bytes) -> Any:
        """Take in what came; a body that does not say its length ends where it gets too large."""
        consumed = super().received(data)
        if self.chunked and not self.completed and self.body_bytes_received > self.taken.most:
            self._refuse(413, "form too large")
        return consumed

    def _refuse(self, status: int, why: str) -> None:
        self.error, self.completed, self.expect_continue = _Refused(status), True, False
        shop: Shop = self.app.extensions["journal"]
        shop.log.unread(status, why, self.address)


class _LetGo:
    """Takes a body without keeping any of it; the application then sees from its head that it is too large."""

    error = None

    def __init__(self, size: int) -> None:
        self.left = size
        self.completed = False

    def received(self, data: bytes) -> int:
        """How much of what came belongs to it."""
        taken = min(len(data), self.left)
        self.left -= taken
        self.completed = self.left == 0
        return taken

    def getfile(self) -> BytesIO:
        """Nothing of it."""
        return BytesIO()

    getbuf = getfile
