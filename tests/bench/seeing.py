"""Numbers read off photographed screens: right, not sure, missing, wrong; misread figures; time and memory.

Screens are drawn by ourselves and photographed by simulation (`tests/seeing`); no photo of a real screen is among them.
The layouts, typefaces and colours that are reported on were not looked at while the reading was made.
`JOURNAL_BENCH_SCREENS=100` takes so many of each kind, `JOURNAL_BENCH_RUNS=16` so many runs;
`JOURNAL_BENCH_PARTS=tuned,reported,conditions,tuned runs,runs,fresh runs,changed unit,stand,cost`
names parts.
"""

from __future__ import annotations

import os
import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from journal.answering import said
from journal.facts import Answer, Baseline, Cut, Engine, JobOpened, Photo
from journal.facts import Quantity as Q
from journal.photographed import enter_shown
from journal.record.photos import picture_of, take_in
from journal.record.store import Store
from journal.seeing import can_see
from journal.session import Session, open_job
from journal.shown import shown
from journal.wording.figures import settings
from tests.bench import _stand
from tests.bench.table import Row
from tests.seeing.camera import Conditions, by_chance, photographed
from tests.seeing.judged import Judged, judged_screens
from tests.seeing.more_screens import FRESH, FRESH_LOOKS
from tests.seeing.screens import REPORTED, REPORTED_LOOKS, TUNED, TUNED_LOOKS, Reading, readings

SEED = 2026
SCREENS = {"tuned": 24, "reported": 64}
PARTS = ("tuned", "reported", "conditions", "tuned runs", "runs", "fresh runs", "changed unit", "stand", "cost")
EACH = 8
"""Screens for each condition by itself."""
ALONE = {
    "as drawn, from the front": Conditions(),
    "perspective, 35 degrees": Conditions(tilt=35, roll=8),
    "blur of 2.2 pixels": Conditions(tilt=5, blur=2.2),
    "glare": Conditions(tilt=5, blur=0.7, glare=0.8),
    "moiré": Conditions(tilt=5, blur=0.7, moire=0.4),
    "a third of the light, grain": Conditions(tilt=5, blur=0.7, light=0.33, grain=8),
    "JPEG of quality 35": Conditions(tilt=5, blur=0.7, jpeg=35),
}
TIMES = 5
FRAME = (1920, 1080)
"""Pixels of a frame of a camera on a stand, as the page asks for it."""
RUNS = 6
"""Whole cut-out runs from photos only, in one layout after the other."""
FUEL = {None: 30.0, 1: 37.5, 2: 37.6, 3: 30.0, 4: 37.4, 5: 37.5, 6: 37.3}
"""What they read: the baseline, then each cylinder cut."""
RUNS_ON = {
    "tuned runs": (TUNED, TUNED_LOOKS), "runs": (REPORTED, REPORTED_LOOKS), "fresh runs": (FRESH, FRESH_LOOKS),
    "changed unit": ({**REPORTED, **FRESH}, REPORTED_LOOKS + FRESH_LOOKS),
}  # fmt: skip
"""The layouts of each part with runs; of `runs` it was looked at what became of them, at `fresh runs` nothing was. In
runs of `changed unit` the screen shows milligrams from the third cylinder on, and only those photos count."""
COSTS: dict[str, tuple[str, ...]] = {
    "entered right": (), "asked with the right one": ("question",), "asked without": ("question", "unnamed"),
    "nothing": ("lost",), "wrong": ("entry",),
}  # fmt: skip
"""What becomes of a photo, and what that costs by the names of `deciding.toml`, which are those of speech."""


def run() -> list[Row]:
    """Every part, or those that `JOURNAL_BENCH_PARTS` names."""
    if not can_see():
        print("the photo extra is not installed: nothing can be read")
        return []
    parts = os.environ.get("JOURNAL_BENCH_PARTS", ",".join(PARTS)).split(",")
    rows: list[Row] = []
    for part in parts:
        if part in SCREENS:
            rows += _layouts(part, int(os.environ.get("JOURNAL_BENCH_SCREENS", SCREENS[part])))
        elif part == "conditions":
            rows += _conditions()
        elif part in RUNS_ON:
            rows += _runs(part)
        elif part == "stand":
            rows += _stand.rows()
        elif part == "cost":
            rows += _cost()
    return rows


