"""Test files in, out which of their tests run which lines: recorded once by `coverage`, kept until the tests change.

Where a source has changed since, its lines are found again by comparing it with what it was; a line that is new is
taken to run in the tests of the line before it.
"""

from __future__ import annotations

import ast
import difflib
import functools
import hashlib
import json
import math
import re
from collections import defaultdict
from dataclasses import dataclass, field
from pathlib import Path

from tests.mutants.forked import forked

EACH_S = 1800
"""Seconds after which a test that is recorded has failed. A file takes as long as its tests: it is recorded once."""


@dataclass
class Reach:
    """What tests run what."""

    tests: dict[str, float] = field(default_factory=dict)
    """How long each test that passed took, in seconds, by its pytest name."""
    lines: dict[str, dict[int, set[str]]] = field(default_factory=lambda: defaultdict(lambda: defaultdict(set)))
    """The tests that run each line of each file, by the file's path in the project."""

    def of(self, path: str, line: int, source: bytes) -> set[str]:
        """The tests that a change of this line can be seen by.

        A line that runs when its module is loaded runs in no test, or only in the first that loads it: of a function's
        head, its body's tests are taken; of a name that is set, the tests of every line that says the name. So are they
        of the name of a function that keeps what it gave, or that runs in no test itself.
        """
        ran = self.lines[path].get(line, set())
        names: set[str] = set()
        for node in ast.walk(ast.parse(source)):
            if not (getattr(node, "lineno", 0) <= line <= getattr(node, "end_lineno", -1)):
                continue
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                body = range(node.body[0].lineno, (node.end_lineno or line) + 1)
                if line not in body:
                    ran = ran | {test for n in body for test in self.lines[path].get(n, ())}
                kept = any("cache" in ast.unparse(decorator) for decorator in node.decorator_list)
                return ran | self._saying({node.name}) if kept or not ran else ran
            if isinstance(node, ast.Assign | ast.AnnAssign):
                targets = node.targets if isinstance(node, ast.Assign) else [node.target]
                names |= {each.id for target in targets for each in ast.walk(target) if isinstance(each, ast.Name)}
        return ran | self._saying(names)

    def _saying(self, names: set[str]) -> set[str]:
        if not names:
            return set()
        word = re.compile(rf"\b({'|'.join(names)})\b")
        found: set[str] = set()
        for path, lines in self.lines.items():
            texts = Path(path).read_text(encoding="utf-8").splitlines()
            for line, tests in lines.items():
                if line <= len(texts) and word.search(texts[line - 1]):
                    found |= tests
        return found


def recorded(copy: Path, files: list[Path], kept: Path) -> Reach:
    """The reach of these test files, recorded where it is not yet known.

    Args:
        copy: the project's copy in which tests are run.
        files: test files, by their path in the project.
        kept: the folder that recordings are kept in.
    """
    (kept / "sources").mkdir(parents=True, exist_ok=True)
    for source in _sources(copy):
        (kept / "sources" / digest([source])[:24]).write_bytes(source.read_bytes())
    reach = Reach()
    for file in files:
        path = kept / f"{hashlib.sha256(f'{file} {digest([copy / file])}'.encode()).hexdigest()[:24]}.json"
        if not path.exists():
            print(f"recording {file}", flush=True)
            forked(copy, lambda file=file, path=path: _record(copy, file, path), math.inf)
        if path.exists():
            _add(reach, json.loads(path.read_text(encoding="utf-8")), copy, kept / "sources")
        else:
            print(f"{file} could not be recorded: its tests are left out", flush=True)
    return reach


def _sources(copy: Path) -> list[Path]:
    return sorted([*(copy / "journal").rglob("*.py"), *(copy / "webui").rglob("*.py")])


def digest(files: list[Path]) -> str:
    """One checksum over some files."""
    whole = hashlib.sha256()
    for file in files:
        whole.update(file.read_bytes())
    return whole.hexdigest()


def _add(reach: Reach, found: dict, copy: Path, sources: Path) -> None:
    reach.tests |= found["tests"]
    for path, lines in found["lines"].items():
        if path not in found["sources"] or not (copy / path).is_file():  # a template, or a source that is gone
            continue
        was = (sources / found["sources"][path]).read_text(encoding="utf-8")
        lines_now = moved(was, (copy / path).read_text(encoding="utf-8"))
        for line, before in lines_now.items():
            reach.lines[path][line] |= {test for test in lines.get(str(before), ()) if test in found["tests"]}


@functools.lru_cache(4096)
def moved(was: str, now: str) -> dict[int, int]:
    """For each line of a source, counted from 1, the line of what it was before whose tests are asked about it."""
    before, after = was.splitlines(), now.splitlines()
    if before == after:
        return {line: line for line in range(1, len(after) + 1)}
    found, last = {}, 1
    same = {
        block.b + n: block.a + n + 1
        for block in difflib.SequenceMatcher(None, before, after, autojunk=False).get_matching_blocks()
        for n in range(block.size)
    }
    for line in range(len(after)):
        last = same.get(line, last)
        found[line + 1] = last
    return found


def _record(copy: Path, file: Path, path: Path) -> int:
    """In a process of its own: run one test file under coverage, each test a context of its own."""
    import coverage
    import pytest

    measured = coverage.Coverage(data_file=None, config_file=False, source=[str(copy / "journal"), str(copy / "webui")])
    passed: dict[str, float] = {}

    class Contexts:
        @pytest.hookimpl(wrapper=True, tryfirst=True)
        def pytest_runtest_protocol(self, item):
            measured.switch_context(item.nodeid)
            result = yield
            measured.switch_context("")
            return result

        def pytest_runtest_logreport(self, report):
            if report.when == "call" and report.passed:
                passed[report.nodeid] = report.duration
            elif report.failed:
                passed.pop(report.nodeid, None)

    measured.start()
    options = ["-q", "-p", "no:cacheprovider", "--hypothesis-seed=0", f"--timeout={EACH_S}"]
    code = pytest.main([*options, str(file)], plugins=[Contexts()])
    measured.stop()
    data = measured.get_data()
    lines = {
        str(Path(each).relative_to(copy)): {
            line: [context for context in contexts if context]
            for line, contexts in data.contexts_by_lineno(each).items()
            if any(contexts)
        }
        for each in data.measured_files()
    }
    whole = path.with_suffix(".part")
    sources = {str(each.relative_to(copy)): digest([each])[:24] for each in _sources(copy)}
    whole.write_text(json.dumps({"tests": passed, "lines": lines, "sources": sources}), encoding="utf-8")
    whole.replace(path)
    return int(code)
