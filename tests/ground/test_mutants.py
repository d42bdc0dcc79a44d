"""The mutation run changes what it says, one thing at a time, picks the tests that run it, and counts truly."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest
from scipy.stats import binomtest

from tests.mutants.__main__ import MOST_S, ROOT, Place, asked_of, chosen, equivalent, files_of, interval
from tests.mutants.changes import Mutant, mutants
from tests.mutants.forked import TIMED_OUT, forked
from tests.mutants.reach import Reach, moved
from tests.mutants.warm import changes


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
        ("a = f(b, strict=True)", ["a = f(b, strict=False)"]),
    ],
)
def test_a_line_is_changed_in_every_way_of_its_kind(line: str, expected: list[str]) -> None:
    assert sorted(changed(line)) == sorted(expected)


@pytest.mark.parametrize(
    "line",
    [
        "a: Literal[3] = b",
        "A = Mapping[int | None, str]",
        "assert a < b",
        "import a",
        "'text 3 < 4'",
        "a = f'{b[:12]}'",
        "a = 1 << 20",
        "time.sleep(0.02)",
        "def f(a: int) -> int: ...",
        "a = zip(b, c, strict=True)",
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


TWO_NAMES = b"""\
LEAST, MOST = 3, 4

@functools.cache
def f(a):
    return a < MOST

def g(a):
    return f(a) or h(a)

def h(a):
    return a < LEAST
"""


def test_of_what_is_kept_once_it_was_worked_out_those_who_ask_for_it_are_asked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "room.py").write_bytes(TWO_NAMES)
    monkeypatch.chdir(tmp_path)
    reach = Reach()
    reach.lines["room.py"][5] |= {"test that is the first to ask"}
    reach.lines["room.py"][8] |= {"test of g"}
    assert reach.of("room.py", 5, TWO_NAMES) == {"test that is the first to ask", "test of g"}
    assert reach.of("room.py", 1, TWO_NAMES) == {"test that is the first to ask"}, "of either of two names"
    assert reach.of("room.py", 11, TWO_NAMES) == {"test of g"}, "what runs in no test itself"


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


def test_tests_that_noticed_many_and_are_quick_come_first() -> None:
    source = b"def f(a):\n    return a < 3\n"
    place = Place("journal/room.py", Mutant(2, 13, 14, "<=", "comparison"), source)
    reach = Reach()
    took = {
        "tests/test_room.py::slow": 30.0,
        "tests/a.py::quick": 0.1,
        "tests/a.py::keen": 5.0,
        "tests/a.py::long": MOST_S - 20.0,
    }
    reach.tests |= took | {"tests/a.py::gone": 0.1, "tests/a.py::other": 0.1}
    reach.lines[place.path][2] |= {*took, "tests/a.py::gone"}
    known = {*took, "tests/a.py::other"}
    tried = chosen(reach, place, {"tests/a.py::keen": 60}, known)
    assert tried == ["tests/a.py::keen", "tests/a.py::quick", "tests/test_room.py::slow"], (
        "its own file's run however long they take, others while there is time, and none that is gone"
    )


LOADED = b"""\
LIMIT = 3

class Thing:
    size = 4

    def grown(self, by=1):
        return self.size + by

def smaller(a):
    return [b - 1 for b in a]

DOUBLE = [2 * a for a in (1, 2)]
least = lambda a: a < LIMIT
"""


@pytest.mark.parametrize(
    ("before", "after", "function"),
    [
        (b"size + by", b"size - by", "Thing.grown"),
        (b"b - 1", b"b + 1", "smaller"),
        (b"a < LIMIT", b"a <= LIMIT", "<lambda>"),
        (b"LIMIT = 3", b"LIMIT = 4", None),
        (b"size = 4", b"size = 5", None),
        (b"by=1", b"by=2", None),
        (b"2 * a", b"2 / a", None),
    ],
)
def test_only_what_functions_do_is_put_into_what_is_loaded(before: bytes, after: bytes, function: str | None) -> None:
    found = changes(LOADED, LOADED.replace(before, after), "room.py")
    assert (None if found is None else [name for name, _ in found]) == (None if function is None else [function])


HOUSE = {
    "journal/__init__.py": "",
    "journal/room.py": """\
import functools

MOST = 3

@functools.lru_cache
def few(a):
    return a < MOST

def seldom(a):
    return a > 5

def early(a):
    return a + 1
""",
    "tests/room/test_room.py": """\
import sys
import pytest
from journal.room import early, few, seldom

few(3)

def test_few():
    assert few(2) and not few(3)

@pytest.mark.parametrize("two", [early(1)])
def test_early(two):
    assert two == 2

def test_that_never_passes():
    assert seldom(7) and False
""",
}


TRIED = """
import json, sys
from pathlib import Path
from tests.mutants.__main__ import Place, Trying
from tests.mutants.changes import mutants

copy = Path(sys.argv[1])
source = (copy / "journal/room.py").read_bytes()
trying = Trying(copy, [Path("tests/room/test_room.py")])
try:
    tests = sorted(trying.warm.tests)
    took = dict.fromkeys(tests, 0.1)
    one_a_line = {mutant.line: Place("journal/room.py", mutant, source) for mutant in mutants(source)}
    noticed = {str(place): trying.noticed_by(place, tests, took) for place in one_a_line.values()}
finally:
    trying.close()
print(json.dumps([tests, noticed, sorted(trying.unsound)]))
"""
"""In a process of its own, as the tool is: one with other threads is not to be forked."""


def test_a_change_is_noticed_wherever_it_stands_and_only_by_tests_that_pass_without_it(tmp_path: Path) -> None:
    for name, text in HOUSE.items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    command = [sys.executable, "-c", TRIED, str(tmp_path)]
    said = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    tests, noticed, unsound = json.loads(said.splitlines()[-1])
    assert [test.partition("::")[2] for test in tests] == ["test_early[2]", "test_few", "test_that_never_passes"]
    assert unsound == ["tests/room/test_room.py::test_that_never_passes"]
    few, seldom, early = (
        {test.partition("::")[2] for place, test in noticed.items() if line in place}
        for line in ("MOST", "a > 5", "a + 1")
    )
    assert few == {"test_few"}, "also where it had been called before, and of a name that is set as it is loaded"
    assert seldom == {""}, "a test that fails without the change notices nothing"
    assert early == {"test_early[3]"}, "also of what is done while tests are collected"
    assert (tmp_path / "journal/room.py").read_text(encoding="utf-8") == HOUSE["journal/room.py"]


def test_what_is_held_to_change_nothing_stands_in_the_project_and_says_why() -> None:
    for (path, line, before, after), why in equivalent().items():
        source = (ROOT / path).read_bytes()
        judged = {Place(path, mutant, source).judged for mutant in mutants(source)}
        assert (path, line, before, after) in judged, f"{path}: {line} is there no more"
        assert len(why) > 20
