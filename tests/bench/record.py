"""The record under load: 1,000, 10,000 and 100,000 jobs of 30 entries, photos taken in, writers killed and at once.

`JOURNAL_BENCH_JOBS=1000,10000` measures fewer, `JOURNAL_BENCH_PARTS=photos,kills,writers,verified,sizes` a part.
Figures are of one run on one machine.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import random
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path

import numpy as np
from PIL import Image
from sqlite_utils import Database

from journal.facts import (
    Baseline,
    Check,
    Cut,
    Engine,
    Entry,
    JobClosed,
    JobOpened,
    Note,
    RunEnded,
    RunKind,
    RunStarted,
    Source,
    Subject,
    new_id,
)
from journal.facts.codec import time_to_text
from journal.record import lines, rows
from journal.record.intake import number_of
from journal.record.photos import take_in
from journal.record.replay import replay
from journal.record.schema import writing
from journal.record.store import Store
from journal.record.verify import verify
from tests.bench.table import Row
from tests.record.pictures import file_of, phone_exif
from tests.record.writers import kill_writers, write_together

UNITS = ("irrigation pump", "forestry loader", "harbour crane", "drill rig", "generator", "orchard sprayer", "ferry")
COMPLAINTS = ("misses at idle", "no power uphill", "white smoke when cold", "hunts at governed speed", "hard to start")
WORDS = tuple(f"word{number}" for number in range(3000))
BEGAN = datetime(2020, 1, 6, 7, 0, tzinfo=UTC)


def job_entries(number: int, chance: random.Random) -> list[Entry]:
    """A day's job in 30 entries."""
    at = BEGAN + timedelta(minutes=20 * number)
    job = new_id(at)
    who = f"technician {number % 12}"
    bodies = [
        JobOpened(f"{chance.choice(UNITS)} {number}", Engine(6), chance.choice(COMPLAINTS)),
        RunStarted(RunKind.IDLE),
        Baseline(30.0),
        *(Cut(c, round(chance.gauss(37.5, 1), 1)) for c in range(1, 7)),
        Baseline(30.5),
        RunEnded(),
        RunStarted(RunKind.HALF_ENGINE, held_out=(4, 5, 6)),
        Baseline(60.0),
        *(Cut(c, round(chance.gauss(90, 2), 1)) for c in range(1, 4)),
        RunEnded(),
        Check(Subject.BLOW_BY, "light"),
        Check(Subject.OVERHEAD, "sound"),
        Check(Subject.WIRING, "sound", 3),
        *(Note(" ".join(chance.choices(WORDS, k=8))) for _ in range(8)),
        JobClosed("injector", 3, "worn") if number % 10 else Note("still open"),
        Note("done"),
    ]
    made = []
    for second, body in enumerate(bodies):
        moment = at + timedelta(seconds=15 * second)
        made.append(Entry(new_id(moment), job, moment, body, 60, who, Source.VOICE, "words as they were heard"))
    assert len(made) == 30
    return made


def fill(store: Store, count: int, chance: random.Random) -> list[str]:
    """So many jobs, a thousand to a transaction; their identifiers.

    Rows are written past `Store.merge` from a few hundred jobs worked out once, each time moved to another day under
    other identifiers: a hundred thousand jobs through the front door would take an hour.
    """
    store._own_key()  # made before a transaction needs it
    patterns = [_pattern(number, chance) for number in range(min(count, 400))]
    ids = []
    for start in range(0, count, 1000):
        with writing(store._db):
            ids += [_copy(store, patterns[n % len(patterns)], n) for n in range(start, min(start + 1000, count))]
    for number in range(0, count, 7):
        store.note_summary(ids[number], f"Cylinder {number % 6 + 1} is dead", {number % 6 + 1: "dead"})
    wrong = [job for job in chance.sample(ids, 20) if store.line_differs(job)]
    assert not wrong, "the copies are not what the store itself would have written"
    return ids


@dataclass(frozen=True)
class Pattern:
    """A job worked out once: its rows without identifiers and times, and what is derived from it."""

    rows: list[list[object]]
    line: tuple[object, ...]
    notes: str
    causes: str