def _layouts(part: str, count: int) -> Iterator[Row]:
    found = [one for _, judged in judged_screens(part, count, SEED) for one in judged]
    for one in found:
        if one.verdict == "wrong":
            print(f"  wrong, {one.layout}: {one.reading} taken as {one.seen}", flush=True)
    for verdict in ("right", "not sure", "missing", "wrong"):
        yield _row(f"layouts {part}, any conditions: {verdict}", found, verdict)
    for layout in dict.fromkeys(one.layout for one in found):
        yield _row(f"layouts {part}, {layout}: right", [one for one in found if one.layout == layout])
    yield from _misread(part, found)


def _conditions() -> Iterator[Row]:
    for name, how in ALONE.items():
        found = [one for _, judged in judged_screens("reported", EACH, SEED, how) for one in judged]
        yield _row(f"layouts reported, {name}: right", found)


def _row(what: str, found: Sequence[Judged], verdict: str = "right") -> Row:
    counts = Counter(one.verdict for one in found)
    rest = ", ".join(f"{n} {name}" for name, n in counts.items() if name != verdict)
    return Row("seeing", what, 100 * counts[verdict] / max(len(found), 1), "%", note=f"of {len(found)}; {rest}")


def _misread(part: str, found: Sequence[Judged]) -> Iterator[Row]:
    """How many numbers were read as another, and which figure was taken for which."""
    read = [(one.reading.written, one.seen) for one in found if one.reading is not None and one.seen is not None]
    for name, taken in (("taken", True), ("in doubt", False)):
        here = [(written, seen.written) for written, seen in read if seen.sure is taken]
        other = [(written, saw) for written, saw in here if written.replace("-", "−") != saw.replace("-", "−")]
        pairs = Counter(
            f"{a} as {b}"
            for written, saw in other
            if len(written) == len(saw)
            for a, b in zip(written, saw, strict=True) if a != b
        )  # fmt: skip
        lengths = sum(len(written) != len(saw) for written, saw in other)
        told = [f"{pair} {n}" for pair, n in pairs.most_common()] + (
            [f"more or fewer figures {lengths}"] if lengths else []
        )
        share = 100 * len(other) / max(len(here), 1)
        yield Row(
            "seeing", f"layouts {part}: misread of those {name}", share, "%", note=f"of {len(here)}; {', '.join(told)}"
        )


def _runs(part: str) -> Iterator[Row]:
    """Runs of which only the start is said: a photo for the baseline and one for each cut, under any conditions."""
    counts: Counter[str] = Counter()
    for number in range(int(os.environ.get("JOURNAL_BENCH_RUNS", RUNS))):
        with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
            found = list(_run(store, part, number))
        print(f"  {part}, {number + 1}: {', '.join(found)}", flush=True)
        counts.update(found)
    total, what, costs = sum(counts.values()), f"{part}, from photos only", settings()["costs"]
    cost = sum(counts[verdict] * sum(costs[name] for name in names) for verdict, names in COSTS.items())
    for verdict in COSTS:
        share = 100 * counts[verdict] / total
        yield Row("seeing", f"{what}: {verdict}", share, "%", note=f"{counts[verdict]} of {total}")
    yield Row("seeing", f"{what}: cost of a hundred photos", 100 * cost / total, "questions", note=f"of {total}")


