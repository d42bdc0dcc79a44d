"""A process that has loaded a room's tests and forks for each mutant, so that one costs little more than its tests.

The mutant is put into the functions that are loaded already: their code is exchanged, caches are emptied. What cannot
be exchanged (what runs when a module is loaded, or ran while the tests were collected) is said to be so, and is tried
in a process that loads everything anew (`forked.py`).
"""

from __future__ import annotations

import functools
import gc
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import astuple, dataclass
from inspect import CO_OPTIMIZED
from multiprocessing import Pipe
from multiprocessing.connection import Connection
from pathlib import Path
from types import CodeType, FunctionType

from tests.mutants.forked import forked, split, waited

NOT_PATCHED = 71
"""The exit code where a mutant cannot be put into what is loaded."""
FAILED = "failed.txt"
"""The file in the copy that names the test that noticed."""
HUNG = "hung: "
"""What stands before the name of one that was ended."""
FIRST = 12
"""Tests that are tried by themselves before the rest are even collected."""
OPTIONS = ("-x", "-q", "--assert=plain", "-p", "no:cacheprovider", "--hypothesis-seed=0")
"""What a failing assertion would show is not looked at, and rewriting them all anew takes most of the time."""

Key = tuple[str, int]


@dataclass(frozen=True)
class Trial:
    """One mutant, or none, and the tests it is tried with."""

    path: str
    """Its file in the project; empty where nothing is changed."""
    before: bytes
    """The file's text."""
    after: bytes
    """The same with the change made."""
    tests: tuple[str, ...]
    """Names of tests, as pytest takes them, in the order they are to run."""
    most_s: float
    """Seconds after which they are ended."""
    each_s: float = 300.0
    """Seconds after which one of them has failed: most that hang do so in the first."""


def run_tests(copy: Path, trial: Trial) -> int:
    """Run a trial's tests until one fails, whose name is then written down; the exit code is pytest's."""
    import pytest

    class Told:
        def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
            if report.failed:
                hung = HUNG if "Timeout (>" in report.longreprtext else ""
                (copy / FAILED).write_text(hung + report.nodeid, encoding="utf-8")

    options = [*OPTIONS, f"--timeout={trial.each_s:.0f}"]
    for some in (trial.tests[:FIRST], trial.tests[FIRST:]):
        code = int(pytest.main([*options, *some], plugins=[Told()])) if some else 0
        if code == pytest.ExitCode.USAGE_ERROR:
            # A test that is named by what the mutant has changed has another name now.
            code = int(pytest.main([*options, *{test.partition("[")[0]: None for test in some}], plugins=[Told()]))
        if code:
            return code
    return 0


class Warm:
    """The process that waits with the tests loaded."""

    def __init__(self, copy: Path, files: Sequence[Path]) -> None:
        """Start it; `files` are the test files to load, by their path in the project.

        Raises:
            EOFError: their tests cannot be loaded.
        """
        self._ours, theirs = Pipe()
        self._process = split(copy, lambda: _serve(copy, files, theirs, self._ours))
        theirs.close()
        self.tests: frozenset[str] = self._ours.recv()
        """The names of the tests that were found in the files."""

    def tried(self, trial: Trial) -> int:
        """The exit code of the trial's tests, `TIMED_OUT` or `NOT_PATCHED`."""
        self._ours.send(astuple(trial))
        return int(self._ours.recv())

    def close(self) -> None:
        """End it."""
        self._ours.close()
        waited(self._process, 10)


def _serve(copy: Path, files: Sequence[Path], ours: Connection, theirs: Connection) -> int:
    import pytest

    theirs.close()  # so that the end of the other process is noticed
    called: set[tuple[str, int]] = set()
    found: list[str] = []

    class Found:
        def pytest_collection_finish(self, session: pytest.Session) -> None:
            found.extend(item.nodeid for item in session.items)

    def note(frame: object, event: str, _: object) -> None:
        if event == "call":
            code: CodeType = frame.f_code  # type: ignore[attr-defined]
            called.add((code.co_filename, code.co_firstlineno))

    sys.setprofile(note)
    pytest.main([*OPTIONS, "--collect-only", *map(str, files)], plugins=[Found()])
    sys.setprofile(None)
    ours.send(frozenset(found))
    while True:
        try:
            trial = Trial(*ours.recv())
        except EOFError:
            return 0
        ours.send(forked(None, lambda trial=trial: _trial(copy, trial, called), trial.most_s))


def _trial(copy: Path, trial: Trial, called: set[tuple[str, int]]) -> int:
    if trial.path:
        changed = changes(trial.before, trial.after, str(copy / trial.path))
        if changed is None or any((str(copy / trial.path), line) in called for _, line in changed):
            return NOT_PATCHED
        if not exchange(str(copy / trial.path), changed):
            return NOT_PATCHED
    return run_tests(copy, trial)


def changes(before: bytes, after: bytes, name: str) -> dict[Key, CodeType] | None:
    """The functions whose code differs, by name and first line, with the new code.

    None where what differs runs as the module is loaded, or a function cannot be told by name and line.
    """
    old, new = (_functions(compile(text, name, "exec", dont_inherit=True)) for text in (before, after))
    if old is None or new is None or old[1] != new[1]:
        return None
    return {key: code for key, code in new[0].items() if old[0].get(key) != code}


def _functions(module: CodeType) -> tuple[dict[Key, CodeType], list[object]] | None:
    """All functions of a module's code, and all that runs when it is loaded, to be compared."""
    found: list[CodeType] = []
    loading: list[object] = []

    def walk(code: CodeType, *, at_load: bool) -> None:
        if at_load:
            plain = [each for each in code.co_consts if not isinstance(each, CodeType)]
            loading.append((code.co_code, code.co_names, repr(plain), code.co_qualname))
        else:
            found.append(code)
        for inner in code.co_consts:
            if isinstance(inner, CodeType):
                walk(inner, at_load=at_load and not _is_function(inner))

    walk(module, at_load=True)
    keys = Counter((code.co_qualname, code.co_firstlineno) for code in found if "<" not in code.co_name)
    keys.update((code.co_qualname, code.co_firstlineno) for code in found if code.co_name == "<lambda>")
    if any(count > 1 for count in keys.values()):
        return None
    return {key: code for code in found if (key := (code.co_qualname, code.co_firstlineno)) in keys}, loading


def _is_function(code: CodeType) -> bool:
    """Whether this code is run when it is called, and not as a class or what stands in brackets is made."""
    return bool(code.co_flags & CO_OPTIMIZED) and (not code.co_name.startswith("<") or code.co_name == "<lambda>")


def exchange(name: str, changed: dict[Key, CodeType]) -> bool:
    """Give the loaded functions of a file their new code; false where one has other free variables than before."""
    for each in gc.get_objects():
        if isinstance(each, FunctionType) and each.__code__.co_filename == name:
            code = changed.get((each.__code__.co_qualname, each.__code__.co_firstlineno))
            if code is not None:
                if code.co_freevars != each.__code__.co_freevars:
                    return False
                each.__code__ = code
        elif isinstance(each, functools._lru_cache_wrapper) and _ours(each):
            each.cache_clear()
    return True


def _ours(function: object) -> bool:
    return str(getattr(function, "__module__", "")).partition(".")[0] in ("journal", "webui", "tests")


def cold(copy: Path, trial: Trial) -> int:
    """The same in a process that loads everything anew; the copy's file has the change already."""
    return forked(copy, lambda: run_tests(copy, trial), trial.most_s)