def _pattern(number: int, chance: random.Random) -> Pattern:
    entries = job_entries(number, chance)
    job = replay(entries)
    with Database(memory=True) as db:
        db.execute("CREATE TABLE job_findings (job, headline, causes)")
        texts = lines.texts_row(db, 0, job)
    return Pattern([rows.row_of(e, 0) for e in entries], lines.line_row(0, job), str(texts[3]), str(texts[4]))


def _copy(store: Store, pattern: Pattern, number: int) -> str:
    """The pattern as a job of its own, 20 minutes after the one before."""
    began = BEGAN + timedelta(minutes=20 * number)
    job = new_id(began)
    own = number_of(store._db, job, {job}, store._own_key())
    made, moments = [], []
    for second, row in enumerate(pattern.rows):
        moment = began + timedelta(seconds=15 * second)
        moments.append(time_to_text(moment))
        made.append([new_id(moment), own, moments[-1], *row[3:]])
    db = store._db.conn
    db.executemany(rows.INSERT, made)
    unit, complaint, state, _, _, _, who, count, waiting = pattern.line[1:]
    line = (own, unit, complaint, state, moments[0], moments[0], moments[-1], who, count, waiting)
    db.execute("INSERT INTO job_lines VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)", line)
    db.execute("INSERT INTO job_technicians VALUES (?, ?)", (own, who))
    db.execute("INSERT INTO job_texts VALUES (?, ?, ?, ?, ?)", (own, unit, complaint, pattern.notes, pattern.causes))
    return job


def times_ms(what: Callable[[], object], count: int) -> list[float]:
    """How long each of so many calls took, ms."""
    took = []
    for _ in range(count):
        start = time.perf_counter()
        what()
        took.append((time.perf_counter() - start) * 1000)
    return took


def p95(values: list[float]) -> float:
    return sorted(values)[int(len(values) * 0.95)]


def at_size(count: int) -> Iterator[Row]:
    """Opening, searching, listing and appending in a journal of so many jobs."""
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        with Store.open(Path(folder)) as store:
            ids = fill(store, count, random.Random(count))
        print(f"   {count:,} jobs filled in {time.perf_counter() - start:.0f} s", flush=True)
        yield from used(Path(folder), ids)


ROWS_OF_A_JOB = "SELECT e.* FROM entries e JOIN jobs j ON j.number = e.job WHERE j.id = ?"
ANY_TEXT = "SELECT job FROM job_texts WHERE unit || complaint || notes || causes LIKE '%in none of them%' LIMIT 50"
ALL_ENTRIES = "SELECT job, max(at_utc), count(*) FROM entries GROUP BY job ORDER BY 2 DESC LIMIT 50"
AGAINST = {
    ROWS_OF_A_JOB: "its rows fetched, not understood",
    ANY_TEXT: "every job's text read",
    ALL_ENTRIES: "every entry read",
}
"""What would be done without a replay that is kept, an index of words, and a line for each job."""


def _fetch(store: Store, sql: str, *values: str) -> list[object]:
    return store._db.execute(sql, values).fetchall()


def used(folder: Path, ids: list[str]) -> Iterator[Row]:
    """What a person does with a journal, timed."""
    at = f"{len(ids):,} jobs"
    with Store.open(folder) as store:
        size = sum(path.stat().st_size for path in folder.iterdir()) / 1e6
        yield Row(
            "record", f"{at}: size of the database", size, "MB", note=f"{size * 1e6 / len(ids) / 30:.0f} B an entry"
        )
        chance = random.Random(1)
        looks = {
            "open a job": (lambda: store.job(chance.choice(ids)), ROWS_OF_A_JOB),
            "search a rare word": (lambda: store.jobs(text=chance.choice(WORDS)), ANY_TEXT),
            "search a word of every job": (lambda: store.jobs(text="still done"), ANY_TEXT),
            "search two words": (lambda: store.jobs(text=f"{chance.choice(UNITS)[:5]} smoke"), ANY_TEXT),
            "search a word and a state": (lambda: store.jobs(text="pump", state="open"), ANY_TEXT),
            "list the latest": (lambda: store.jobs(), ALL_ENTRIES),
            "list a technician's open ones": (lambda: store.jobs(technician="technician 3", state="open"), ALL_ENTRIES),
            "list those with a dead cylinder": (lambda: store.jobs(standing="dead"), ALL_ENTRIES),
            "find by reference": (lambda: store.find(store.line(chance.choice(ids)).reference), ALL_ENTRIES),
            "the open job": (lambda: store.latest_open(), ALL_ENTRIES),
        }
        plain = {sql: p95(times_ms(partial(_fetch, store, sql), 20)) for sql in (ANY_TEXT, ALL_ENTRIES)}
        plain[ROWS_OF_A_JOB] = p95(times_ms(lambda: _fetch(store, ROWS_OF_A_JOB, chance.choice(ids)), 200))
        for name, (look, sql) in looks.items():
            took = p95(times_ms(look, 200))
            yield Row("record", f"{at}: {name}, 95th percentile", took, "ms", plain[sql], AGAINST[sql])
        yield from appended(store, ids, at, folder)


