"""A model is fetched whole or not at all, over whatever line there is. The server is a small one of our own."""

from __future__ import annotations

import hashlib
import io
import socket
import stat
import zipfile
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from threading import Thread

import pytest

from journal.errors import HearingError
from journal.hearing.download import download
from journal.hearing.models import OFFERS, Offer, Part, fetch, is_whisper_model, known_models
from journal.hearing.vosk import find_model, is_model

NAME = "vosk-model-small-en-test"


class Server(ThreadingHTTPServer):
    """Serves files from memory, with ranges, and can break off."""

    daemon_threads = True

    def __init__(self) -> None:
        super().__init__(("127.0.0.1", 0), Handler)
        self.files: dict[str, bytes] = {}
        self.break_after: int | None = None
        """Bytes after which the line goes down; none to stay up."""
        self.ranges = True
        """Whether ranges are obeyed."""
        self.asked: list[str] = []
        """The Range header of each request, empty for none."""

    def address(self, name: str) -> str:
        return f"http://127.0.0.1:{self.server_port}/{name}"


class Handler(BaseHTTPRequestHandler):
    server: Server

    def do_GET(self) -> None:
        data = self.server.files.get(self.path.lstrip("/"))
        asked = self.headers.get("Range", "")
        self.server.asked.append(asked)
        if data is None:
            self.send_error(404)
            return
        start = int(asked.removeprefix("bytes=").rstrip("-")) if asked and self.server.ranges else 0
        if start and start >= len(data):
            self.send_response(416)
            self.send_header("Content-Range", f"bytes */{len(data)}")
            self.end_headers()
            return
        self.send_response(206 if start else 200)
        if start:
            self.send_header("Content-Range", f"bytes {start}-{len(data) - 1}/{len(data)}")
        self.send_header("Content-Length", str(len(data) - start))
        self.end_headers()
        self.wfile.write(data[start:] if self.server.break_after is None else data[start:][: self.server.break_after])

    def log_message(self, *_: object) -> None:
        pass


@pytest.fixture
def server() -> Iterator[Server]:
    serving = Server()
    thread = Thread(target=serving.serve_forever, kwargs={"poll_interval": 0.02})
    thread.start()
    yield serving
    serving.shutdown()
    thread.join()
    serving.server_close()


def archive(files: dict[str, bytes]) -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as writing:
        for name, data in files.items():
            writing.writestr(name, data)
    return held.getvalue()


GOOD = archive({f"{NAME}/am/final.mdl": bytes(300_000), f"{NAME}/conf/mfcc.conf": b"--low-freq=20\n"})


def offer(server: Server, data: bytes = GOOD, sha256: str | None = None) -> Offer:
    server.files["m.zip"] = data
    known = hashlib.sha256(GOOD).hexdigest() if sha256 is None else sha256
    return Offer(NAME, "a test", "1 MB", "MIT", (Part("model.zip", server.address("m.zip"), known),), is_model)


def quiet(_fraction: float) -> None:
    pass


def test_a_fetched_model_is_where_vosk_models_are_looked_for(server: Server, tmp_path: Path) -> None:
    seen: list[float] = []
    home = tmp_path / "not there yet" / "models"
    place = fetch(NAME, home, seen.append, [offer(server)])
    assert (place / "am" / "final.mdl").stat().st_size == 300_000
    assert find_model(home) == place
    assert seen == sorted(seen)
    assert seen[-1] == 1.0
    assert [each.name for each in home.iterdir()] == [NAME]


def test_a_model_that_is_here_is_not_asked_for_again(server: Server, tmp_path: Path) -> None:
    fetch(NAME, tmp_path, quiet, [offer(server)])
    fetch(NAME, tmp_path, quiet, [offer(server)])
    assert server.asked == [""]


def test_a_broken_line_keeps_what_came_and_the_next_try_goes_on_from_there(server: Server, tmp_path: Path) -> None:
    server.break_after = 100_000
    with pytest.raises(HearingError, match=r"broke off at 0\.1 of 0\.3 MB; run the same again"):
        fetch(NAME, tmp_path, quiet, [offer(server)])
    assert not (tmp_path / NAME).exists()
    server.break_after = None
    place = fetch(NAME, tmp_path, quiet, [offer(server)])
    assert server.asked == ["", "bytes=100000-"]
    assert is_model(place)


def test_a_server_without_ranges_is_asked_for_all_of_it(server: Server, tmp_path: Path) -> None:
    server.break_after = 100_000
    with pytest.raises(HearingError, match="broke off"):
        fetch(NAME, tmp_path, quiet, [offer(server)])
    server.break_after, server.ranges = None, False
    assert is_model(fetch(NAME, tmp_path, quiet, [offer(server)]))


def test_a_download_that_was_whole_already_is_taken(server: Server, tmp_path: Path) -> None:
    server.files["f"] = b"all of it"
    (tmp_path / "f.part").write_bytes(b"all of it")
    download(server.address("f"), tmp_path / "f", hashlib.sha256(b"all of it").hexdigest(), quiet)
    assert (tmp_path / "f").read_bytes() == b"all of it"
    assert server.asked == ["bytes=9-"]


def test_a_file_longer_than_the_server_has_is_thrown_away(server: Server, tmp_path: Path) -> None:
    server.files["f"] = b"short"
    (tmp_path / "f.part").write_bytes(b"something longer")
    with pytest.raises(HearingError, match="another file than expected"):
        download(server.address("f"), tmp_path / "f", "", quiet)
    assert not any(tmp_path.iterdir())


