"""The demo: a job of our own invention, from its recordings and photos to its findings and page."""

from __future__ import annotations

import tempfile
import tomllib
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

import journal as package
from journal.cli.common import echo, print_outcome
from journal.cli.photos import attach
from journal.errors import JournalError, NotFound
from journal.facts import Answer, Arrangement, Engine, Injection, JobClosed, JobOpened, Source
from journal.facts.codec import body_to_json
from journal.home import models_folder
from journal.record.store import Store
from journal.session import Session, open_job
from journal.wording import describe

FOLDER = Path(package.__file__).resolve().parent.parent / "demo"
"""The demo's folder, beside the package in a copy of the project."""


@click.command("demo")
@click.argument("name", default="orchard")
@click.option("--once", is_flag=True, help="End after printing instead of serving the page.")
@click.option(
    "--listener", "listeners", multiple=True, help="auto, ear, whisper, pocketsphinx or vosk; repeat for several."
)
@click.option("--port", type=click.IntRange(0, 65535), default=8470, show_default=True, help="Port of the page.")
@click.pass_context
def demo_command(ctx: click.Context, name: str, once: bool, listeners: tuple[str, ...], port: int) -> None:
    """Run the main job on the demo's recordings, in a journal of its own."""
    told = _job_file(name)
    asked = ctx.find_root().obj
    folder = asked or Path(tempfile.mkdtemp(prefix="journal-demo-"))
    with Store.open(folder) as store:
        job = run_demo(store, FOLDER / name, told, listeners)
        _print_findings(store, job)
    echo(f"\nThis job is in {folder}; look again with: journal --journal {folder} show")
    if not once:
        from webui.server import serve

        serve(folder, port=port, lan=False)


def _job_file(name: str) -> dict[str, Any]:
    file = FOLDER / name / "job.toml"
    if not file.is_file():
        known = sorted(p.parent.name for p in FOLDER.glob("*/job.toml"))
        raise NotFound(
            f"no demo called {name!r} in {FOLDER}; "
            + (f"there is {', '.join(known)}" if known else "run it from a copy of the project")
        )
    return tomllib.loads(file.read_text(encoding="utf-8"))


def run_demo(store: Store, folder: Path, told: dict[str, Any], listeners: tuple[str, ...] = ()) -> str:
    """Open the demo's job and take its steps in order: recordings heard, photos attached, the job closed.

    Args:
        store: a journal to put it in.
        folder: the demo job's folder.
        told: its `job.toml`.
        listeners: recognisers by name.

    Returns:
        The job's identifier.
    """
    from journal.listening import Ears, Listening, listen

    engine = engine_of(told["engine"])
    job = open_job(store, JobOpened(told["unit"], engine, told["complaint"]), told["technician"], at=datetime.now(UTC))
    echo(f"{told['title']}  (invented for this demo)")
    ears = Ears.open(listeners, None, models_folder(store.folder), engine.cylinders)
    for step in told["step"]:
        if "hear" in step:
            echo(f"\n== {step['hear']}")
            session = Session(store, job, told["technician"], Source.VOICE)
            for one in listen(session, ears, Listening(source=folder / step["hear"])):
                for index, outcome in enumerate(one.outcomes):
                    print_outcome(outcome, heard=one.text if index == 0 else "")
        elif "close" in step:
            session = Session(store, job, told["technician"])
            _answer(session, folder)
            closed = JobClosed(**step["close"])
            session.enter(closed)
            echo(f"  closed: {closed.text}")
        else:
            session = Session(store, job, told["technician"])
            came = attach(session, folder / step["photo"], step.get("subject", ""), step.get("cylinder"))
            if isinstance(came, JournalError):
                raise came
    return job


def _answer(session: Session, folder: Path) -> None:
    """What the technician taps before the job is closed: of each question that waits, what the script says was said."""
    script = tomllib.loads((folder / "script.toml").read_text(encoding="utf-8"))
    said = [entry for part in script["part"] for line in part["line"] for entry in line["entries"]]
    for asked in session.job.waiting:
        question = asked.question.body
        options = [body_to_json(option) for option in question.options]
        fits = [i for i, option in enumerate(options) if any(entry.items() <= option.items() for entry in said)]
        session.enter(Answer(asked.question.entry.id, fits[0] if fits else None))
        echo(f"  {question.prompt}")
        echo(f"  answered: {describe(question.options[fits[0]]) if fits else 'neither'}")


def engine_of(told: dict[str, Any]) -> Engine:
    """The engine that a demo's `job.toml` describes."""
    return Engine(
        cylinders=told["cylinders"],
        firing_order=tuple(told["firing_order"]),
        arrangement=Arrangement(told["arrangement"]),
        injection=Injection(told["injection"]),
        banks=tuple(tuple(group) for group in told.get("banks", ())),
        drivers=tuple(tuple(group) for group in told.get("drivers", ())),
        branches=tuple(tuple(group) for group in told.get("branches", ())),
    )


def _print_findings(store: Store, job_id: str) -> None:
    from journal.output.lines import findings_text, job_text
    from journal.study import study

    job, findings = study(store, job_id)
    echo("\n== The job")
    echo(job_text(job))
    echo("\n== Findings")
    echo(findings_text(findings))
