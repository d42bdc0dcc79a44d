"""Turns a bare Python into this project's own environment, `.venv`, and says plainly what stands in the way.

Standard library only. It must also load on Pythons too old for the project, to be able to say so.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
OLDEST = (3, 11)
STAMP = "cutout-journal.json"
"""Written last, inside the environment: what it was made from."""
LOCK = ".lock"
"""In the project's folder: the release of every package and its hashes, for the machines that its head names."""
UNFINISHED = "cutout-journal.unfinished"
"""There while the environment is being made; one that is left over tells of an interruption."""
LOG = "cutout-journal.log"
"""What pip said."""
OFFLINE = (
    "name resolution",
    "nameresolution",
    "getaddrinfo",
    "connection broken",
    "connectionerror",
    "newconnectionerror",
    "failed to establish",
    "network is unreachable",
    "proxyerror",
    "timed out",
)
"""What pip's output holds when the network is not there."""


class CannotStart(Exception):
    """The environment cannot be made; the text is one line that says what to do."""


def python_of(folder: Path) -> Path:
    """The interpreter of the environment in `folder`."""
    return folder / ("Scripts/python.exe" if os.name == "nt" else "bin/python")


def ensure(extras: list[str], root: Path = ROOT) -> Path:
    """Make `.venv` under `root`, or reuse it, with the project installed editable and these extras.

    Returns:
        The environment's interpreter.

    Raises:
        CannotStart: naming what is missing.
    """
    if sys.version_info < OLDEST:
        have = ".".join(map(str, sys.version_info[:3]))
        raise CannotStart(f"This is Python {have}; the journal needs 3.11 or newer: start again with a newer python3.")
    folder = root / ".venv"
    with _alone(root):
        return _ensure(extras, root, folder)


def _ensure(extras: list[str], root: Path, folder: Path) -> Path:
    made_from = _made_from(root)
    stamp = _read_stamp(folder)
    python = python_of(folder)
    have = stamp.get("extras", [])
    if stamp.get("from") == made_from and set(extras) <= set(have) and python.exists():
        return python
    if stamp.get("from", made_from)["python"] != made_from["python"] or (folder / UNFINISHED).exists():
        _remove(folder)
    if not python.exists() or not _answers(python):
        _make(folder)
    _install(root, folder, python, sorted({*extras, *have}), made_from)
    return python


def run(python: Path, arguments: list[str]) -> int:
    """Run the environment's interpreter with these arguments; on POSIX it takes this process's place."""
    sys.stdout.flush()
    command = [str(python), *arguments]
    if os.name == "posix":
        os.execv(command[0], command)
    with subprocess.Popen(command) as child:
        while True:
            # Ctrl-C reaches the child too: let it end in its own way.
            with contextlib.suppress(KeyboardInterrupt):
                return child.wait()


@contextlib.contextmanager
def _alone(root: Path) -> Iterator[None]:
    """Wait until no other start is making this project's environment; the system lets go of a dead one's lock."""
    whose = getattr(os, "getuid", lambda: 0)()
    name = hashlib.sha256(f"{whose} {root}".encode()).hexdigest()[:16]
    with (Path(tempfile.gettempdir()) / f"cutout-journal-{name}.lock").open("a") as lock:
        if os.name == "nt":
            import msvcrt

            lock.seek(0)
            while True:
                # Each try gives up after ten seconds.
                with contextlib.suppress(OSError):
                    msvcrt.locking(lock.fileno(), msvcrt.LK_LOCK, 1)
                    break
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX)
        yield


def _made_from(root: Path) -> dict[str, str]:
    return {
        "pyproject": hashlib.sha256((root / "pyproject.toml").read_bytes()).hexdigest(),
        "lock": hashlib.sha256(_lock(root).encode()).hexdigest(),
        "python": ".".join(map(str, sys.version_info[:3])),
        # An editable install points at this folder; one that was moved must be pointed anew.
        "root": str(root),
    }


