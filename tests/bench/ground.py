"""How quick the commands start, beside a bare interpreter, and what an installation weighs."""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
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


def _seconds(commands: dict[str, list[str]], environment: dict[str, str]) -> dict[str, float]:
    """Median wall time of each command, taken in turns so that what else runs disturbs all alike."""
    taken: dict[str, list[float]] = {name: [] for name in commands}
    for _ in range(TIMES):
        for name, command in commands.items():
            began = time.perf_counter()
            subprocess.run(command, env=environment, stdout=subprocess.DEVNULL, check=True)
            taken[name].append(time.perf_counter() - began)
    return {name: statistics.median(times) for name, times in taken.items()}


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
        Row("ground", what, times[name], "s", times["bare"], "a bare interpreter", f"median of {TIMES}")
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
