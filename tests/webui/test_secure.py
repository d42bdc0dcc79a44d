"""The pages by TLS beside the plain ones: the same pages, the same bounds, and whose address a request comes from."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import ssl
import time
from pathlib import Path
from typing import Any

import pytest

from journal.errors import BadInput
from tests.webui.browser import serving_securely
from tests.webui.conftest import Shop, jpeg, sign_of, text_of
from tests.webui.test_connections import head, said
from webui import connections, secure
from webui.lan import port_of, secured
from webui.server import listening

PATIENCE_S = 30


def line_to(address: str) -> ssl.SSLSocket:
    """A connection by TLS; the certificate is looked at elsewhere."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)  # to read this machine's authorities each time takes too long
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    host, port = address.removeprefix("https://").split(":")
    return context.wrap_socket(socket.create_connection((host, int(port)), timeout=PATIENCE_S), server_hostname=host)


def test_the_same_pages_come_by_tls_and_in_the_clear(lan: Shop) -> None:
    job = lan.open()
    with serving_securely(lan) as (plain, by_tls):
        with line_to(by_tls) as line:
            line.sendall(head(lan, "GET", f"/job/{job}"))
            answer = said(line)
        assert answer.startswith(b"HTTP/1.1 200 ") and b"Orchard pump 2" in answer and answer.endswith(b"</html>")
        host, port = plain.removeprefix("http://").split(":")
        with socket.create_connection((host, int(port)), timeout=PATIENCE_S) as line:
            line.sendall(head(lan, "GET", f"/job/{job}"))
            assert said(line).startswith(b"HTTP/1.1 200 ")


def test_a_form_with_a_photo_goes_in_whole_and_its_answer_comes_out_whole(lan: Shop) -> None:
    job = lan.open()
    sign = sign_of(text_of(lan.get("/code")))
    picture = jpeg(4000, 3000)
    body = (
        (
            f'--x\r\nContent-Disposition: form-data; name="csrf_token"\r\n\r\n{sign}\r\n'
            '--x\r\nContent-Disposition: form-data; name="photos"; filename="a.jpg"\r\n\r\n'
        ).encode()
        + picture
        + b"\r\n--x--\r\n"
    )
    with serving_securely(lan) as (_, by_tls):
        more = ("Content-Type: multipart/form-data; boundary=x", f"Content-Length: {len(body)}",
                f"Referer: {by_tls.rsplit(':', 1)[0]}/")  # fmt: skip
        with line_to(by_tls) as line:
            line.sendall(head(lan, "POST", f"/job/{job}/photos", *more) + body)
            assert said(line).startswith(b"HTTP/1.1 303 ")
        sha = lan.job(job).pictures[0].photo.body.sha256
        with line_to(by_tls) as line:
            line.sendall(head(lan, "GET", f"/job/{job}/photo/{sha}/original"))
            assert said(line).split(b"\r\n\r\n", 1)[1] == picture


def test_a_request_by_tls_is_of_the_address_that_it_comes_from(lan: Shop, monkeypatch: pytest.MonkeyPatch) -> None:
    """The front carries it within this machine; it must not pass for this machine's own browser because of that."""
    seen = []
    taken = connections.PageServer.take

    def from_away(server: connections.PageServer, line: socket.socket, address: tuple[str, int]) -> None:
        seen.append(address[0])
        taken(server, line, ("192.0.2.77", address[1]))

    monkeypatch.setattr(connections.PageServer, "take", from_away)
    with serving_securely(lan) as (_, by_tls), line_to(by_tls) as line:
        line.sendall(head(lan, "GET", "/"))
        answer = said(line)
    assert seen == ["127.0.0.1"]
    assert answer.startswith(b"HTTP/1.1 303 ") and b"Location: /code" in answer, "its cookie is the own browser's"


def test_what_is_no_tls_or_says_nothing_is_let_go_and_keeps_nobody_out(
    lan: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(secure, "HEAD_S", 1.0)
    with serving_securely(lan) as (_, by_tls), contextlib.ExitStack() as lines:
        host, port = by_tls.removeprefix("https://").split(":")
        idle = [
            lines.enter_context(socket.create_connection((host, int(port)), timeout=PATIENCE_S))
            for _ in range(connections.AN_ADDRESS + 6)
        ]
        idle[-1].sendall(b"GET / HTTP/1.1\r\n\r\n")
        with line_to(by_tls) as line:
            line.sendall(head(lan, "GET", "/code"))
            assert said(line).startswith(b"HTTP/1.1 200 ")
        for one in idle:
            assert b"HTTP/1.1 200" not in said(one), "closed by the server"


def test_an_address_has_so_many_connections_however_they_come(lan: Shop) -> None:
    with serving_securely(lan) as (_, by_tls), contextlib.ExitStack() as lines:
        first = lines.enter_context(line_to(by_tls))
        first.sendall(head(lan, "GET", "/code").replace(b"Connection: close\r\n", b""))
        assert first.recv(100).startswith(b"HTTP/1.1 200 ")
        for _ in range(connections.AN_ADDRESS):
            time.sleep(0.005)
            lines.enter_context(line_to(by_tls))
        first.settimeout(PATIENCE_S)
        with contextlib.suppress(ConnectionError, ssl.SSLError):
            while first.recv(65536):
                pass
        with line_to(by_tls) as line:
            line.sendall(head(lan, "GET", "/code"))
            assert said(line).startswith(b"HTTP/1.1 200 ")


def test_a_port_that_is_taken_is_told(lan: Shop, tmp_path: Path) -> None:
    server = listening(lan.app, "127.0.0.1", 0)
    try:
        with pytest.raises(BadInput, match="--secure-port"):
            secured(server, "127.0.0.1", port_of(server))
        front = secured(server, "127.0.0.1", port_of(server), or_any=True)
        assert front.port not in (0, port_of(server))
        front.close()
    finally:
        server.close()


@pytest.mark.parametrize(("crowd", "patience"), [(secure.CROWD, secure.FAREWELL_S), (0, secure.CROWDED_S)])
def test_a_farewell_is_waited_for_less_where_many_end_at_once(
    lan: Shop, crowd: int, patience: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    waited: list[float | None] = []
    wait_for = asyncio.wait_for

    def noted(what: Any, timeout: float | None) -> Any:
        waited.append(timeout)
        return wait_for(what, timeout)

    monkeypatch.setattr(secure, "CROWD", crowd)
    monkeypatch.setattr(secure.asyncio, "wait_for", noted)
    job = lan.open()
    with serving_securely(lan) as (_, by_tls), line_to(by_tls) as line:
        line.sendall(head(lan, "GET", f"/job/{job}"))
        assert said(line).endswith(b"</html>")
    assert [each for each in waited if each != connections.IDLE_S] == [patience]
