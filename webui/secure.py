"""TLS connections in, their plain bytes to the page's own server, which judges them by where they come from."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import threading

from webui.connections import AN_ADDRESS, HEAD_S, IDLE_S, SECURE_IN_ALL, PageServer, neighbour

PIECE = 1 << 16
"""Bytes carried at once."""

FAREWELL_S = 3.0
"""Seconds in which the other end may take what is still to come, and say farewell."""

CROWD = 2 * SECURE_IN_ALL
"""Connections up to which that is waited for, those that are ending among them."""

CROWDED_S = 0.3
"""The same where there are more: what those hold that say none would add up."""


class SecureFront:
    """Listens beside the page's server, in a thread of its own; the bounds on connections are the server's."""

    def __init__(self, server: PageServer, context: ssl.SSLContext, host: str, port: int) -> None:
        """Listen; `OSError` when the address cannot be listened on."""
        self._server = server
        self._context = context
        self._listening = socket.create_server((host, port), backlog=128)
        self._listening.setblocking(False)
        self._open: set[asyncio.Task[None]] = set()
        self._greeting: dict[asyncio.Task[None], str] = {}
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(target=self._run, name="journal-tls", daemon=True)

    @property
    def port(self) -> int:
        """The TCP port it listens on."""
        return int(self._listening.getsockname()[1])

    def start(self) -> None:
        """Take connections from now on."""
        self._thread.start()

    def close(self) -> None:
        """Take no more, and end those that are open."""
        if self._thread.is_alive():
            self._loop.call_soon_threadsafe(self._end)
            self._thread.join(5)
        self._listening.close()

    def _end(self) -> None:
        for task in asyncio.all_tasks(self._loop):
            task.cancel()

    def _run(self) -> None:
        with contextlib.suppress(asyncio.CancelledError):
            self._loop.run_until_complete(self._take())
        # What was cancelled still closes its connection.
        left = asyncio.all_tasks(self._loop)
        if left:
            self._loop.run_until_complete(asyncio.wait(left, timeout=2))
        self._loop.close()

    async def _take(self) -> None:
        while True:
            try:
                line, peer = await self._loop.sock_accept(self._listening)
            except OSError:  # gone before it was taken, or too many files are open just now
                await asyncio.sleep(0.05)
                continue
            address = str(peer[0])
            self._make_room(address)
            task = self._loop.create_task(self._greet(line, address, int(peer[1])))
            self._open.add(task)
            self._greeting[task] = neighbour(address)
            task.add_done_callback(self._open.discard)
            task.add_done_callback(lambda done: self._greeting.pop(done, None))

    def _make_room(self, address: str) -> None:
        """Those that have not said who they are yet make room for one more, the earliest first."""
        same = [task for task, whose in self._greeting.items() if whose == neighbour(address)]
        if len(same) >= AN_ADDRESS:
            same[0].cancel()
        elif len(self._greeting) >= SECURE_IN_ALL:
            next(iter(self._greeting)).cancel()

    async def _greet(self, line: socket.socket, address: str, port: int) -> None:
        here = asyncio.current_task()
        reader = asyncio.StreamReader(PIECE, self._loop)
        protocol = asyncio.StreamReaderProtocol(reader, loop=self._loop)
        try:
            transport, _ = await self._loop.connect_accepted_socket(
                lambda: protocol, line, ssl=self._context, ssl_handshake_timeout=HEAD_S, ssl_shutdown_timeout=2.0
            )
        except (OSError, asyncio.CancelledError):  # no TLS, or it took too long
            line.close()
            return
        if here is not None:
            self._greeting.pop(here, None)
        writer = asyncio.StreamWriter(transport, protocol, reader, self._loop)
        ours, theirs = socket.socketpair()
        self._server.take(theirs, (address, port))
        inner, to_inner = await asyncio.open_connection(sock=ours)
        ways = [self._loop.create_task(_carry(reader, to_inner)), self._loop.create_task(_carry(inner, writer))]
        try:
            # Whichever end closes: the other has had all that came before.
            await asyncio.wait(ways, return_when=asyncio.FIRST_COMPLETED)
        finally:
            for way in ways:
                way.cancel()
            await asyncio.gather(*ways, return_exceptions=True)
            to_inner.close()
            writer.close()
            patience = FAREWELL_S if len(self._open) <= CROWD else CROWDED_S
            with contextlib.suppress(OSError, asyncio.CancelledError, TimeoutError):
                await asyncio.wait_for(writer.wait_closed(), patience)
            transport.abort()


async def _carry(source: asyncio.StreamReader, target: asyncio.StreamWriter) -> None:
    """Bytes from one end to the other until the first has no more, or the second takes none for too long."""
    with contextlib.suppress(OSError, TimeoutError):
        while piece := await source.read(PIECE):
            target.write(piece)
            await asyncio.wait_for(target.drain(), IDLE_S)
