"""The demo jobs are what they say: consistent in themselves, free to pass on, plainly drawn."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from PIL import ExifTags, Image

from journal.cli.demo import engine_of
from journal.facts import JobOpened
from journal.facts.codec import body_to_json
from journal.record.store import Store
from journal.session import Session, open_job
from tests.ground.script import DEMO, JOBS, expected, fits, told

FREE_VOICES = {"rms", "slt"}
"""Voices whose licence allows passing on what they say; `demo/make_sound.py` names it."""


@pytest.mark.parametrize("name", JOBS)
def test_the_same_words_typed_become_the_same_entries(name: str, tmp_path: Path) -> None:
    about = told(name, "job.toml")
    with Store.open(tmp_path / "journal") as store:
        job = open_job(store, JobOpened(about["unit"], engine_of(about["engine"])), about["technician"])
        session = Session(store, job)
        for part in told(name, "script.toml")["part"]:
            for line in part["line"]:
                made = [body_to_json(o.entry.body) for o in session.type(line["say"]) if o.entry is not None]
                assert len(made) == len(line["entries"]), (line["say"], made)
                assert all(fits(*pair) for pair in zip(line["entries"], made, strict=True)), (line["say"], made)


@pytest.mark.parametrize("name", JOBS)
def test_the_scripts_readings_obey_the_physics_of_a_cut_out(name: str) -> None:
    """At a governed speed and steady load the live cylinders' shares, 1 - baseline / cut, add up to one.

    Torque in proportion to fuel is common practice, no source; the sum follows from it. Readings are rounded to the
    scanner's last digit, which moves a sum of six or eight shares by less than 0.015.
    """
    runs: list[tuple[float, dict[int, float]]] = []
    scratched: list[dict[str, Any]] = []
    for entry in expected(name):
        if entry["kind"] == "baseline":
            runs.append((entry["value"], {}))
        elif entry["kind"] == "cut":
            baseline, shares = runs[-1]
            shares[entry["cylinder"]] = 1 - baseline / entry.get("value", baseline)
        elif entry["kind"] == "withdrawal":
            scratched.append(entry)
    assert len(scratched) == (1 if name == "orchard" else 0)
    assert len(runs) == (4 if name == "orchard" else 2)
    for _, shares in runs:
        assert sum(shares.values()) == pytest.approx(1, abs=0.015)


def test_a_script_that_breaks_the_physics_would_be_noticed() -> None:
    baseline, cuts = 30.2, [37.9, 37.6, 30.3, 38.7, 37.6, 37.8]
    assert sum(1 - baseline / cut for cut in cuts) != pytest.approx(1, abs=0.015)


@pytest.mark.parametrize("name", JOBS)
def test_the_sound_is_sixteen_kilohertz_mono_and_small(name: str) -> None:
    soundfile = pytest.importorskip("soundfile", reason="the speech extra is not installed")
    files = [DEMO / name / part["file"] for part in told(name, "script.toml")["part"]]
    for file in files:
        info = soundfile.info(file)
        assert (info.samplerate, info.channels, info.format) == (16_000, 1, "FLAC")
    assert sum(file.stat().st_size for file in files) < 2_000_000
    assert [step["hear"] for step in told(name, "job.toml")["step"] if "hear" in step] == [file.name for file in files]


def test_every_voice_may_be_passed_on() -> None:
    voices = {
        line.get("voice", part["voice"])
        for job in JOBS
        for part in told(job, "script.toml")["part"]
        for line in part["line"]
    }
    assert voices <= FREE_VOICES
    assert len(voices) >= 2


@pytest.mark.parametrize("photo", sorted(DEMO.glob("*/*.jpg")), ids=lambda path: path.stem)
def test_every_photo_carries_its_time_and_belongs_to_its_job(photo: Path) -> None:
    with Image.open(photo) as image:
        detail = image.getexif().get_ifd(ExifTags.IFD.Exif)
    datetime.strptime(detail[ExifTags.Base.DateTimeOriginal], "%Y:%m:%d %H:%M:%S")
    assert detail[ExifTags.Base.OffsetTimeOriginal] == "+10:00"
    assert photo.name in [step.get("photo") for step in told(photo.parent.name, "job.toml")["step"]]
