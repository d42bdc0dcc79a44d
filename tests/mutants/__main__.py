"""`python3 tests --mutants [ROOM …]`: changes one line at a time and tells which changes no test notices.

A room is a folder of `journal` (`record`), `webui`, or a module (`session`). Of all mutants a random sample is tried,
each by the tests that run its line, on one core, those first that are quick and have noticed many. What was tried is
kept in `.mutants`: a run that was broken off goes on, and what was alive is tried again once a test has changed. What
changes nothing that anybody could notice is listed in `equivalent.toml` with why, and told apart. Ends with 1 where
more than `MOST_ALIVE` per cent of the others live.
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
import tomllib
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from importlib.util import cache_from_source
from math import sqrt
from pathlib import Path

from tests.mutants.changes import Mutant, mutants
from tests.mutants.forked import TIMED_OUT, copied, load
from tests.mutants.reach import Reach, digest, recorded
from tests.mutants.warm import FAILED, HUNG, NOT_PATCHED, Trial, Warm, cold

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
    "record": ("record", "facts", "cli", "session"),
    "webui": ("webui",),
    "session": ("session", "cli"),
    "wording": ("wording", "session"),
    "analysis": ("analysis", "causes", "outside"),
    "analysis/run": ("analysis", "outside"),
}
"""Folders of tests that are asked about a room, where that is more than its own."""
MOST_S = 150.0
"""Seconds of tests, by what they took when recorded, that one mutant is tried with; those of its own file all run.

