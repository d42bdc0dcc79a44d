"""Work in a process forked for it, in the project's copy: heavy libraries are loaded once, ours each time."""

from __future__ import annotations

import compileall
import contextlib
import importlib
import os
import shutil
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from py_compile import PycInvalidationMode

HEAVY = (
    "pytest", "hypothesis", "hypothesis.strategies", "numpy", "scipy.stats", "PIL.Image", "flask", "werkzeug.test",
    "sqlite_utils", "coverage", "soundfile", "soxr", "click.testing", "rapidfuzz", "jellyfish", "fpdf", "waitress",
)  # fmt: skip
"""What most tests load and no mutant changes."""
ROOMS = ("journal", "webui", "tests", "demo", "models_readme")
TIMED_OUT = 124
"""The exit code of work that was ended."""


def copied(root: Path) -> Path:
    """A copy of the project to change at will; its caller deletes it."""
    copy = Path(tempfile.mkdtemp(prefix="journal-mutants-"))
    for room in ROOMS:
        shutil.copytree(root / room, copy / room, ignore=shutil.ignore_patterns("__pycache__"))
    for file in root.iterdir():
        if file.is_file():
            shutil.copy(file, copy / file.name)
    shutil.copytree(root / ".ci", copy / ".ci")
    for room in ROOMS:
        # Compiled once, and not by time stamps, which two changes within a second share.
        compileall.compile_dir(copy / room, quiet=2, invalidation_mode=PycInvalidationMode.UNCHECKED_HASH)
    return copy


def load() -> None:
    """Load the heavy libraries, where they are there; none of them starts threads by being loaded."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    for name in HEAVY:
        with contextlib.suppress(ImportError):
            importlib.import_module(name)


def forked(copy: Path | None, work: Callable[[], int], most_s: float) -> int:
    """Do the work in a process of its own, whose folder and first place to import from is the copy, where one is named.

    Returns:
        The work's exit code; `TIMED_OUT` where it took longer than `most_s` seconds and was ended, with all it started.
    """
    return waited(split(copy, work), most_s)


def split(copy: Path | None, work: Callable[[], int]) -> int:
    """Start the work in a process of its own; its number."""
    sys.stdout.flush()
    child = os.fork()
    if child == 0:
        code = 70
        try:
            os.setsid()
            if copy is not None:
                _move_to(copy)
            code = work()
        except BaseException:
            traceback.print_exc()
        finally:
            os._exit(code)
    return child


def waited(child: int, most_s: float) -> int:
    """Wait for a process; its exit code, or `TIMED_OUT` where it was ended after `most_s` seconds."""
    until = time.monotonic() + most_s
    while time.monotonic() < until:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            _end(child)
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.02)
    _end(child)
    os.waitpid(child, 0)
    return TIMED_OUT


def _end(child: int) -> None:
    """End the process and what it left running."""
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(child, signal.SIGKILL)


def _move_to(copy: Path) -> None:
    root = str(Path(__file__).resolve().parents[2])
    os.chdir(copy)
    os.environ["PYTHONPATH"] = str(copy)
    sys.path[:] = [str(copy), *(place for place in sys.path if place not in ("", root))]
    for name in [name for name in sys.modules if name.partition(".")[0] in ("tests", "journal", "webui")]:
        del sys.modules[name]
    importlib.invalidate_caches()
    null = os.open(os.devnull, os.O_RDWR)
    log = os.open(copy / "output.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
    for target, source in ((0, null), (1, log), (2, log)):
        os.dup2(source, target)
