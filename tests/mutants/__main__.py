"""`python3 tests --mutants [ROOM …]`: changes one line at a time and tells which changes no test notices.

A room is a folder of `journal` (`record`), `webui`, or a module (`session`). Of all mutants a random sample is tried,
each by the tests that run its line, on one core. What was tried is kept in `.mutants`: a run that was broken off goes
on, and what was alive is tried again once a test has changed. Ends with 1 where more than `MOST_ALIVE` per cent live.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import shutil
import sys
import time
from dataclasses import dataclass
from importlib.util import cache_from_source
from math import sqrt
from pathlib import Path

from tests.mutants.changes import Mutant, mutants
from tests.mutants.forked import TIMED_OUT, copied, forked, load
from tests.mutants.reach import Reach, digest, recorded

ROOT = Path(__file__).resolve().parents[2]
KEPT = ROOT / ".mutants"
MOST_ALIVE = 6.0
"""Per cent of a sample that may be alive."""
TOGETHER = {
    "session": (
        "session", "answering", "amending", "context", "corrected", "holding", "leading", "learnt", "mending",
        "outcome", "settling", "steering", "told",
    ),
}  # fmt: skip
"""Modules that make a room though no folder holds them: here those of a conversation."""
BEYOND = {
    "record": ("record", "facts", "cli"),
    "webui": ("webui",),
    "session": ("session", "cli"),
    "wording": ("wording", "session"),
    "analysis": ("analysis", "causes", "outside"),
    "analysis/run": ("analysis", "outside"),
}
"""Folders of tests that are asked about a room, where that is more than its own."""
MOST_S = 40.0
"""Seconds of tests beside its own file's, by what they took when recorded, that one mutant is tried with."""


@dataclass(frozen=True)
class Place:
    """A mutant in its file."""

    path: str
    mutant: Mutant
    source: bytes

    @property
    def key(self) -> str:
        m = self.mutant
        return f"{self.path} {hashlib.sha256(self.source).hexdigest()[:16]} {m.line} {m.start} {m.end} {m.after}"

    def __str__(self) -> str:
        text = self.source.splitlines()[self.mutant.line - 1]
        before = text[self.mutant.start : self.mutant.end].decode()
        line = text.decode().strip()
        return f"{self.path}:{self.mutant.line}: {before} -> {self.mutant.after}   in: {line}"


def files_of(room: str) -> list[Path]:
    """A room's source files, by their path in the project.

    Raises:
        SystemExit: there is no such room.
    """
    if room in TOGETHER:
        return [Path("journal") / f"{module}.py" for module in TOGETHER[room]]
    plain = room.removeprefix("journal/").removesuffix("/").removesuffix(".py")
    for place in (ROOT / "journal" / plain, ROOT / plain):
        if place.is_dir() and plain not in ("", "tests", "demo"):
            return sorted(path.relative_to(ROOT) for path in place.rglob("*.py"))
        if place.with_suffix(".py").is_file():
            return [place.with_suffix(".py").relative_to(ROOT)]
    raise SystemExit(f"there is no room {room}: name a folder of journal, webui, or a module such as session")


def asked_of(room: str) -> list[Path]:
    """The test files that are asked about a room."""
    plain = room.removeprefix("journal/").removesuffix("/").removesuffix(".py")
    folders = BEYOND.get(plain, (plain, "session"))
    return [path.relative_to(ROOT) for each in folders for path in sorted((ROOT / "tests" / each).glob("test_*.py"))]


def chosen(reach: Reach, place: Place) -> list[str]:
    """The tests a mutant is tried with: those that run its line in the file named after its module, and others.

    Of the others the shortest, up to `MOST_S` seconds.
    """
    reached = reach.of(place.path, place.mutant.line, place.source)
    named = f"/test_{Path(place.path).stem}.py::"
    own = sorted((test for test in reached if named in test), key=lambda test: (reach.tests[test], test))
    found, spent = own, 0.0
    for test in sorted(reached.difference(own), key=lambda test: (reach.tests[test], test)):
        spent += reach.tests[test]
        if found and spent > MOST_S:
            break
        found.append(test)
    return found


