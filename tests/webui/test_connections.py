"""The running server: idle lines, slow heads and great bodies of strangers cost nobody anything."""

from __future__ import annotations

import contextlib
import errno
import io
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from datetime import timedelta
from typing import Any

import pytest
from werkzeug.test import EnvironBuilder

from tests.webui.browser import serving
from tests.webui.conftest import Shop, jpeg, make, sign_of, text_of
from webui import connections
from webui.connections import AN_ADDRESS, FILES, HEAD_S, IDLE_S, IN_ALL, SECURE_IN_ALL, SLOWEST, PageServer
from webui.grants import LinkKind
from webui.server import listening

PATIENCE_S = 30
"""After so long a test gives up waiting."""


def line_to(address: str) -> socket.socket:
    """A connection to the server."""
    host, port = address.removeprefix("http://").split(":")
    return socket.create_connection((host, int(port)), timeout=PATIENCE_S)


def said(line: socket.socket) -> bytes:
    """All that comes until the other end closes."""
    got = b""
    with contextlib.suppress(ConnectionResetError):
        while piece := line.recv(65536):
            got += piece
    return got


def head(shop: Shop, method: str, path: str, *more: str, own: bool = True) -> bytes:
    """The head of a request; with the cookie of the browser that is in, or a stranger's."""
    name = shop.app.config["SESSION_COOKIE_NAME"]
    cookie = shop.client.get_cookie(name)
    assert cookie is not None
    cookies = [f"Cookie: {name}={cookie.value}"] if own else []
    lines = [f"{method} {path} HTTP/1.1", "Host: 127.0.0.1", "Connection: close", *cookies, *more]
    return "\r\n".join([*lines, "", ""]).encode()


@pytest.fixture
def idle_lines() -> Iterator[list[socket.socket]]:
    """Connections that are closed at the end."""
    lines: list[socket.socket] = []
    yield lines
    for line in lines:
        line.close()


def test_a_hundred_idle_connections_keep_nobody_out(shop: Shop, idle_lines: list[socket.socket]) -> None:
    job = shop.open()
    with serving(shop) as address:
        for _ in range(150):
            idle_lines.append(line_to(address))
        for begun in idle_lines[::3]:
            with contextlib.suppress(OSError):
                begun.sendall(b"GET / HT")
        with line_to(address) as line:
            line.sendall(head(shop, "GET", f"/job/{job}"))
            assert said(line).startswith(b"HTTP/1.1 200")


@pytest.fixture
def server(shop: Shop) -> Iterator[PageServer]:
    """A server that does nothing by itself."""
    made = listening(shop.app, "127.0.0.1", 0)
    yield made
    for connection in list(made.active_channels.values()):
        connection.handle_close()
    made.task_dispatcher.shutdown(timeout=5)
    made.close()


def connected(server: PageServer, address: str = "192.0.2.1") -> tuple[socket.socket, Any]:
    """A connection as the server sees it, and its other end."""
    ours, theirs = socket.socketpair()
    return theirs, server.channel_class(server, ours, (address, 1), server.adj, map=server._map)


def test_an_address_has_so_many_connections_and_the_longest_idle_makes_room(server: PageServer) -> None:
    mine = [connected(server)[1] for _ in range(AN_ADDRESS)]
    for at, connection in enumerate(mine):
        connection.last_activity = 1000.0 + (at * 7) % AN_ADDRESS
    neighbour = connected(server, "192.0.2.2")[1]
    assert not any(connection.will_close for connection in (*mine, neighbour))
    new = connected(server)[1]
    assert [connection.will_close for connection in mine].index(True) == 0
    assert [connection.will_close for connection in mine].count(True) == 1
    assert not new.will_close and not neighbour.will_close


def test_what_is_at_work_makes_no_room(server: PageServer) -> None:
    mine = [connected(server)[1] for _ in range(AN_ADDRESS)]
    for connection in mine:
        connection.requests = ["being answered"]
    new = connected(server)[1]
    assert new.will_close and not any(connection.will_close for connection in mine)
    for connection in mine:
        connection.requests = []


