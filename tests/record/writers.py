"""Processes that write into one journal at once, and that are killed while they do."""

from __future__ import annotations

import multiprocessing
import os
import random
import time
from dataclasses import dataclass, field
from datetime import UTC, datetime
from multiprocessing.connection import Connection
from pathlib import Path

import numpy as np

from journal.facts import Cut, Engine, Entry, JobOpened, Note, Source, new_id, to_milliseconds
from journal.record.clips import keep_clip
from journal.record.store import Store

# A forked child starts in milliseconds; where there is no fork, the same is done with fresh processes.
PROCESSES = multiprocessing.get_context("fork" if hasattr(os, "fork") else "spawn")


def entry(job: str, body: object, technician: str, heard: str = "", clip: str = "") -> Entry:
    """An entry of this moment."""
    at = to_milliseconds(datetime.now(UTC))
    return Entry(new_id(at), job, at, body, 0, technician, Source.VOICE, heard, clip)  # type: ignore[arg-type]


def open_job(folder: Path) -> str:
    """A journal with one open job; its identifier."""
    job = new_id(datetime.now(UTC))
    with Store.open(folder) as store:
        store.append(entry(job, JobOpened("pump", Engine(6), "misses"), "Ada"))
    return job


def write_for_ever(folder: Path, job: str, acknowledged: Connection) -> None:
    """A session that writes as fast as it can: clips, entries in batches, notes; says what was acknowledged."""
    with Store.open(folder) as store:
        for batch in range(1_000_000):
            clip = keep_clip(folder, np.random.default_rng(batch).normal(0, 0.1, 800).astype(np.float32))
            size = batch % 3 + 1
            name = f"{os.getpid()} {batch} {size}"
            entries = [entry(job, Cut(i + 1, 30.0 + i), "Ada", name, clip) for i in range(size)]
            if batch % 5 == 0:
                entries[0] = entry(job, Note(f"note {batch}"), "Ada", name, clip)
            store.append(*entries)
            acknowledged.send([e.id for e in entries])
            if batch % 7 == 0:
                store.note_summary(job, f"headline {batch}", {batch % 6 + 1: "dead"})


@dataclass
class Killed:
    """What became of a journal whose writers were killed."""

    rounds: int = 0
    """How many were killed."""
    acknowledged: int = 0
    """How many entries had been acknowledged."""
    on_disk: int = 0
    """How many are on disk, the opening left out."""
    troubles: list[str] = field(default_factory=list)
    """Everything that is not as it must be."""


def kill_writers(folder: Path, rounds: int, seed: int, longest_s: float = 0.25) -> Killed:
    """Start a writer, kill it at a random moment, look at the journal; so many times over on the same journal."""
    chance = random.Random(seed)
    job = open_job(folder)
    done = Killed()
    acknowledged: set[str] = set()
    for _ in range(rounds):
        ours, theirs = PROCESSES.Pipe(duplex=False)
        writer = PROCESSES.Process(target=write_for_ever, args=(folder, job, theirs))
        writer.start()
        theirs.close()
        time.sleep(chance.uniform(0, longest_s))
        writer.kill()
        writer.join()
        try:
            while True:
                acknowledged.update(ours.recv())
        except (EOFError, OSError):
            ours.close()
        done.rounds += 1
        _look(folder, job, acknowledged, done)
        if done.troubles:
            break
    return done


def _look(folder: Path, job: str, acknowledged: set[str], done: Killed) -> None:
    with Store.open(folder, create=False) as store:
        done.troubles += store.check_database()
        entries = store.entries(job)
        missing = acknowledged - {e.id for e in entries}
        done.troubles += [f"entry {e} was acknowledged and is lost" for e in missing]
        batches: dict[str, int] = {}
        for e in entries[1:]:
            batches[e.heard] = batches.get(e.heard, 0) + 1
        done.troubles += [f"batch {name} is there in part" for name, n in batches.items() if n != int(name.split()[2])]
        if store.line(job).entries != len(entries):
            done.troubles.append("the job's line is not what its entries say")
        clips = {e.clip for e in entries if e.clip}
        done.troubles += [
            f"clip {c} is missing" for c in clips if not (folder / "clips" / c[:2] / f"{c}.flac").is_file()
        ]
        done.acknowledged, done.on_disk = len(acknowledged), len(entries) - 1


def write_some(folder: Path, jobs: list[str], count: int, number: int, waits: Connection) -> None:
    """One of several writers: so many entries over these jobs, each by itself; sends how long each took, seconds."""
    took = []
    with Store.open(folder, wait_s=60) as store:
        for i in range(count):
            made = entry(jobs[i % len(jobs)], Cut(i % 6 + 1, float(i)), f"writer {number}", f"{number} {i}")
            start = time.perf_counter()
            store.append(made)
            took.append(time.perf_counter() - start)
    waits.send(took)


def write_together(folder: Path, writers: int, each: int) -> tuple[list[str], list[float]]:
    """So many processes write so many entries each; what is wrong afterwards, and how long each append took."""
    jobs = [open_job(folder) for _ in range(3)]
    pipes, processes = [], []
    for number in range(writers):
        ours, theirs = PROCESSES.Pipe(duplex=False)
        processes.append(PROCESSES.Process(target=write_some, args=(folder, jobs, each, number, theirs)))
        processes[-1].start()
        theirs.close()
        pipes.append(ours)
    took: list[float] = []
    troubles = []
    for number, pipe in enumerate(pipes):
        try:
            took += pipe.recv()
        except EOFError:
            troubles.append(f"writer {number} gave up")
    for process in processes:
        process.join()
    with Store.open(folder, create=False) as store:
        troubles += store.check_database()
        found: dict[str, list[int]] = {}
        for job in jobs:
            for e in store.entries(job)[1:]:
                found.setdefault(e.technician, []).append(int(e.heard.split()[1]))
            if store.line(job).entries != len(store.entries(job)):
                troubles.append("a job's line is not what its entries say")
        for number in range(writers):
            if sorted(found.get(f"writer {number}", [])) != list(range(each)):
                troubles.append(f"writer {number}'s entries are not all there once")
            for job in jobs:
                order = [int(e.heard.split()[1]) for e in store.entries(job) if e.technician == f"writer {number}"]
                if order != sorted(order):
                    troubles.append(f"writer {number}'s entries are out of order")
    return troubles, took