def appended(store: Store, ids: list[str], at: str, folder: Path) -> Iterator[Row]:
    """Appending one reading, beside the barest durable insert into a file of the same disk."""
    bare = sqlite3.connect(folder / "bare.db", isolation_level=None)
    bare.execute("PRAGMA journal_mode = WAL")
    bare.execute("PRAGMA synchronous = FULL")
    bare.execute("CREATE TABLE t (body TEXT)")
    row = json.dumps({"kind": "cut", "cylinder": 3, "value": 38.0, "heard": "words as they were heard"})
    job = ids[-1]

    def append() -> None:
        moment = datetime.now(UTC)
        store.append(Entry(new_id(moment), job, moment.replace(microsecond=0), Cut(3, 38.0), 60, "Ada", Source.VOICE))

    took = times_ms(append, 300)
    plain = times_ms(lambda: bare.execute("INSERT INTO t VALUES (?)", [row]), 300)
    bare.close()
    against = "bare durable INSERT"
    yield Row("record", f"{at}: append an entry, 95th percentile", p95(took), "ms", p95(plain), against)
    yield Row(
        "record", f"{at}: append an entry, median", statistics.median(took), "ms", statistics.median(plain), against
    )


def camera_picture(seed: int) -> bytes:
    """A 12-megapixel JPEG, as grainy and as large as a phone's."""
    rng = np.random.default_rng(seed)
    patches = rng.integers(20, 235, (60, 80, 3), dtype=np.uint8)
    picture = Image.fromarray(patches).resize((4000, 3000), Image.Resampling.BICUBIC)
    grain = np.asarray(picture, dtype=np.int16) + rng.integers(-6, 7, (3000, 4000, 1), dtype=np.int16)
    return file_of(Image.fromarray(grain.clip(0, 255).astype(np.uint8)), quality=90, exif=phone_exif())


def naive(folder: Path, data: bytes) -> None:
    """The same with nothing thought of: decode it all, turn it, shrink it twice, save."""
    from PIL import ImageOps

    from journal.record.files import sha256_of, write_whole

    sha256 = sha256_of(data)
    write_whole(folder / f"{sha256}.jpg", data)
    picture = ImageOps.exif_transpose(Image.open(io.BytesIO(data)))
    for edge in (1600, 320):
        copy = picture.copy()
        copy.thumbnail((edge, edge), Image.Resampling.LANCZOS)
        out = io.BytesIO()
        copy.save(out, "JPEG", quality=82)
        write_whole(folder / f"{sha256}-{edge}.jpg", out.getvalue())


def photos() -> Iterator[Row]:
    """A 12-megapixel JPEG taken in; 200 in a row in a process of their own, for its peak memory."""
    pictures = [camera_picture(seed) for seed in range(4)]
    with tempfile.TemporaryDirectory() as folder:
        where = Path(folder)
        fresh = iter(range(1000))

        def other() -> bytes:
            return pictures[next(fresh) % 4] + next(fresh).to_bytes(4, "big")

        times_ms(lambda: take_in(where, other(), "a.jpg"), 3)
        took, plain = [], []
        for _ in range(25):  # one after the other, so that both meet the same machine
            took += times_ms(lambda: take_in(where, other(), "a.jpg"), 1)
            plain += times_ms(lambda: naive(where, other()), 1)
        note = f"{len(pictures[0]) / 1e6:.1f} MB, with hash, page copy, thumbnail, sharpness"
        yield Row(
            "record", "12-megapixel JPEG taken in, median", statistics.median(took), "ms", statistics.median(plain),
            "full decode", note,
        )  # fmt: skip
        (where / "pictures").mkdir()
        for number, data in enumerate(pictures):
            (where / "pictures" / f"{number}.jpg").write_bytes(data)
        for way in ("take_in", "naive"):
            argv = [sys.executable, "-m", "tests.bench.record", way, str(where)]
            peak = float(subprocess.run(argv, check=True, capture_output=True, text=True).stdout)
            if way == "take_in":
                measured = peak
        yield Row("record", "200 photos in a row, peak memory", measured, "MB", peak, "full decode")


