"""How quick the commands start, beside a bare interpreter, and what an installation weighs."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from importlib.metadata import distribution
from pathlib import Path

from packaging.requirements import Requirement

from journal.cli.demo import engine_of
from journal.facts import JobOpened
from journal.record.store import Store
from journal.session import Session, open_job
from tests.bench.table import Row
from tests.ground.script import told

TIMES = 15
BARE = [sys.executable, "-c", "pass"]


@dataclass(frozen=True)
class Took:
    """Medians over some starts of a command, s."""

    clock: float
    """Time on the clock, with whatever else the machine was doing."""
    worked: float
    """Processor time; 0 where the system does not tell it of a command that ended (Windows)."""


def _seconds(commands: dict[str, list[str]], environment: dict[str, str]) -> dict[str, Took]:
    """What each command took, taken in turns so that what else runs disturbs all alike."""
    taken: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
    for _ in range(TIMES):
        for name, command in commands.items():
            began, before = time.perf_counter(), os.times()
            subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
            clock, after = time.perf_counter() - began, os.times()
            worked = after.children_user + after.children_system - before.children_user - before.children_system
            taken[name].append((clock, worked))
    return {
        name: Took(statistics.median(c for c, _ in times), statistics.median(w for _, w in times))
        for name, times in taken.items()
    }


def _demo_job(folder: Path) -> None:
    """The demo's job from its script's words."""
    about = told("orchard", "job.toml")
    with Store.open(folder) as store:
        opened = JobOpened(about["unit"], engine_of(about["engine"]), about["complaint"])
        session = Session(store, open_job(store, opened, about["technician"]))
        for part in told("orchard", "script.toml")["part"]:
            for line in part["line"]:
                session.type(line["say"])


def _megabytes(names: set[str]) -> float:
    """What the files of these installed packages weigh."""
    files = [file for name in names for file in distribution(name).files or []]
    return sum(Path(str(file.locate())).stat().st_size for file in files if Path(str(file.locate())).is_file()) / 1e6


def _with_all_they_need(roots: set[str]) -> set[str]:
    """The installed packages that these need, themselves included."""
    found: set[str] = set()
    waiting = list(roots)
    while waiting:
        name = waiting.pop().lower()
        if name in found:
            continue
        found.add(name)
        for text in distribution(name).requires or []:
            need = Requirement(text)
            if need.marker is None or need.marker.evaluate({"extra": ""}):
                waiting.append(need.name)
    return found


def run() -> list[Row]:
    """Start of commands, findings of the demo's job, and installed size."""
    with tempfile.TemporaryDirectory() as folder:
        _demo_job(Path(folder))
        environment = {**os.environ, "JOURNAL_FOLDER": folder}
        journal = [sys.executable, "-m", "journal"]
        times = _seconds(
            {
                "bare": BARE,
                "help": [*journal, "--help"],
                "findings": [*journal, "findings"],
                "show": [*journal, "show"],
            },
            environment,
        )
    rows = [
        Row(
            "ground",
            what,
            times[name].clock,
            "s",
            times["bare"].clock,
            "a bare interpreter",
            f"median of {TIMES}; processor time {times[name].worked:.2f} s",
        )
        for name, what in (
            ("help", "journal --help"),
            ("findings", "journal findings, demo job"),
            ("show", "journal show, demo job"),
        )
    ]
    needs = [Requirement(text) for text in distribution("cutout-journal").requires or []]
    plain = {need.name for need in needs if need.marker is None}
    speech = {need.name for need in needs if need.marker is not None and need.marker.evaluate({"extra": "speech"})}
    without = _megabytes(_with_all_they_need(plain))
    both = _megabytes(_with_all_they_need(plain | speech))
    rows.append(Row("ground", "installed, with speech", both, "MB", without, "without the speech extra"))
    return rows
