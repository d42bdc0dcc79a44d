"""The page's server listens on another address of this machine, at the same port, and where it did when it cannot.

Another address of this machine stands for the network's: 127.0.0.2 (RFC 1122, 3.2.1.3: all of 127/8 leads back here).
"""

from __future__ import annotations

import contextlib
import errno
import socket
import sys
import threading
from collections.abc import Iterator

import pytest

from journal.errors import BadInput
from tests.webui.conftest import Shop, text_of
from webui import connections, lan
from webui.connections import PageServer
from webui.grants import ADMITTED_HOURS
from webui.lan import HERE, Network, port_of
from webui.server import listening

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux has all of 127/8 without setting it up")
ELSEWHERE = "127.0.0.2"


@pytest.fixture
def server(shop: Shop) -> Iterator[PageServer]:
    """A server that runs, on this machine only."""
    made, ending = listening(shop.app, HERE, 0), threading.Event()

    def run() -> None:
        while not ending.is_set():
            made.asyncore.loop(timeout=0.02, map=made._map, count=1)

    runner = threading.Thread(target=run, daemon=True)
    runner.start()
    yield made
    ending.set()
    runner.join(5)
    made.task_dispatcher.shutdown(timeout=5)
    made.close()


def answers(server: PageServer, host: str, port: int | None = None) -> bool:
    """Whether a page comes from there."""
    with contextlib.suppress(OSError), socket.create_connection((host, port or port_of(server)), 5) as line:
        if port is None:
            line.sendall(b"GET /code HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n")
            return line.recv(12).startswith(b"HTTP/1.")
        return True
    return False


def test_it_moves_with_its_port_and_comes_back(server: PageServer) -> None:
    port = port_of(server)
    for host, other in ((ELSEWHERE, HERE), (HERE, ELSEWHERE)):
        server.listen_on(host)
        assert (server.effective_host, port_of(server)) == (host, port)
        assert answers(server, host) and not answers(server, other)


def test_an_address_that_it_cannot_have_is_told_and_it_listens_where_it_did(server: PageServer) -> None:
    with pytest.raises(OSError) as told:
        server.listen_on("192.0.2.1")  # of nobody (RFC 5737)
    assert told.value.errno == errno.EADDRNOTAVAIL
    assert server.effective_host == HERE and answers(server, HERE)


def test_one_that_does_not_answer_in_time_is_told(server: PageServer, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(connections, "MOVED_S", 0.01)
    monkeypatch.setattr(server.trigger, "pull_trigger", lambda work: None)
    with pytest.raises(OSError) as told:
        server.listen_on(ELSEWHERE)
    assert told.value.errno == errno.ETIMEDOUT and told.value.strerror


def test_lines_of_others_are_closed_when_only_this_machine_is_listened_to(
    server: PageServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "neighbour", lambda address: {ELSEWHERE: "the network"}.get(address, address))
    monkeypatch.setattr(connections, "THIS_MACHINE", HERE)
    ours, theirs = socket.socketpair(), socket.socketpair()
    mine = server.channel_class(server, ours[0], (HERE, 1), server.adj, map=server._map)
    other = server.channel_class(server, theirs[0], ("192.0.2.7", 1), server.adj, map=server._map)
    server.listen_on(ELSEWHERE)
    assert not mine.will_close and not other.will_close, "the network may come, and whoever is there stays"
    server.listen_on(HERE)
    assert other.will_close and not mine.will_close
    for end in (ours[1], theirs[1]):
        end.close()


def test_the_network_is_let_in_and_kept_out_once_each_and_told(shop: Shop, server: PageServer) -> None:
    told: list[str] = []
    network, state = Network(server, ELSEWHERE, 0, told.append), shop.app.extensions["journal"]
    network.shut()
    assert told == [] and not state.lan, "it was out"
    network.open()
    assert state.lan and answers(server, ELSEWHERE)
    secure = state.secure
    assert secure is not None and answers(server, ELSEWHERE, secure.port)
    network.open()
    assert state.secure is secure, "it was in"
    network.shut()
    assert told == ["Only browsers of this machine can open the journal now."]
    assert not state.lan and state.secure is None
    assert answers(server, HERE) and not answers(server, ELSEWHERE) and not answers(server, ELSEWHERE, secure.port)


def test_how_long_a_code_lets_in_is_told_on_the_terminal_and_on_the_page(shop: Shop, server: PageServer) -> None:
    told: list[str] = []
    network = shop.app.extensions["journal"].network = Network(server, ELSEWHERE, 0, told.append)
    again = f"give a code, and again after {ADMITTED_HOURS} hours."
    assert again in " ".join(text_of(shop.get("/devices")).split())
    network.open()
    network.tell()
    network.close()
    assert any(line.endswith(again) for line in told)
    assert "once" not in " ".join(told)


def test_a_network_that_cannot_be_listened_on_leaves_all_as_it_was(
    shop: Shop, server: PageServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(host: str) -> None:
        raise OSError(errno.EADDRINUSE, "Address already in use")

    network, state = Network(server, ELSEWHERE, 0, print), shop.app.extensions["journal"]
    kept, fronts = lan.secured, []
    monkeypatch.setattr(lan, "secured", lambda *given, **how: fronts.append(kept(*given, **how)) or fronts[-1])
    with monkeypatch.context() as while_taken:
        while_taken.setattr(server, "listen_on", refuse)
        with pytest.raises(BadInput, match=r"cannot be listened on: Address already in use; try again"):
            network.open()
    assert not state.lan and state.secure is None and fronts[0]._listening.fileno() == -1, "nothing is left listening"
    network.open()
    with monkeypatch.context() as while_taken:
        while_taken.setattr(server, "listen_on", refuse)
        with pytest.raises(BadInput, match=r"may still be listened on: Address already in use; end the journal"):
            network.shut()
    assert not state.lan, "whoever came by the code is out all the same"


def test_by_tls_it_listens_on_the_next_port_or_on_any_where_that_is_taken(shop: Shop, server: PageServer) -> None:
    state = shop.app.extensions["journal"]
    for taken in (False, True):
        network = Network(server, HERE, None, print)
        with contextlib.ExitStack() as stack:
            if taken:
                stack.enter_context(socket.create_server((HERE, port_of(server) + 1)))
            network.open()
            assert state.secure is not None
            assert (state.secure.port == port_of(server) + 1) is not taken
            assert answers(server, HERE, state.secure.port)
            network.close()
            assert state.secure is None