def tried(copy: Path, place: Place, tests: list[str], took: float) -> bool:
    """Whether these tests notice the mutant; one that makes them hang is noticed."""
    import pytest

    target = copy / place.path
    Path(cache_from_source(target)).unlink(missing_ok=True)
    target.write_bytes(place.mutant.applied(place.source))
    try:
        # What a failing assertion would show is not looked at, and rewriting them all anew takes most of the time.
        options = ["-x", "-q", "--assert=plain", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
        code = forked(copy, lambda: int(pytest.main([*options, *tests])), 30 + 5 * took)
    finally:
        target.write_bytes(place.source)
    return code == TIMED_OUT or code != 0


def main(arguments: list[str]) -> int:
    """Try mutants of the rooms asked for and report; the exit code is 0 where few enough live."""
    asked = argparse.ArgumentParser(prog="python3 tests --mutants", description=__doc__)
    asked.add_argument("rooms", nargs="*", default=["record", "webui"], help="folders of journal, webui, or modules")
    asked.add_argument("--sample", type=int, default=200, metavar="N", help="mutants to try of each room; 0 for all")
    asked.add_argument("--seed", type=int, default=1, help="which sample")
    asked.add_argument("--minutes", type=float, default=0, help="stop after these, a room; then go on by the same")
    given = asked.parse_args(arguments)
    if not hasattr(os, "fork"):
        raise SystemExit("mutants are tried in forked processes, which this system does not have: use Linux or macOS")
    rooms = [(room, files_of(room), asked_of(room)) for room in given.rooms]
    load()
    sys.dont_write_bytecode = True
    os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
    copy = copied(ROOT)
    try:
        return max([_room(copy, *room, given) for room in rooms])
    finally:
        shutil.rmtree(copy, ignore_errors=True)


def _room(copy: Path, room: str, files: list[Path], tests: list[Path], given: argparse.Namespace) -> int:
    places = [Place(str(f), m, (ROOT / f).read_bytes()) for f in files for m in mutants((ROOT / f).read_bytes())]
    count = len(places)
    # Tried in random order: what a run that was broken off has tried is a fair sample too.
    places = random.Random(given.seed).sample(places, min(given.sample or count, count))
    reach = recorded(copy, tests, KEPT / "reach")
    now = digest([ROOT / test for test in tests])[:16]
    until = time.monotonic() + 60 * given.minutes if given.minutes else float("inf")
    kept = _kept()
    alive: list[tuple[Place, int]] = []
    done = 0
    for place in places:
        before = kept.get(place.key)
        names = chosen(reach, place)
        if before is None or (before["alive"] and before["tests"] != now):
            if time.monotonic() > until:
                break
            living = not names or not tried(copy, place, names, sum(reach.tests[name] for name in names))
            before = {"key": place.key, "alive": living, "tests": now}
            _keep(before)
            print("." if not before["alive"] else f"\nalive: {place}", end="" if not living else "\n", flush=True)
        done += 1
        if before["alive"]:
            alive.append((place, len(names)))
    print(f"\n{room}: {done} of {count} mutants tried, seed {given.seed}", end="")
    print("" if done == len(places) else f"; {len(places) - done} of the sample are left: run it again to go on")
    low, high = interval(len(alive), done)
    share = 100 * len(alive) / max(1, done)
    print(f"{room}: {len(alive)} alive, {share:.1f} % (95 % interval {100 * low:.1f} to {100 * high:.1f})")
    for place, reached in sorted(alive, key=lambda each: (each[0].path, each[0].mutant.line)):
        print(f"  {place}   ({reached} tests run it)")
    return int(share > MOST_ALIVE)


def interval(alive: int, count: int, z: float = 1.96) -> tuple[float, float]:
    """The 95 % interval of a share (Wilson, J. Am. Stat. Assoc. 22, 1927, 209-212)."""
    if not count:
        return 0.0, 1.0
    share, square = alive / count, z * z / count
    middle, reach = share + square / 2, z * sqrt(share * (1 - share) / count + square / count / 4)
    return (middle - reach) / (1 + square), (middle + reach) / (1 + square)


def _kept() -> dict[str, dict]:
    try:
        lines = (KEPT / "tried.jsonl").read_text(encoding="utf-8").splitlines()
    except FileNotFoundError:
        return {}
    return {found["key"]: found for found in map(json.loads, lines)}


def _keep(found: dict) -> None:
    KEPT.mkdir(exist_ok=True)
    with (KEPT / "tried.jsonl").open("a", encoding="utf-8") as file:
        file.write(json.dumps(found) + "\n")


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