def _read_stamp(folder: Path) -> dict:
    try:
        stamp = json.loads((folder / STAMP).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return stamp if isinstance(stamp, dict) else {}


def _remove(folder: Path) -> None:
    try:
        if folder.exists():
            shutil.rmtree(folder)
    except OSError as error:
        raise CannotStart(
            f"Cannot clear the unfinished {folder}: {error.strerror}. Delete it and start again."
        ) from None


def _answers(python: Path) -> bool:
    try:
        asked = subprocess.run([str(python), "-m", "pip", "--version"], capture_output=True, check=False)
    except OSError:
        return False
    return asked.returncode == 0


def _make(folder: Path) -> None:
    if importlib.util.find_spec("venv") is None or importlib.util.find_spec("ensurepip") is None:
        version = ".".join(map(str, sys.version_info[:2]))
        raise CannotStart(
            "This Python cannot make environments (its venv is missing): "
            f"on Debian or Ubuntu run `sudo apt install python{version}-venv`, then start again."
        )
    print("Making .venv …", flush=True)
    try:
        folder.mkdir(exist_ok=True)
        (folder / UNFINISHED).touch()
    except OSError as error:
        raise CannotStart(
            f"Cannot write {folder}: {error.strerror}. Make the folder writable and start again."
        ) from None
    base = getattr(sys, "_base_executable", None) or sys.executable
    made = subprocess.run([base, "-m", "venv", str(folder)], capture_output=True, text=True, check=False)
    if made.returncode != 0:
        said = (made.stdout + made.stderr).strip().splitlines() or ["no reason given"]
        raise CannotStart(f"Making .venv failed: {said[-1]}")


def _install(root: Path, folder: Path, python: Path, extras: list[str], made_from: dict[str, str]) -> None:
    print("Installing the journal; the first time this needs the network and a minute or two …", flush=True)
    (folder / UNFINISHED).touch()
    (folder / STAMP).unlink(missing_ok=True)
    project = f"{root}[{','.join(extras)}]" if extras else str(root)
    locked = locked_for(_lock(root), extras)
    if locked:
        (folder / LOCK).write_text(locked, encoding="utf-8")
        # What is locked is all there is; the project itself is built by the locked builder, and brings nothing more.
        code = _pip(folder, python, "--require-hashes", "--requirement", str(folder / LOCK))
        if code == 0:
            code = _pip(folder, python, "--no-build-isolation", "--no-deps", "--editable", project, more=True)
        if code != 0 and "No matching distribution found" in (folder / LOG).read_text(encoding="utf-8"):
            print("The locked releases cannot be had here: taking others within the bounds.", flush=True)
            code = _pip(folder, python, "--editable", project, more=True)
    else:
        print("No lock fits this machine: taking the newest releases within the bounds of pyproject.toml.", flush=True)
        code = _pip(folder, python, "--editable", project)
    if code != 0:
        raise CannotStart(_why(folder))
    text = json.dumps({"from": made_from, "extras": extras})
    (folder / STAMP).write_text(text, encoding="utf-8")
    (folder / UNFINISHED).unlink()


def _lock(root: Path) -> str:
    try:
        return (root / LOCK).read_text(encoding="utf-8")
    except FileNotFoundError:
        return ""


def locked_for(lock: str, extras: list[str]) -> str:
    """The requirements of a lock that a start with these extras installs; empty where it does not fit this machine.

    A lock's head names Pythons, the system and the processor; blocks headed `# for demo` and `# for tests` follow.
    """
    head, _, rest = lock.partition("# for demo\n")
    demo, _, tests = rest.partition("# for tests\n")
    here = [sys.implementation.name, ".".join(map(str, sys.version_info[:2])), sys.platform, platform.machine()]
    if not set(here) <= set(head.split()):
        return ""
    return demo + (tests if "test" in extras else "")


def _pip(folder: Path, python: Path, *arguments: str, more: bool = False) -> int:
    """Install with pip, what it says into the log; `more` adds to what stands there."""
    command = [str(python), "-m", "pip", "install", "--disable-pip-version-check", *arguments]
    with (folder / LOG).open("a" if more else "w", encoding="utf-8") as log:
        return _follow(command, log)


def _why(folder: Path) -> str:
    """Why pip failed, in one line that says what to do."""
    said = (folder / LOG).read_text(encoding="utf-8")
    if "DO NOT MATCH THE HASHES" in said:
        return (
            f"A package is not the one that was locked: nothing was installed. Ask who changed it (all: {folder / LOG})"
        )
    if any(sign in said.lower() for sign in OFFLINE):
        return "The network is not there, and the first start must fetch packages: connect, start again."
    errors = [line for line in said.splitlines() if "error" in line.lower()] or said.splitlines()[-1:]
    return f"Installing failed: {errors[-1].strip()} (all of it: {folder / LOG})"


def _follow(command: list[str], log) -> int:
    """Run pip with its output in the log, and, on a terminal, its latest line on one line of the screen."""
    shown = sys.stdout.isatty()
    width = shutil.get_terminal_size().columns - 1
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, encoding="utf-8", errors="replace"
    ) as pip:
        assert pip.stdout is not None
        for line in pip.stdout:
            log.write(line)
            if shown and line.strip():
                print("\r" + line.strip()[:width].ljust(width), end="", flush=True)
    if shown:
        print("\r" + " " * width + "\r", end="", flush=True)
    return pip.returncode