def test_a_wrong_checksum_installs_nothing_and_keeps_nothing(server: Server, tmp_path: Path) -> None:
    altered = GOOD[:-1] + bytes([GOOD[-1] ^ 1])
    with pytest.raises(HearingError, match="SHA-256 differs"):
        fetch(NAME, tmp_path, quiet, [offer(server, altered)])
    assert not any(file.is_file() for file in tmp_path.rglob("*"))
    assert is_model(fetch(NAME, tmp_path, quiet, [offer(server)]))


LINK = zipfile.ZipInfo(f"{NAME}/link")
LINK.external_attr = (stat.S_IFLNK | 0o777) << 16


def linked() -> bytes:
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as writing:
        writing.writestr(f"{NAME}/am/final.mdl", b"x")
        writing.writestr(LINK, "/etc/passwd")
    return held.getvalue()


@pytest.mark.parametrize(
    "data",
    [
        archive({f"{NAME}/am/final.mdl": b"x", "../escaped": b"x"}),
        archive({f"{NAME}/am/final.mdl": b"x", "/escaped": b"x"}),
        archive({f"{NAME}/am/final.mdl": b"x", f"{NAME}/..\\..\\escaped": b"x"}),
        archive({f"{NAME}/am/final.mdl": b"x", "C:/escaped": b"x"}),
        linked(),
    ],
    ids=["climbs", "rooted", "climbs on Windows", "a drive", "a link"],
)
def test_an_archive_that_reaches_outside_is_refused_whole(server: Server, tmp_path: Path, data: bytes) -> None:
    home = tmp_path / "deep" / "models"
    with pytest.raises(HearingError, match="reaches outside its folder"):
        fetch(NAME, home, quiet, [offer(server, data, sha256="")])
    assert not [file for file in tmp_path.rglob("*") if file.is_file()]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (b"<html>log in to this network first</html>", "is damaged; nothing was installed"),
        (archive({"readme.txt": b"no model"}), "is not the model"),
    ],
    ids=["a page instead", "another archive"],
)
def test_without_a_checksum_the_structure_is_looked_at(server: Server, tmp_path: Path, data: bytes, says: str) -> None:
    with pytest.raises(HearingError, match=says):
        fetch(NAME, tmp_path, quiet, [offer(server, data, sha256="")])
    assert not (tmp_path / NAME).exists()


def test_offline_is_one_line_that_says_what_to_do(server: Server, tmp_path: Path) -> None:
    with socket.socket() as unused:
        unused.bind(("127.0.0.1", 0))
        address = f"http://127.0.0.1:{unused.getsockname()[1]}/m.zip"
    gone = Offer(NAME, "a test", "1 MB", "MIT", (Part("model.zip", address),), is_model)
    with pytest.raises(HearingError, match=r"cannot be reached .* try again when there is a network") as caught:
        fetch(NAME, tmp_path, quiet, [gone])
    assert "\n" not in str(caught.value)


def test_a_model_that_has_moved_says_so(server: Server, tmp_path: Path) -> None:
    asked = offer(server)
    server.files.clear()
    with pytest.raises(HearingError, match="answered 404"):
        fetch(NAME, tmp_path, quiet, [asked])


def test_a_folder_that_cannot_be_made_is_one_clear_line(server: Server, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(HearingError, match="cannot be written"):
        fetch(NAME, tmp_path / "file" / "models", quiet, [offer(server)])


def test_a_damaged_model_of_the_same_name_is_replaced(server: Server, tmp_path: Path) -> None:
    (tmp_path / NAME).mkdir()
    (tmp_path / NAME / "leftover").write_text("x")
    place = fetch(NAME, tmp_path, quiet, [offer(server)])
    assert is_model(place)
    assert not (place / "leftover").exists()


def test_a_model_of_several_files_goes_on_with_the_file_it_broke_off_in(server: Server, tmp_path: Path) -> None:
    header = b"\x06\0\0\0" + len(b"WhisperSpec\0").to_bytes(2, "little") + b"WhisperSpec\0"
    served = {
        "config.json": b"{}",
        "tokenizer.json": b"{}",
        "vocabulary.txt": b"a\n",
        "model.bin": header + bytes(9_000),
    }
    server.files |= served
    parts = tuple(Part(name, server.address(name)) for name in served)
    whisper = Offer("w", "a test", "1 MB", "MIT", parts, is_whisper_model)
    server.break_after = 5_000
    with pytest.raises(HearingError, match="broke off"):
        fetch("w", tmp_path, quiet, [whisper])
    server.break_after = None
    place = fetch("w", tmp_path, quiet, [whisper])
    assert {each.name: each.read_bytes() for each in place.iterdir()} == served
    assert server.asked == ["", "", "", "", "bytes=5000-"]


def test_every_model_is_listed_with_its_size_and_licence(tmp_path: Path) -> None:
    listed = {model.name: model for model in known_models(tmp_path)}
    assert {each.name for each in OFFERS} < set(listed)
    assert all(model.size.endswith("MB") and model.licence and model.what for model in listed.values())
    assert not any(listed[each.name].installed for each in OFFERS)
    (tmp_path / OFFERS[0].name / "am").mkdir(parents=True)
    (tmp_path / OFFERS[0].name / "am" / "final.mdl").write_bytes(b"x")
    assert {model.name: model for model in known_models(tmp_path)}[OFFERS[0].name].installed


def test_a_name_may_be_shortened_and_an_unknown_one_lists_the_choices(server: Server, tmp_path: Path) -> None:
    assert fetch("vosk", tmp_path, quiet, [offer(server)]).name == NAME
    with pytest.raises(HearingError, match=f"no model that can be fetched; choose of {NAME}"):
        fetch("parrot", tmp_path, quiet, [offer(server)])
    with pytest.raises(HearingError, match="comes with the speech extra"):
        fetch("whisper-tiny.en", tmp_path, quiet)


def test_addresses_are_the_makers_over_https() -> None:
    assert all(part.address.startswith("https://") for each in OFFERS for part in each.parts)