Two that hold the causes against another program take a minute each where the machine is busy."""


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

    @property
    def judged(self) -> tuple[str, str, str, str]:
        """What `equivalent.toml` names it by."""
        text = self.source.splitlines()[self.mutant.line - 1]
        before = text[self.mutant.start : self.mutant.end].decode()
        return self.path, text.decode().strip(), before, self.mutant.after

    def __str__(self) -> str:
        _, line, before, after = self.judged
        return f"{self.path}:{self.mutant.line}: {before} -> {after}   in: {line}"


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


def chosen(reach: Reach, place: Place, kills: Mapping[str, int], known: Collection[str]) -> list[str]:
    """The tests a mutant is tried with: those that run its line in the file named after its module, and others.

    Of the others the likeliest for their time, up to `MOST_S` seconds: `kills` is how many mutants each test has
    noticed, `known` are the tests there are, and those in a file with a word of the module's name are likelier.
    """
    stem = Path(place.path).stem
    named, words = f"/test_{stem}.py::", [word.removesuffix("s") for word in stem.split("_")]
    reached = [test for test in reach.of(place.path, place.mutant.line, place.source) if test in known]

    def likely(test: str) -> int:
        return 1 + kills.get(test, 0) + 2 * any(word in test.partition("::")[0].rpartition("/")[2] for word in words)

    worth = {test: (0.1 + reach.tests[test]) / likely(test) for test in reached}
    found, spent = [], 0.0
    for test in sorted(reached, key=lambda test: (worth[test], test)):
        spent += reach.tests[test]
        if named in test or not found or spent <= MOST_S:
            found.append(test)
    return found


class Trying:
    """Tries the mutants of a room, one after another."""

    def __init__(self, copy: Path, files: Sequence[Path]) -> None:
        """`copy` is the project's copy, `files` the tests of the room."""
        self._copy, self._files = copy, files
        self.warm = Warm(copy, files)
        self._sound: set[str] = set()
        self.unsound: set[str] = set()
        """Tests that failed where nothing was changed: what they notice does not count."""

    def noticed_by(self, place: Place, tests: Sequence[str], took: Mapping[str, float]) -> str:
        """The test that notices the mutant, else why it counts as noticed; empty where it lives.

        Args:
            place: the mutant.
            tests: what it is tried with.
            took: how long each test took when it was recorded, in seconds.
        """
        after, patience = place.mutant.applied(place.source), 1
        while tests := [test for test in tests if test not in self.unsound]:
            whole, longest = sum(took[test] for test in tests), max(took[test] for test in tests)
            each_s = patience * (20 + 8 * longest)
            trial = Trial(place.path, place.source, after, tuple(tests), patience * (30 + 5 * whole) + each_s, each_s)
            code, name = self._run(trial)
            if code == 0:
                return ""
            if code == TIMED_OUT or name.startswith(HUNG):
                if patience > 4 or self._takes(name.removeprefix(HUNG) or tests[0]) < each_s / 4:
                    return "time"
                patience *= 2  # the machine is busy with other things
                continue
            if not name:
                return "loading"
            if self._is_sound(name):
                return name
        return ""

    def _run(self, trial: Trial) -> tuple[int, str]:
        target, told = self._copy / trial.path, self._copy / FAILED
        Path(cache_from_source(target)).unlink(missing_ok=True)
        told.unlink(missing_ok=True)
        # Written as well, for what tests start as processes of their own.
        target.write_bytes(trial.after)
        try:
            code = self.warm.tried(trial)
            code = cold(self._copy, trial) if code == NOT_PATCHED else code
        finally:
            target.write_bytes(trial.before)
        return code, told.read_text(encoding="utf-8") if told.exists() else ""

    def _takes(self, name: str) -> float:
        """How long a test takes now where nothing is changed, in seconds."""
        began = time.monotonic()
        self.warm.tried(Trial("", b"", b"", (name,), 300))
        return time.monotonic() - began

    def _is_sound(self, name: str) -> bool:
        if name not in self._sound:
            passed = self.warm.tried(Trial("", b"", b"", (name,), 300)) == 0
            (self._sound if passed else self.unsound).add(name)
        return name in self._sound

    def close(self) -> None:
        """End what runs."""
        self.warm.close()


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
    kills = Counter(found["by"] for found in kept.values() if found.get("by"))
    alive: list[tuple[Place, int]] = []
    done, began = 0, time.monotonic()
    trying = Trying(copy, tests)
    try:
        for place in places:
            before = kept.get(place.key)
            names = chosen(reach, place, kills, trying.warm.tests)
            if before is None or (before["alive"] and before["tests"] != now):
                if time.monotonic() > until:
                    break
                by = trying.noticed_by(place, names, reach.tests)
                before = {"key": place.key, "alive": not by, "tests": now, "by": by}
                _keep(before)
                kills[by] += 1
                print("." if by else f"\nalive: {place}\n", end="", flush=True)
            done += 1
            if before["alive"]:
                alive.append((place, len(names)))
    finally:
        trying.close()
    for name in sorted(trying.unsound):
        print(f"\nfails where nothing was changed, and did not count: {name}", end="")
    print(f"\n{room}: {done} of {count} mutants tried, seed {given.seed}, {time.monotonic() - began:.0f} s", end="")
    print("" if done == len(places) else f"; {len(places) - done} of the sample are left: run it again to go on")
    same = equivalent()
    open_, judged = ([each for each in alive if (each[0].judged in same) is is_judged] for is_judged in (False, True))
    low, high = interval(len(open_), done - len(judged))
    share = 100 * len(open_) / max(1, done - len(judged))
    print(f"{room}: {done - len(alive)} noticed, {len(judged)} change nothing anybody could see, {len(open_)} alive,")
    print(f"{room}: {share:.1f} % of the others (95 % interval {100 * low:.1f} to {100 * high:.1f})")
    for title, those in (("alive", open_), ("equivalent", judged)):
        for place, reached in sorted(those, key=lambda each: (each[0].path, each[0].mutant.line)):
            print(f"  {title}: {place}   ({reached} tests run it)")
    return int(share > MOST_ALIVE)


def equivalent() -> dict[tuple[str, str, str, str], str]:
    """Mutants that were looked at and change nothing that could be noticed, each with why.

    Each is named by its file, its line's text, what was changed in it and into what.
    """
    text = Path(__file__).with_name("equivalent.toml").read_text(encoding="utf-8")
    return {(m["path"], m["line"], m["before"], m["after"]): m["why"] for m in tomllib.loads(text).get("mutant", [])}


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
