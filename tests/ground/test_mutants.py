"""The mutation run changes what it says, one thing at a time, picks the tests that run it, and counts truly."""

from __future__ import annotations

import os
import textwrap
from pathlib import Path

import pytest
from scipy.stats import binomtest

from tests.mutants.__main__ import asked_of, files_of, interval
from tests.mutants.changes import mutants
from tests.mutants.forked import TIMED_OUT, forked
from tests.mutants.reach import Reach, moved


def changed(source: str) -> list[str]:
    """The lines that the mutants of a text put in place of its own."""
    data = textwrap.dedent(source).encode()
    found = []
    for mutant in mutants(data):
        after = mutant.applied(data).splitlines()
        differing = [n for n, (a, b) in enumerate(zip(data.splitlines(), after, strict=True), 1) if a != b]
        assert differing == [mutant.line], "one line and no other"
        found.append(after[mutant.line - 1].decode().strip())
    return found


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ("a = b < c", ["a = b <= c", "a = b >= c"]),
        ("a = (b) >= (c)", ["a = (b) < (c)", "a = (b) > (c)"]),
        ("a = b is not None", ["a = b is None"]),
        ("a = b not in c", ["a = b in c"]),
        ("a = b + c", ["a = b - c"]),
        ("a = -b", ["a = +b"]),
        ("a = b and c or d", ["a = b and c and d", "a = b or c or d"]),
        ("a = not b", ["a = (b)"]),
        ("a = True", ["a = False"]),
        ("a = 3", ["a = 4"]),
        ("a = 600", ["a = 1200"]),
        ("a = 2.5", ["a = 5.0"]),
        ("f(x)", ["pass"]),
        ("a = b if c else d", ["a = b if (not (c)) else d"]),
        ("a = 'ä' + b", ["a = 'ä' - b"]),
    ],
)
def test_a_line_is_changed_in_every_way_of_its_kind(line: str, expected: list[str]) -> None:
    assert sorted(changed(line)) == sorted(expected)


@pytest.mark.parametrize(
    "line",
    [
        "a: Literal[3] = b",
        "assert a < b",
        "import a",
        "'text 3 < 4'",
        "a = f'{b[:12]}'",
        "a = 1 << 20",
        "time.sleep(0.02)",
        "def f(a: int) -> int: ...",
    ],
)
def test_what_no_test_could_notice_is_left_alone(line: str) -> None:
    assert changed(line) == []


SOURCE = b"""\
MOST = 3

def f(a, most=4):
    return a < most

def g(a):
    return a < MOST
"""


def test_a_line_is_tried_by_the_tests_that_run_it_or_what_it_sets(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "room.py").write_bytes(SOURCE)
    monkeypatch.chdir(tmp_path)
    reach = Reach()
    reach.lines["room.py"][4] |= {"test of f"}
    reach.lines["room.py"][7] |= {"test of g"}
    reach.lines["room.py"][1] |= {"test that is the first to load it"}
    assert reach.of("room.py", 4, SOURCE) == {"test of f"}
    assert reach.of("room.py", 3, SOURCE) == {"test of f"}, "a default is seen where the function runs"
    assert reach.of("room.py", 1, SOURCE) == {"test of g", "test that is the first to load it"}, "where its name stands"


def test_lines_of_a_changed_source_are_found_again_where_they_stand_now() -> None:
    was = "a = 1\nb = 2\nc = 3\n"
    assert moved(was, was) == {1: 1, 2: 2, 3: 3}
    assert moved(was, "a = 1\nnew = 5\nb = 2\nc = 3\n") == {1: 1, 2: 1, 3: 2, 4: 3}, "a new line runs as that before it"
    assert moved(was, "b = 2\nc = 4\n") == {1: 2, 2: 2}


def test_rooms_are_folders_or_modules_and_have_tests() -> None:
    assert Path("journal/record/store.py") in files_of("record") == files_of("journal/record")
    assert files_of("journal/session") == [Path("journal/session.py")]
    assert {Path("journal/session.py"), Path("journal/context.py")} < set(files_of("session"))
    assert all(path.is_file() for path in files_of("session"))
    assert Path("webui/app.py") in files_of("webui")
    assert Path("journal/wording/parse.py") in files_of("wording")
    for room in ("record", "webui", "session", "wording", "analysis"):
        assert asked_of(room)
    with pytest.raises(SystemExit, match="there is no room kitchen"):
        files_of("kitchen")


@pytest.mark.parametrize(("alive", "count"), [(0, 40), (3, 40), (12, 200), (200, 200)])
def test_the_interval_is_scipys_wilson_interval(alive: int, count: int) -> None:
    theirs = binomtest(alive, count).proportion_ci(0.95, "wilson")
    assert interval(alive, count) == pytest.approx((theirs.low, theirs.high), abs=1e-4)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="mutants are tried in forked processes")
def test_work_that_hangs_is_ended_and_work_that_ends_gives_its_code(tmp_path: Path) -> None:
    import time

    def hang() -> int:
        time.sleep(60)
        return 0

    def leave() -> int:
        return 7

    assert forked(tmp_path, leave, 30) == 7
    assert forked(tmp_path, hang, 0.5) == TIMED_OUT
