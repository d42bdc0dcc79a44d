"""What leaves the journal goes whole to a place of its own: over nothing unasked, into no journal, never by halves."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from journal.cli.main import group
from journal.errors import BadInput, RecordError
from journal.facts import Cut
from journal.record import exports
from journal.record.clips import keep_clip
from journal.record.exports import export, exported
from journal.record.photos import take_in
from journal.record.store import Store
from tests.record.arrange import Scribe, opened
from tests.record.pictures import file_of, scene

pytest.importorskip("soundfile", reason="soundfile is not installed: clips are FLAC files written by it")


@pytest.fixture
def job(tmp_path: Path) -> Scribe:
    """A job with a sound, in the journal `j`."""
    job = opened()
    with Store.open(tmp_path / "j") as store:
        job.say(Cut(3, 30.0), clip=keep_clip(store.folder, np.sin(np.arange(4000, dtype=np.float32) / 9)))
        store.append(*job.entries)
    return job


def commands(job: Scribe) -> dict[str, list[str]]:
    """Every command that writes a file where it is told to, the file's name left out."""
    return {
        "pack": ["pack"],
        "clip": ["clip", job.entries[1].id, "--to"],
        "write-up": ["write-up", "--to"],
        "backup": ["backup"],
    }


def run(journal: Path, *arguments: str) -> tuple[int, str]:
    done = CliRunner().invoke(group, ["--journal", str(journal), *arguments])
    return done.exit_code, str(done.exception or done.output)


@pytest.mark.parametrize("command", ["pack", "clip", "write-up", "backup"])
@pytest.mark.parametrize("ask", [[], ["--replace"]])
def test_no_command_writes_into_a_journal_not_even_over_the_database(
    tmp_path: Path, job: Scribe, command: str, ask: list[str]
) -> None:
    other = tmp_path / "other"
    Store.open(other).close()
    (tmp_path / "way in").symlink_to(tmp_path / "j")
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file() and path.suffix != ".db-shm"}
    names = ["journal.db", "journal.key", "new.html", "clips/new.html"]
    for place in (tmp_path / "j", other, tmp_path / "way in", tmp_path / "j" / "clips" / ".."):
        for name in names:
            code, said = run(tmp_path / "j", *commands(job)[command], str(place / name), *ask)
            assert code != 0 and ("lies in the journal" in said or "name a" in said), said
    assert {path: path.read_bytes() for path in before} == before
    assert not list(tmp_path.rglob("new*"))


@pytest.mark.parametrize("left", ["journal.key", "photos", "clips"])
def test_a_journal_that_lost_its_database_is_not_written_into_either(tmp_path: Path, job: Scribe, left: str) -> None:
    take_in(tmp_path / "j", file_of(scene(160, 120)), "a.jpg")
    for path in (tmp_path / "j").iterdir():
        if path.name != left:
            path.unlink() if path.is_file() else shutil.rmtree(path)
    before = {path: path.read_bytes() for path in (tmp_path / "j").rglob("*") if path.is_file()}
    assert before
    for name in ("journal.key", "new.html", "clips/new.html"):
        with pytest.raises(BadInput, match="lies in the journal itself"):
            export(tmp_path / "j" / name, b"x", replace=True)
    assert {path: path.read_bytes() for path in (tmp_path / "j").rglob("*") if path.is_file()} == before


def test_a_folder_with_photos_of_the_users_own_is_no_journal(tmp_path: Path) -> None:
    (tmp_path / "photos" / "ab").mkdir(parents=True)
    (tmp_path / "photos" / "ab" / "a.jpg").touch()
    (tmp_path / "clips").mkdir()
    export(tmp_path / "job.zip", b"x")
    assert (tmp_path / "job.zip").read_bytes() == b"x"


@pytest.mark.parametrize("command", ["pack", "clip", "write-up", "backup"])
def test_nothing_goes_over_a_file_that_is_there_unless_asked(tmp_path: Path, job: Scribe, command: str) -> None:
    target = tmp_path / "mine.html"
    target.write_text("mine")
    line = [*commands(job)[command], str(target)]
    code, said = run(tmp_path / "j", *line)
    assert code != 0 and "is there already" in said and "--replace" in said
    assert target.read_text() == "mine"
    assert run(tmp_path / "j", *line, "--replace")[0] == 0
    assert target.stat().st_size > 4 and b"mine" not in target.read_bytes()[:4]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["j", "mine.html"]