def in_a_row(way: str, where: Path) -> float:
    """Peak memory of this process after 200 photos, MB."""
    pictures = sorted((where / "pictures").iterdir())
    for number in range(200 if way == "take_in" else 20):  # the naive way has its peak at the first photo
        data = pictures[number % len(pictures)].read_bytes() + b"row" + number.to_bytes(4, "big")
        if way == "take_in":
            take_in(where / "row", data, "a.jpg")
        else:
            naive(where / "row", data)
    # Linux lets a child inherit its parent's peak in getrusage; what /proc says begins anew with each program.
    status = Path("/proc/self/status")
    if status.exists():
        return int(status.read_text().split("VmHWM:")[1].split()[0]) / 1024
    import resource

    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def killed() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        done = kill_writers(Path(folder), 300, seed=7, longest_s=0.3)
        for trouble in done.troubles:
            print(trouble)
        note = f"{done.rounds} kills, {done.acknowledged} entries acknowledged, {done.on_disk} on disk"
        yield Row("record", "300 kills: things wrong afterwards", len(done.troubles), "", note=note)


def together() -> Iterator[Row]:
    with tempfile.TemporaryDirectory() as folder:
        start = time.perf_counter()
        troubles, took = write_together(Path(folder), 8, 2500)
        for trouble in troubles:
            print(trouble)
        note = f"{len(took)} entries, {len(took) / (time.perf_counter() - start):.0f} a second"
        yield Row("record", "8 writers, 20,000 entries: lost or doubled", len(troubles), "", note=note)
        waited = sorted(seconds * 1000 for seconds in took)
        yield Row("record", "8 writers: append an entry, 99th percentile", waited[int(len(waited) * 0.99)], "ms")


VERIFIED = 100_000


def verified() -> Iterator[Row]:
    """Everything checked in a journal of so many entries, beside its rows read and their checksums worked out alone."""
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
        chance = random.Random(1)
        for start in range(0, VERIFIED, 3000):
            jobs = range(start // 30, min(start + 3000, VERIFIED) // 30)
            store.merge([entry for number in jobs for entry in job_entries(number, chance)], carried=False)
        count = store._db.execute("SELECT count(*) FROM entries").fetchone()[0]

        def rows_alone() -> None:
            for row in store._db.execute(rows.SELECT):
                hashlib.sha256(repr(row).encode()).digest()

        took = []
        for what in (lambda: verify(store), rows_alone):
            start_at = time.perf_counter()
            assert not what()
            took.append(time.perf_counter() - start_at)
        what = f"verify {count:,} entries made here"
        yield Row("record", what, took[0], "s", took[1], "each row read and hashed")


def run() -> list[Row]:
    """Every figure of the record."""
    rows: list[Row] = []
    sizes = [int(n) for n in os.environ.get("JOURNAL_BENCH_JOBS", "1000,10000,100000").split(",")]
    parts: list[tuple[str, Callable[[], Iterator[Row]]]] = [
        ("photos", photos),
        ("kills", killed),
        ("writers", together),
        ("verified", verified),
        *(("sizes", partial(at_size, count)) for count in sizes),
    ]
    wanted = os.environ.get("JOURNAL_BENCH_PARTS", "photos,kills,writers,verified,sizes").split(",")
    for name, part in parts:
        for row in part() if name in wanted else ():
            print(f"   {row.what}: {row.measured:.4g} {row.unit} {row.note}", flush=True)
            rows.append(row)
    return rows


if __name__ == "__main__":
    print(in_a_row(sys.argv[1], Path(sys.argv[2])))
