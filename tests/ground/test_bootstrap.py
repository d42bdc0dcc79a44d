"""The environment is made once, reused, mended when it was interrupted, and what is missing is said in one line."""

from __future__ import annotations

import ast
import hashlib
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

DEMO = Path(__file__).resolve().parents[2] / "demo"
sys.path.insert(0, str(DEMO))

import bootstrap  # noqa: E402

PROJECT = """
[build-system]
requires = []
build-backend = "backend"
backend-path = ["."]

[project]
name = "tiny"
version = "1"
requires-python = ">=3.11"

[project.optional-dependencies]
speech = []
test = []
"""
BACKEND = """
import pathlib
import zipfile


def _wheel(folder):
    name = "tiny-1-py3-none-any.whl"
    extras = "Provides-Extra: speech\\nProvides-Extra: test\\n"
    for wanted in ("six", "small"):
        if f'"{wanted}"' in pathlib.Path("pyproject.toml").read_text():
            extras += f"Requires-Dist: {wanted}\\n"
    with zipfile.ZipFile(f"{folder}/{name}", "w") as wheel:
        wheel.writestr("tiny.py", "SAYS = 'hello from tiny'\\n")
        wheel.writestr("tiny-1.dist-info/METADATA", f"Metadata-Version: 2.1\\nName: tiny\\nVersion: 1\\n{extras}")
        wheel.writestr("tiny-1.dist-info/WHEEL", "Wheel-Version: 1.0\\nRoot-Is-Purelib: true\\nTag: py3-none-any\\n")
        wheel.writestr("tiny-1.dist-info/RECORD", "")
    return name


def build_wheel(folder, config_settings=None, metadata_directory=None):
    return _wheel(folder)


def build_editable(folder, config_settings=None, metadata_directory=None):
    return _wheel(folder)
"""
"""A build back end of our own, so that these tests need no network."""


def write_project(folder: Path) -> Path:
    folder.mkdir()
    (folder / "pyproject.toml").write_text(PROJECT)
    (folder / "backend.py").write_text(BACKEND)
    return folder


@pytest.fixture(autouse=True)
def locks_of_its_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Locks are left where the test's other files are."""
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))


@pytest.fixture
def project(tmp_path: Path) -> Path:
    """A project with no dependencies at all, in a folder whose name has a space."""
    return write_project(tmp_path / "a project")