def test_all_addresses_together_have_so_many(server: PageServer) -> None:
    ends = [connected(server, f"10.0.{n // 250}.{n % 250}") for n in range(IN_ALL)]
    new = connected(server, "10.1.0.1")[1]
    assert [connection.will_close for _, connection in ends].count(True) == 1 and not new.will_close
    for end, _ in ends:
        end.close()


def secured(server: PageServer, address: str) -> tuple[socket.socket, Any]:
    """A connection by TLS as the server sees it, and its other end."""
    ours, theirs = socket.socketpair()
    return theirs, connections._Secure(server, ours, (address, 1), server.adj, map=server._map)


def test_by_tls_fewer_come_at_once_and_the_longest_idle_of_them_makes_room(server: PageServer) -> None:
    plain = connected(server, "10.2.0.1")[1]
    plain.last_activity = 1.0
    mine = [secured(server, f"10.0.0.{n}")[1] for n in range(SECURE_IN_ALL)]
    mine[7].last_activity = 1000.0
    new = secured(server, "10.1.0.1")[1]
    assert [at for at, connection in enumerate(mine) if connection.will_close] == [7]
    assert not new.will_close and not plain.will_close


def test_whoever_sits_at_the_journals_machine_is_kept_out_by_nobody_else(server: PageServer) -> None:
    """Nor is anybody else by what is open at this machine."""
    here = [connected(server, "127.0.0.1")[1] for _ in range(AN_ADDRESS - 1)]
    others = [connected(server, f"10.0.{n // 250}.{n % 250}")[1] for n in range(IN_ALL)]
    assert not any(connection.will_close for connection in (*here, *others))
    for connection in others:
        connection.requests = ["being answered"]
    assert connected(server, "10.1.0.1")[1].will_close
    assert not connected(server, "127.0.0.1")[1].will_close
    assert not any(connection.will_close for connection in (*here, *others))
    for connection in others:
        connection.requests = []