def test_only_a_regular_file_is_ever_replaced(tmp_path: Path) -> None:
    """A link would be replaced instead of what it leads to, a pipe or a device by a file that others rely on."""
    (tmp_path / "there").write_text("mine")
    (tmp_path / "to a file").symlink_to(tmp_path / "there")
    (tmp_path / "to nowhere").symlink_to(tmp_path / "nowhere")
    names = ["to a file", "to nowhere"]
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe")
        names.append("pipe")
    for name in names:
        before = (tmp_path / name).lstat()
        for replace in (False, True):
            with pytest.raises(BadInput, match="is there already and is no regular file: choose another name"):
                export(tmp_path / name, b"x", replace=replace)
        assert (tmp_path / name).lstat() == before
    assert (tmp_path / "there").read_text() == "mine" and not (tmp_path / "nowhere").exists()


def test_a_link_that_appears_meanwhile_is_not_replaced(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is no regular file"), exported(tmp_path / "out", replace=True) as file:
        file.write(b"late")
        (tmp_path / "out").symlink_to(tmp_path / "nowhere")
    assert [path.name for path in tmp_path.iterdir()] == ["out"] and (tmp_path / "out").is_symlink()


def test_a_file_that_appears_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="is there already"), exported(tmp_path / "out") as file:
        file.write(b"late")
        (tmp_path / "out").write_text("quicker")
    assert [path.name for path in tmp_path.iterdir()] == ["out"] and (tmp_path / "out").read_text() == "quicker"


KILLED = """
import os, signal, sys
from pathlib import Path
from journal.record.exports import exported

with exported(Path(sys.argv[1]), replace=True) as file:
    file.write(b"half" * 100_000)
    file.flush()
    print("half", flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
"""


def nameless(folder: Path) -> bool:
    """Whether a file on this disk can be without a name."""
    try:
        os.close(os.open(folder, os.O_TMPFILE | os.O_RDWR))
    except (AttributeError, OSError):
        return False
    return True


def test_a_killed_export_leaves_nothing_and_what_was_there_stays(tmp_path: Path) -> None:
    if not nameless(tmp_path):
        pytest.skip("this system has no files without a name")
    (tmp_path / "out").write_text("before")
    done = subprocess.run([sys.executable, "-c", KILLED, str(tmp_path / "out")], capture_output=True, check=False)
    assert done.stdout == b"half\n" and done.returncode == -signal.SIGKILL, done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["out"] and (tmp_path / "out").read_text() == "before"


KILLED_BACKUP = """
import os, signal, sys
from pathlib import Path
from journal.record import backup
from journal.record.store import Store

def kill(*_):
    print("copied", flush=True)
    os.kill(os.getpid(), signal.SIGKILL)

backup._files = kill
backup.back_up(Store.open(Path(sys.argv[1])), Path(sys.argv[2]))
"""


def test_a_killed_backup_leaves_no_copy_of_the_database(tmp_path: Path, job: Scribe) -> None:
    if not nameless(tmp_path):
        pytest.skip("this system has no files without a name")
    command = [sys.executable, "-c", KILLED_BACKUP, str(tmp_path / "j"), str(tmp_path / "b.zip")]
    done = subprocess.run(command, capture_output=True, check=False)
    assert done.stdout == b"copied\n", done.stderr
    assert [path.name for path in tmp_path.iterdir()] == ["j"]


@pytest.mark.parametrize("replace", [False, True])
def test_where_no_file_can_be_without_a_name_an_export_is_whole_all_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, replace: bool
) -> None:
    monkeypatch.delattr(os, "O_TMPFILE", raising=False)

    def no_links(*_: object, **__: object) -> None:
        raise OSError(95, "no links here")

    monkeypatch.setattr(os, "link", no_links)
    with exported(tmp_path / "out", replace=replace) as file:
        file.write(b"all")
        assert not (tmp_path / "out").exists()
    assert [path.name for path in tmp_path.iterdir()] == ["out"] and (tmp_path / "out").read_bytes() == b"all"
    with pytest.raises(RuntimeError), exported(tmp_path / "other") as file:
        raise RuntimeError
    assert [path.name for path in tmp_path.iterdir()] == ["out"]
    with pytest.raises(BadInput, match="is there already"), exported(tmp_path / "late") as file:
        (tmp_path / "late").write_text("quicker")
    assert (tmp_path / "late").read_text() == "quicker"


def test_an_export_to_a_place_that_cannot_be_is_one_clear_line(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(RecordError, match="cannot be written"):
        export(tmp_path / "file" / "out", b"x")
    with pytest.raises(BadInput, match="is a folder"):
        export(tmp_path, b"x")
    assert exports.check_target(tmp_path / "free", replace=False) is None