@pytest.fixture(scope="module")
def made_once(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = write_project(tmp_path_factory.mktemp("made") / "a project")
    bootstrap.ensure(["speech"], folder)
    return folder


@pytest.fixture
def made(made_once: Path, tmp_path: Path) -> Path:
    """A copy of the project with its environment, as if it had been made where the copy is."""
    copy = shutil.copytree(made_once, tmp_path / "a project", symlinks=True)
    stamp = copy / ".venv" / bootstrap.STAMP
    stamp.write_text(json.dumps({"from": bootstrap._made_from(copy), "extras": ["speech"]}))
    return copy


def says_hello(python: Path) -> bool:
    said = subprocess.run([python, "-c", "import tiny; print(tiny.SAYS)"], capture_output=True, text=True, check=False)
    return said.stdout.strip() == "hello from tiny"


HERE = f"# {sys.implementation.name} 2.7 3.{sys.version_info[1]} {sys.platform} {platform.machine()}"
"""A lock's head that fits this machine."""


@pytest.fixture
def locking(made: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., Path]:
    """Gives the made project a dependency, of which releases 1 and 2 lie in a folder, and a lock of it."""
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    for version in (1, 2):
        with zipfile.ZipFile(shelf / f"small-{version}-py3-none-any.whl", "w") as wheel:
            inside = f"small-{version}.dist-info"
            wheel.writestr("small.py", f"VERSION = {version}\n")
            wheel.writestr(f"{inside}/METADATA", f"Metadata-Version: 2.1\nName: small\nVersion: {version}\n")
            wheel.writestr(f"{inside}/WHEEL", "Wheel-Version: 1.0\nRoot-Is-Purelib: true\nTag: py3-none-any\n")
            wheel.writestr(f"{inside}/RECORD", "")
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    monkeypatch.setenv("PIP_FIND_LINKS", shelf.as_uri())
    monkeypatch.setenv("PIP_CONFIG_FILE", os.devnull)

    def lock(head: str, *, version: int = 1, of: int | None = None) -> Path:
        (made / "pyproject.toml").write_text(
            PROJECT.replace('version = "1"', 'version = "1"\ndependencies = ["small"]')
        )
        file = shelf / f"small-{of or version}-py3-none-any.whl"
        checksum = hashlib.sha256(file.read_bytes()).hexdigest()
        text = f"{head}\n# for demo\nsmall=={version} \\\n    --hash=sha256:{checksum}\n# for tests\n"
        (made / bootstrap.LOCK).write_text(text)
        return made

    return lock


def small_in(python: Path) -> str:
    command = [python, "-c", "import small; print(small.VERSION)"]
    return subprocess.run(command, capture_output=True, text=True, check=False).stdout


def test_what_is_locked_is_installed_and_not_what_is_newest(locking: Callable[..., Path]) -> None:
    python = bootstrap.ensure([], locking(HERE))
    assert small_in(python) == "1\n"
    assert says_hello(python)


def test_a_changed_lock_is_installed_anew(locking: Callable[..., Path]) -> None:
    bootstrap.ensure([], locking(HERE))
    assert small_in(bootstrap.ensure([], locking(HERE, version=2))) == "2\n"


def test_a_package_that_is_not_the_locked_one_is_refused_in_one_line(locking: Callable[..., Path]) -> None:
    project = locking(HERE, of=2)
    with pytest.raises(bootstrap.CannotStart, match="not the one that was locked") as error:
        bootstrap.ensure([], project)
    assert "\n" not in str(error.value)
    assert (project / ".venv" / bootstrap.UNFINISHED).exists()
    assert small_in(bootstrap.python_of(project / ".venv")) == ""


@pytest.mark.parametrize("head", ["# cpython 2.7 linux x86_64", HERE.replace(sys.platform, "amiga"), "# "])
def test_a_lock_for_other_machines_does_not_fit(head: str) -> None:
    assert bootstrap.locked_for(f"{HERE}\n# for demo\nsmall==1\n", []) == "small==1\n"
    assert bootstrap.locked_for(f"{head}\n# for demo\nsmall==1\n", []) == ""


def test_a_lock_for_other_machines_gives_way_to_the_bounds_and_says_so(
    locking: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    assert small_in(bootstrap.ensure([], locking(HERE.replace(sys.platform, "amiga")))) == "2\n"
    assert "No lock fits this machine" in capsys.readouterr().out


def test_locked_releases_that_cannot_be_had_give_way_to_the_bounds_and_it_is_said(
    locking: Callable[..., Path], capsys: pytest.CaptureFixture[str]
) -> None:
    project = locking(HERE)
    lock = project / bootstrap.LOCK
    lock.write_text(lock.read_text().replace("small==1", "small==7"))
    assert small_in(bootstrap.ensure([], project)) == "2\n"
    assert "The locked releases cannot be had here" in capsys.readouterr().out


def test_the_demo_is_spared_what_only_the_tests_need() -> None:
    lock = (DEMO.parent / bootstrap.LOCK).read_text(encoding="utf-8")
    lock = lock.replace("# cpython ", f"{HERE} ")
    demo, tests = bootstrap.locked_for(lock, ["speech"]), bootstrap.locked_for(lock, ["speech", "test"])
    assert tests.startswith(demo)
    assert "\nflask==" in demo and "\npocketsphinx==" in demo and "\nhatchling==" in demo
    assert "\npytest==" in tests and "\npytest==" not in demo


def test_two_starts_at_once_make_one_environment_and_later_ones_reuse_it(
    project: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    code = f"import sys; sys.path.insert(0, {str(DEMO)!r}); import bootstrap, pathlib; "
    code += f"bootstrap.ensure(['speech'], pathlib.Path({str(project)!r}))"
    starts = [subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) for _ in range(2)]
    said = "".join(start.communicate()[0] for start in starts)
    assert [start.returncode for start in starts] == [0, 0]
    assert said.count("Installing") == 1
    monkeypatch.setattr(bootstrap, "_install", lambda *_: pytest.fail("installed again"))
    assert says_hello(bootstrap.ensure(["speech"], project))


def test_another_extra_is_added_and_the_first_one_kept(made: Path) -> None:
    bootstrap.ensure(["test"], made)
    stamp = json.loads((made / ".venv" / bootstrap.STAMP).read_text())
    assert stamp["extras"] == ["speech", "test"]


def test_a_changed_pyproject_is_installed_again(made: Path) -> None:
    before = (made / ".venv" / bootstrap.STAMP).read_text()
    (made / "pyproject.toml").write_text(PROJECT + "\n# changed\n")
    bootstrap.ensure([], made)
    assert (made / ".venv" / bootstrap.STAMP).read_text() != before


def test_a_folder_that_was_moved_is_installed_again(made: Path, tmp_path: Path) -> None:
    moved = tmp_path / "moved"
    made.rename(moved)
    bootstrap.ensure([], moved)
    stamp = json.loads((moved / ".venv" / bootstrap.STAMP).read_text())
    assert stamp["from"]["root"] == str(moved)


def test_an_interrupted_environment_is_made_anew(made: Path) -> None:
    folder = made / ".venv"
    (folder / bootstrap.UNFINISHED).touch()
    (folder / bootstrap.STAMP).unlink()
    shutil.rmtree(next(folder.glob("lib/python*/site-packages")) if os.name == "posix" else folder / "Lib")
    assert not says_hello(bootstrap.python_of(folder))
    assert says_hello(bootstrap.ensure([], made))
    assert not (folder / bootstrap.UNFINISHED).exists()


def test_an_environment_of_another_python_is_made_anew(made: Path) -> None:
    stamp = made / ".venv" / bootstrap.STAMP
    stamp.write_text(stamp.read_text().replace('"python": "', '"python": "2.'))
    (made / ".venv" / "left over").touch()
    assert says_hello(bootstrap.ensure([], made))
    assert not (made / ".venv" / "left over").exists()


def test_a_damaged_stamp_is_no_stamp(made: Path) -> None:
    (made / ".venv" / bootstrap.STAMP).write_text("{half")
    assert says_hello(bootstrap.ensure([], made))


def test_a_python_too_old_is_told_so(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "version_info", (3, 9, 2))
    with pytest.raises(bootstrap.CannotStart, match=r"Python 3\.9\.2; the journal needs 3\.11 or newer"):
        bootstrap.ensure([], project)
    assert not (project / ".venv").exists()


def too_new(text: str) -> str:
    """Why Python 3.7 cannot read a text; empty when it can."""
    try:
        ast.parse(text, feature_version=(3, 7))
    except SyntaxError as error:
        return error.msg
    return ""


@pytest.mark.parametrize("name", ["bootstrap.py", "__main__.py"])
def test_an_old_python_can_read_as_far_as_being_told(name: str) -> None:
    assert too_new((DEMO / name).read_text(encoding="utf-8")) == ""


@pytest.mark.parametrize("text", ["(a := 1)", "def f(a, /): pass", "match a:\n    case 1: pass", "with (a as b): pass"])
def test_what_an_old_python_cannot_read_would_be_noticed(text: str) -> None:
    assert too_new(text) != ""


def test_a_python_without_venv_names_the_package(project: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(bootstrap.importlib.util, "find_spec", lambda name: None if name == "ensurepip" else name)
    with pytest.raises(bootstrap.CannotStart, match=r"apt install python3\.\d+-venv"):
        bootstrap.ensure([], project)


def test_no_network_is_one_line_and_the_next_start_begins_anew(made: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (made / "pyproject.toml").write_text(PROJECT.replace('version = "1"', 'version = "1"\ndependencies = ["six"]'))
    # A port of this machine where nothing listens stands for a network that is not there.
    for name, value in {"INDEX_URL": "http://127.0.0.1:9/simple", "RETRIES": "1", "CONFIG_FILE": os.devnull}.items():
        monkeypatch.setenv(f"PIP_{name}", value)
    monkeypatch.delenv("PIP_FIND_LINKS", raising=False)
    with pytest.raises(bootstrap.CannotStart, match="The network is not there") as error:
        bootstrap.ensure([], made)
    assert "\n" not in str(error.value)
    assert (made / ".venv" / bootstrap.UNFINISHED).exists()


def test_the_environments_python_is_found_on_windows_too(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    expected = tmp_path / "Scripts" / "python.exe"
    monkeypatch.setattr(bootstrap.os, "name", "nt")
    assert bootstrap.python_of(tmp_path) == expected


def test_the_command_inside_gives_its_exit_code(made: Path) -> None:
    python = bootstrap.ensure([], made)
    code = f"import sys; sys.path.insert(0, {str(DEMO)!r}); import bootstrap, pathlib; "
    code += f"sys.exit(bootstrap.run(pathlib.Path({str(python)!r}), ['-c', 'raise SystemExit(7)']))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 7