def test_a_body_that_hardly_comes_keeps_its_place_only_while_nobody_wants_it(
    shop: Shop, server: PageServer, monkeypatch: pytest.MonkeyPatch
) -> None:
    job, now = shop.open(), [time.time()]
    monkeypatch.setattr(connections.time, "time", lambda: now[0])
    asked = head(shop, "POST", f"/job/{job}/photos", "Content-Length: 5000000")
    slow, quick = ([connected(server, "127.0.0.1")[1] for _ in range(AN_ADDRESS // 2)] for _ in range(2))
    for connection in (*slow, *quick):
        connection.received(asked)
    now[0] += HEAD_S - 1
    assert connected(server, "127.0.0.1")[1].will_close, "each may begin slowly"
    now[0] += 11
    for connection in slow:
        connection.received(b"x" * 10)
    for connection in quick:
        connection.received(b"x" * (SLOWEST * 20 + 10))
    server.maintenance(now[0])
    assert not any(connection.will_close for connection in (*slow, *quick)), "nobody wants it yet"
    assert not connected(server, "127.0.0.1")[1].will_close
    assert [connection.will_close for connection in slow].count(True) == 1
    assert not any(connection.will_close for connection in quick)


def test_where_no_more_files_may_be_open_an_idle_line_makes_room_and_the_terminal_stays_empty(
    server: PageServer, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    mine = [connected(server, f"10.0.0.{n}")[1] for n in range(3)]
    mine[1].last_activity = 1000.0

    class Full:
        def accept(self) -> None:
            raise OSError(errno.EMFILE, "Too many open files")

    monkeypatch.setattr(server, "socket", Full())
    server.handle_accept()
    assert [connection.will_close for connection in mine] == [False, True, False]
    assert caplog.records == []


@pytest.mark.parametrize(
    ("soft", "hard", "then"), [(256, 20_000, FILES), (256, 900, 900), (FILES + 7, 20_000, FILES + 7)]
)
def test_as_many_files_are_asked_for_as_lines_may_need(soft: int, hard: int, then: int) -> None:
    """By a process of its own, as a bound that was lowered cannot be raised again by everybody."""
    resource = pytest.importorskip("resource", reason="this system has no bound on open files")
    if 0 <= resource.getrlimit(resource.RLIMIT_NOFILE)[1] < hard:
        pytest.skip("fewer files may be open here")
    program = (
        "import resource; from webui.connections import more_files;"
        f"resource.setrlimit(resource.RLIMIT_NOFILE, ({soft}, {hard}));"
        "print(more_files(), resource.getrlimit(resource.RLIMIT_NOFILE)[0])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, timeout=60)
    assert done.stdout.split() == [str(then)] * 2, done.stderr


@pytest.mark.parametrize(("files", "most"), [(FILES, IN_ALL), (1024, 376), (256, 16)])
def test_where_few_files_may_be_open_fewer_lines_are(
    shop: Shop, files: int, most: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "more_files", lambda: files)
    server = listening(shop.app, "127.0.0.1", 0)
    ends = [connected(server, f"10.0.{n // 250}.{n % 250}") for n in range(most)]
    assert not any(connection.will_close for _, connection in ends)
    connected(server, "10.1.0.1")
    assert [connection.will_close for _, connection in ends].count(True) == 1
    for _, connection in ends:
        connection.handle_close()
    server.task_dispatcher.shutdown(timeout=5)
    server.close()


def test_this_machine_to_itself_is_one_address_and_so_is_a_network_of_ipv6(server: PageServer) -> None:
    for addresses in (["127.0.0.1", "127.9.9.9"], ["2001:db8::1", "2001:db8::ffff"]):
        mine = [connected(server, addresses[n % 2])[1] for n in range(AN_ADDRESS + 1)]
        assert [connection.will_close for connection in mine].count(True) == 1, addresses


@pytest.mark.parametrize(
    ("sent", "patience"),
    [
        (b"", HEAD_S),
        (b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ", HEAD_S),
        (b"POST /code HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 100\r\n\r\nco", HEAD_S),
    ],
    ids=["nothing", "half a head", "a stranger's half body"],
)
def test_whoever_keeps_us_waiting_is_let_go(server: PageServer, sent: bytes, patience: float) -> None:
    end, connection = connected(server)
    if sent:
        connection.received(sent)
        connection.last_activity = time.time() + 1000  # a drop now and then buys no more time
    began = connection.began
    server.maintenance(began + patience - 0.5)
    assert not connection.will_close
    server.maintenance(began + patience + 0.5)
    assert connection.will_close
    end.close()


def test_a_body_of_whoever_is_in_and_a_kept_line_may_rest_longer(shop: Shop, server: PageServer) -> None:
    job = shop.open()
    end, connection = connected(server, "127.0.0.1")
    connection.received(head(shop, "POST", f"/job/{job}/photos", "Content-Length: 5000000") + b"x" * 1000)
    assert connection.at_work
    server.maintenance(connection.last_activity + HEAD_S + 5)
    assert not connection.will_close
    server.maintenance(connection.last_activity + IDLE_S + 5)
    assert connection.will_close
    end.close()


STRANGERS = {
    "a form": ("POST", "/job/x/add", ["Content-Length: 300000000"], 403),
    "photos": ("POST", "/job/x/photos", ["Content-Length: 60000000"], 403),
    "a body of no said length": ("POST", "/job/x/photos", ["Transfer-Encoding: chunked"], 403),
    "a body that a page does not take": ("GET", "/code", ["Content-Length: 60000000"], 403),
    "nowhere": ("POST", "/nowhere", ["Content-Length: 60000000"], 403),
    "a made-up desk link": ("POST", "/desk/made.up", ["Content-Length: 100000"], 403),
    "a made-up phone link": ("POST", "/in/made.up", ["Content-Length: 60000000"], 403),
    "a long code": ("POST", "/code", ["Content-Length: 300000"], 413),
    "a made-up cookie": ("POST", "/job/x/photos", ["Content-Length: 60000000", "Cookie: {name}=made.up.cookie"], 403),
}


@pytest.mark.parametrize("what", STRANGERS)
def test_a_strangers_body_is_refused_unread(lan: Shop, what: str) -> None:
    """The answer comes though none of the body was sent, also to whoever asks first whether to send it."""
    method, path, more, status = STRANGERS[what]
    more = [words.format(name=lan.app.config["SESSION_COOKIE_NAME"]) for words in more]
    with serving(lan) as address:
        for expect in ([], ["Expect: 100-continue"]):
            with line_to(address) as line:
                line.sendall(head(lan, method, path, *more, *expect, own=False))
                assert said(line).startswith(f"HTTP/1.1 {status} ".encode()), expect
    assert [line for line in lan.log() if line["event"] == "unread"], "and it is written down"


def test_a_body_that_grows_past_what_is_taken_is_broken_off(lan: Shop) -> None:
    with serving(lan) as address, line_to(address) as line:
        line.sendall(head(lan, "POST", "/code", "Transfer-Encoding: chunked", own=False))
        with contextlib.suppress(ConnectionError):
            for _ in range(20):
                line.sendall(b"1000\r\n" + b"x" * 4096 + b"\r\n")
                time.sleep(0.01)
        assert b" 413 " in said(line)[:40] or lan.log()[-1]["refused"] == "form too large"


def test_a_request_with_two_lengths_is_refused_and_nothing_behind_it_is_answered(lan: Shop) -> None:
    """RFC 9112, 6.1 and 6.3: such a request may hide another, so the line is closed after the answer."""
    name = lan.app.config["SESSION_COOKIE_NAME"]
    cookie = lan.client.get_cookie(name)
    assert cookie is not None
    start = f"Host: 127.0.0.1\r\nCookie: {name}={cookie.value}\r\n"
    two = f"POST /code HTTP/1.1\r\n{start}Content-Length: 5\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n"
    hidden = f"GET / HTTP/1.1\r\n{start}\r\n"
    with serving(lan) as address, line_to(address) as line:
        line.sendall((two + hidden).encode())
        got = said(line)
    assert got.startswith(b"HTTP/1.1 400 ")
    assert got.count(b"HTTP/1.1 ") == 1


def form_of(sign: str, **fields: Any) -> tuple[bytes, str]:
    """A form's body and its type."""
    made = EnvironBuilder(method="POST", data={"csrf_token": sign, **fields})
    environ = made.get_environ()
    return environ["wsgi.input"].read(), environ["CONTENT_TYPE"]


def test_a_form_too_large_of_whoever_is_in_is_told_in_words(shop: Shop) -> None:
    job = shop.open()
    with serving(shop) as address, line_to(address) as line:
        line.sendall(head(shop, "POST", f"/job/{job}/add", "Content-Length: 400000") + b"x" * 400000)
        answer = said(line)
    assert answer.startswith(b"HTTP/1.1 413") and b"larger than this page takes" in answer


def test_photos_and_answers_come_through_the_bounds(shop: Shop) -> None:
    job = shop.open()
    link = shop.app.extensions["journal"].grants.give(job, LinkKind.PHONE, timedelta(hours=1))
    path = f"/in/{shop.app.extensions['journal'].grants.token(link)}"
    stranger = shop.app.test_client()
    sign = sign_of(text_of(stranger.get(path)))
    cookie = stranger.get_cookie(shop.app.config["SESSION_COOKIE_NAME"])
    assert cookie is not None
    body, kind = form_of(sign, photos=(io.BytesIO(jpeg(2000, 1500)), "IMG_1.jpg"))
    more = [f"Content-Type: {kind}", f"Content-Length: {len(body)}", "Origin: http://127.0.0.1"]
    more.append(f"Cookie: {shop.app.config['SESSION_COOKIE_NAME']}={cookie.value}")
    with serving(shop) as address, line_to(address) as line:
        line.sendall(head(shop, "POST", path, *more, own=False) + body)
        assert said(line).startswith(b"HTTP/1.1 303")
    assert len(shop.job(job).pictures) == 1


def test_a_phone_link_brings_so_many_bytes_a_minute(shop: Shop) -> None:
    job = shop.open()
    grants = shop.app.extensions["journal"].grants
    path, other = (f"/in/{grants.token(grants.give(job, LinkKind.PHONE, timedelta(hours=1)))}" for _ in range(2))
    with serving(shop) as address:
        for _ in range(3):
            with line_to(address) as line:
                line.sendall(head(shop, "POST", path, "Content-Length: 60000000", own=False))
        with line_to(address) as line:
            line.sendall(head(shop, "POST", path, "Content-Length: 60000000", own=False))
            assert said(line).startswith(b"HTTP/1.1 429 ")
        with line_to(address) as line:
            line.sendall(head(shop, "POST", other, "Content-Length: 20", own=False) + b"x" * 20)
            assert said(line).startswith(b"HTTP/1.1 400 "), "another link is not kept out by it"


def test_a_desk_link_begins_so_many_forms_a_minute_whether_they_come_whole_or_not(shop: Shop) -> None:
    from webui.bodies import judge

    job, grants = shop.open(), shop.app.extensions["journal"].grants
    path, other = (f"/desk/{grants.token(grants.give(job, LinkKind.DESK, timedelta(hours=1)))}" for _ in range(2))
    statuses = [judge(shop.app, "192.0.2.7", "POST", path, {}, 10).status for _ in range(61)]
    assert statuses == [0] * 60 + [429]
    assert judge(shop.app, "192.0.2.7", "POST", other, {}, 10).status == 0, "another link is not kept out by it"


def test_the_network_without_a_code_costs_no_look_into_the_database(lan: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    from webui.bodies import judge
    from webui.grants import Grants

    def looked(*_: object, **__: object) -> None:
        raise AssertionError("looked into the database for a stranger")

    monkeypatch.setattr(Grants, "_open", looked)
    made_up = {"COOKIE": f"{lan.app.config['SESSION_COOKIE_NAME']}=eyJkZXZpY2UiOiJ4In0.aaaa.bbbb"}
    assert judge(lan.app, "192.0.2.7", "POST", "/job/x/photos", made_up, 10).status == 403
    assert judge(lan.app, "192.0.2.7", "POST", "/in/made.up", {}, 10).status == 403


def test_no_body_comes_by_a_link_that_ended_or_was_taken_back(shop: Shop) -> None:
    from webui.bodies import judge

    job, grants = shop.open(), shop.app.extensions["journal"].grants
    for kind, start in ((LinkKind.PHONE, "/in/{}"), (LinkKind.DESK, "/desk/{}")):
        ended, taken, good = (grants.give(job, kind, timedelta(hours=hours)) for hours in (-1, 1, 1))
        grants.withdraw(job, taken.id)
        asked = [start.format(grants.token(link)) for link in (ended, taken, good)]
        assert [judge(shop.app, "192.0.2.7", "POST", path, {}, 10).status for path in asked] == [403, 403, 0]


def test_the_cookie_of_another_journal_lets_no_body_in(shop: Shop, tmp_path: Any) -> None:
    from webui.bodies import judge

    other = make(tmp_path / "another journal")
    cookie = other.client.get_cookie(other.app.config["SESSION_COOKIE_NAME"])
    assert cookie is not None
    headers = {"COOKIE": f"{shop.app.config['SESSION_COOKIE_NAME']}={cookie.value}"}
    assert judge(shop.app, "127.0.0.1", "POST", "/job/x/photos", headers, 10).status == 403
