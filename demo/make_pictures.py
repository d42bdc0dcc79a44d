"""Makes the README's charts from the demo jobs' scripts, typed instead of heard: `python demo/make_pictures.py`.

`demo/pictures/page.png` is the orchard job's page in Chromium at 1,280 pixels, scaled down; it is made by hand.
"""

from __future__ import annotations

import sys
import tempfile
import tomllib
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

from journal.analysis import diagnose
from journal.cli.demo import engine_of
from journal.facts import JobOpened
from journal.output.charts import charts_of
from journal.record.store import Store
from journal.session import Session, open_job

HERE = Path(__file__).resolve().parent
CHOSEN = {"orchard-idle.svg": ("orchard", 0), "forestry-repair.svg": ("forestry", -1)}
"""For each picture, the demo job and which of its charts."""
BEGUN, BETWEEN = datetime(2026, 3, 2, 8, tzinfo=UTC), timedelta(seconds=8)
"""When the job began, and the time from one thing said to the next."""


def pictures() -> Mapping[str, str]:
    """Every picture's SVG text by its file's name, on a light ground as a README may be shown on a dark one."""
    return {
        name: _chart(*which).replace("<svg ", '<svg style="background:#fffefa" ', 1) for name, which in CHOSEN.items()
    }


def _chart(name: str, which: int) -> str:
    about, script = (tomllib.loads((HERE / name / f"{f}.toml").read_text("utf-8")) for f in ("job", "script"))
    with tempfile.TemporaryDirectory() as folder, Store.open(Path(folder)) as store:
        opened = JobOpened(about["unit"], engine_of(about["engine"]), about["complaint"])
        session = Session(store, open_job(store, opened, about["technician"], at=BEGUN))
        # Seconds tell of an engine's drift: they must not depend on how busy the machine is that draws.
        ticks = count(1)
        session.clock = lambda: BEGUN + next(ticks) * BETWEEN
        for part in script["part"]:
            for line in part["line"]:
                session.type(line["say"])
        job = session.job
    return charts_of(job, diagnose(job))[which]


if __name__ == "__main__":
    for name, svg in pictures().items():
        (HERE / "pictures" / name).write_text(svg + "\n", encoding="utf-8")
        sys.stdout.write(f"{name}\n")
