"""The page's server in, the same for the shop's network too out, by TLS beside it; and for this machine only again."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable

from journal.errors import BadInput
from webui.certificate import own_certificate, own_names
from webui.connections import PageServer
from webui.grants import ADMITTED_HOURS
from webui.network import lan_address
from webui.secure import SecureFront
from webui.shop import Secure, Shop

HERE = "127.0.0.1"
"""Where only this machine is listened to."""


class Network:
    """Whether other devices of the shop's network may reach a page's server; each must give a code in any case."""

    def __init__(self, server: PageServer, host: str, secure_port: int | None, announce: Callable[[str], None]) -> None:
        """Changes nothing yet.

        Args:
            server: the page's.
            host: address to listen on for other devices.
            secure_port: TCP port for TLS; 0 for any free one, none for the one after the page's, or any where that is
                taken.
            announce: takes each line for whoever started the journal.
        """
        self._server = server
        self._shop: Shop = server.app.extensions["journal"]
        self._host = host
        self._secure_port = secure_port
        self._announce = announce
        self._front: SecureFront | None = None
        self._lock = threading.Lock()

    def open(self) -> None:
        """Let other devices reach the pages; nothing where they do.

        Raises:
            BadInput: when the network cannot be listened on.
            RecordError: when the certificate can neither be read nor written.
        """
        with self._lock:
            if self._front is not None:
                return
            chosen = self._secure_port
            front = secured(self._server, self._host, port_of(self._server) + 1 if chosen is None else chosen,
                            or_any=chosen is None)  # fmt: skip
            try:
                if self._server.effective_host != self._host:
                    self._server.listen_on(self._host)
            except OSError as error:
                front.close()
                self._shop.secure = None
                raise BadInput(f"the shop's network cannot be listened on: {error.strerror}; try again") from None
            front.start()
            self._front, self._shop.lan = front, True

    def shut(self) -> None:
        """Let only this machine reach the pages; nothing where that is so.

        Raises:
            BadInput: when this machine alone cannot be listened on.
        """
        with self._lock:
            if self._front is None:
                return
            self._shop.lan = False
            self.close()
            try:
                self._server.listen_on(HERE)
            except OSError as error:
                raise BadInput(f"the network may still be listened on: {error.strerror}; end the journal") from None
        self._announce("Only browsers of this machine can open the journal now.")

    def close(self) -> None:
        """End what came by TLS, so that the server can stop."""
        if self._front is not None:
            self._front.close()
            self._front = self._shop.secure = None

    def tell(self) -> None:
        """Say where other devices can open the pages, and with which code."""
        here, secure = shown(self._host), self._shop.secure
        self._announce(f"For other devices: http://{here}:{port_of(self._server)}/")
        again = f"each device must give a code, and again after {ADMITTED_HOURS} hours"
        self._announce(f"The shop's network can see this journal, unencrypted; {again}.")
        if secure is not None:
            self._announce(f"Encrypted, as a phone needs it to be the microphone: https://{here}:{secure.port}/")
            self._announce(f"Fingerprint (SHA-256) of its certificate, of which a phone warns: {secure.fingerprint}")
        self._announce(f"Code for the next device: {self._shop.door.shown}")


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


def shown(host: str) -> str:
    """An address to listen on as others reach it."""
    if host not in ("0.0.0.0", "::"):
        return f"[{host}]" if ":" in host else host
    return lan_address() or socket.gethostname()