def _run(store: Store, part: str, number: int) -> Iterator[str]:
    """What became of each photo of one run; the question which label is the fuel is answered as it is so."""
    job = open_job(store, JobOpened("Orchard pump", Engine(6, (1, 5, 3, 6, 2, 4))), "Wren")
    session = Session(store, job, "Wren")
    session.type("idle cut-out test")
    table, looks = RUNS_ON[part]
    layout, most = table[list(table)[number % len(table)]]
    chance = random.Random(f"{part} {SEED} {number}")
    others = [r for r in readings(chance, most + 1, ".") if r.quantity not in (Q.FUEL_PER_STROKE, Q.FUEL_RATE)]
    look = looks[number % len(looks)]
    for cylinder, value in FUEL.items():
        counted = part != "changed unit" or (cylinder or 0) > 2
        unit, shown_unit = ("mg", "mg/st") if part == "changed unit" and counted else ("mm3", "mm³/st")
        fuel = Reading("Fuel delivery", f"{value:.1f}", value, unit, shown_unit, Q.FUEL_PER_STROKE)
        photo = photographed(layout([fuel, *others[: most - 1]], look).image, by_chance(chance), chance)
        taken = take_in(store.folder, photo.jpeg, "screen.jpg")
        session.enter(Photo(taken.sha256, "screen.jpg", "scanner", cylinder))
        enter_shown(store, job, taken.sha256)
        waiting = session.job.waiting
        if waiting:
            options = [said(option) for option in waiting[-1].question.body.options]
            right = [
                i for i, option in enumerate(options)
                if isinstance(option, Baseline | Cut) and (option.value, option.unit or "mm3") == (value, unit)
            ]  # fmt: skip
            session.enter(Answer(waiting[-1].question.entry.id, right[0] if right else None))
            became = "asked with the right one" if right else "asked without"
        else:
            run = session.job.runs[0]
            read = [(r.value, r.unit) for r in (run.cuts if cylinder else run.baselines) if r.cylinder == cylinder]
            became = "nothing" if not read else "entered right" if read[-1] == (value, unit) else "wrong"
        if counted:
            yield became


def _cost() -> Iterator[Row]:
    """A 12-megapixel photo from its file to its numbers, beside the plain call of the same library on the same file."""
    from rapidocr import RapidOCR

    chance = random.Random(SEED)
    layout, most = REPORTED["bars"]
    screen = layout(readings(chance, most, "."), REPORTED_LOOKS[0])
    how = Conditions(tilt=15, roll=3, blur=1.5, grain=3)
    photo = photographed(screen.image, how, chance, (4000, 3000))
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "screen.jpg"
        file.write_bytes(photo.jpeg)
        plain = RapidOCR(params={"Global.log_level": "critical"})
        ours, theirs = _medians(lambda: shown(picture_of(file)), lambda: plain(str(file)))
        print(f"  of its {most} numbers {sum(n.sure for n in shown(picture_of(file)))} are taken")
        yield Row(
            "seeing", "12-megapixel photo to its numbers, median", ours, "s", theirs, "plain OCR call",
            f"{TIMES} of each in turn, the library's defaults",
        )  # fmt: skip
        smaller = Path(folder) / "frame.jpg"
        smaller.write_bytes(photographed(screen.image, how, chance, FRAME).jpeg)
        frame, whole = _medians(lambda: shown(picture_of(smaller)), lambda: shown(picture_of(file)))
        yield Row(
            "seeing", "frame of a camera on a stand to its numbers, median", frame, "s", whole,
            "the 12-megapixel photo", f"{TIMES} of each in turn, {FRAME[0]} by {FRAME[1]}",
        )  # fmt: skip
        peak, before = _memory(file)
        yield Row("seeing", "peak memory of reading it", peak, "MB", before, "before the first photo, all imported")


def _medians(ours: Callable[[], object], theirs: Callable[[], object]) -> tuple[float, float]:
    """Median seconds of each, taken in turn after one that does not count."""
    taken: tuple[list[float], list[float]] = ([], [])
    for turn in range(TIMES + 1):
        for call, into in zip((ours, theirs), taken, strict=True):
            began = time.perf_counter()
            call()
            if turn:
                into.append(time.perf_counter() - began)
    return statistics.median(taken[0]), statistics.median(taken[1])


def _memory(file: Path) -> tuple[float, float]:
    """Peak resident memory, MB, of a process that reads a photo, and of the same before it does.

    Linux' own high-water mark of the process; `ru_maxrss` begins with that of whoever started it (getrusage(2)).
    """
    code = """
import re, sys
from pathlib import Path
from journal.record.photos import picture_of
from journal.shown import shown
peak = lambda: int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) / 1024
before = peak()
shown(picture_of(Path(sys.argv[1])))
print(peak(), before)
"""
    said = subprocess.run([sys.executable, "-c", code, str(file)], capture_output=True, text=True, check=True)
    peak, before = map(float, said.stdout.split())
    return peak, before
