"""Commands on sound: listen into the open job, or transcribe recordings without saving."""

from __future__ import annotations

import sys
from pathlib import Path
from threading import Event, Thread
from typing import Any, TextIO

import click

from journal.cli.common import (
    echo,
    engine_options,
    job_of,
    job_option,
    json_option,
    print_json,
    print_outcome,
    store_of,
    technician_option,
)
from journal.cli.words import context_for, decision_line, decision_to_json
from journal.errors import BadInput, HearingError
from journal.facts import Source
from journal.facts.codec import time_from_text
from journal.hearing.types import Expect
from journal.home import journal_folder, models_folder
from journal.live import LivePage, check_alone
from journal.output.cautions import RUNNING
from journal.session import Session
from journal.wording import decide

PHONE = "phone"
"""What `--from` takes for the phones of the job; a recording that is called just so needs its whole path."""


def recogniser_options(command: Any) -> Any:
    """Adds `--listener` and `--model`."""
    kinds = "auto, ear, whisper, pocketsphinx or vosk; repeat for several."
    listener = click.option("--listener", "listeners", multiple=True, help=kinds)
    model = click.option("--model", type=click.Path(path_type=Path), help="Folder of a Vosk model.")
    return listener(model(command))


@click.command("listen")
@click.option(
    "--from",
    "source",
    type=click.Path(path_type=Path, allow_dash=True),
    help="A recording; - for raw sound; phone for what phones send.",
)
@click.option(
    "--rate", type=int, default=16000, show_default=True, help="Samples per second of raw sound, 16-bit mono."
)
@click.option("--recorded-at", help="When the recording began, like 2026-03-01T08:15:30Z.")
@click.option("--device", help="Part of the microphone's name.")
@click.option(
    "--voice",
    type=click.Choice(["spoken", "tones", "silent"]),
    default=None,
    help="How to answer; spoken for a microphone.",
)
@click.option("--lead", is_flag=True, help="Lead the test: ask for each reading, and take bare numbers.")
@click.option("--keep-all", is_flag=True, help="Keep the sound of what was let go too.")
@click.option("--attention", default="", help="Heed only what begins with this word, for a noisy shop.")
@click.option(
    "--learn/--no-learn", default=True, show_default=True, help="Go by how well this technician was understood before."
)
@click.option("--microphones", is_flag=True, help="List the microphones, by number, and end.")
@click.option("--watched", is_flag=True, help="For the page that starts it: it ends with its standard input.")
@recogniser_options
@job_option
@technician_option
@click.pass_context
def listen_command(
    ctx: click.Context,
    source: Path | None,
    rate: int,
    recorded_at: str | None,
    device: str | None,
    voice: str | None,
    lead: bool,
    keep_all: bool,
    attention: str,
    learn: bool,
    microphones: bool,
    watched: bool,
    listeners: tuple[str, ...],
    model: Path | None,
    reference: str | None,
    technician: str,
) -> None:
    """Listen to the microphone or a recording, into the open job."""
    if microphones:
        from journal.hearing.microphone import input_devices

        for number, name in input_devices().items():
            echo(f"{number} {name}")
        return
    from journal.hearing.choose import ASKS_A_LOT, LIGHT
    from journal.hearing.own import read_own
    from journal.listening import Ears, Listening, listen
    from journal.phone import Phone

    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician, Source.VOICE)
    if not learn:
        session.speaker = None
    began = time_from_text(recorded_at) if recorded_at else None
    by_phone = str(source) == PHONE
    if source is not None and str(source) not in ("-", PHONE) and not source.is_file():
        raise BadInput(f"{source}: no such file; check its name")
    if by_phone and voice not in (None, "silent"):
        raise BadInput(
            "a phone would hear answers given here as if they were said: leave --voice out, it answers itself"
        )
    if watched and str(source) == "-":
        raise BadInput("--watched needs standard input for itself: leave out --from -")
    echo(f"Careful: {RUNNING}")
    stop = Event()
    page = LivePage(store.folder, session.job_id)
    if watched:
        Thread(target=_end_with, args=(sys.stdin, stop), name="standard-input", daemon=True).start()

    def tell(line: str) -> None:
        page.trouble(line)
        echo(f"  ! {line}", err=True)

    models, cylinders = models_folder(store.folder), session.job.engine.cylinders
    setting = Listening(
        source=None if by_phone else source,
        phone=Phone(store.folder, session.job_id, tell, stop) if by_phone else None,
        rate=rate,
        device=device,
        began=began,
        voice=voice or ("silent" if source is not None else "spoken"),
        lead=lead,
        keep_all=keep_all,
        tell=tell,
        stop=stop,
    )
    if setting.live:
        check_alone(store.folder, session.job_id)
    heard = 0
    own = read_own(store.folder, session.technician, tell) if learn else None
    with page:
        ears = Ears.open(listeners, model, models, cylinders, attention.strip().lower(), led=lead, own=own)
        if {each.name for each in ears.listeners} == {LIGHT}:
            echo(f"  ! {ASKS_A_LOT}", err=True)
        if by_phone:
            echo("listening to this job's phones; Ctrl-C ends it.")
        elif source is None:
            echo("listening; say what you read. Ctrl-C ends it.")
        for heard_one in listen(session, ears, setting, page):
            heard += 1
            for index, outcome in enumerate(heard_one.outcomes):
                print_outcome(outcome, heard=heard_one.text if index == 0 else "")
    if not heard and source is not None and not by_phone:
        raise HearingError(f"{source}: no speech in it, so nothing was saved; check the recording or its level")


def _end_with(lines: TextIO, stop: Event) -> None:
    """Have listening end when whoever started it closes what it reads from, or is gone."""
    for _ in lines:
        pass
    stop.set()


@click.command("transcribe")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@engine_options
@recogniser_options
@job_option
@json_option
@click.option("--expect", type=click.Choice(["anything", "number"]), default="anything", help="What is waited for.")
@click.pass_context
def transcribe_command(
    ctx: click.Context,
    /,
    files: tuple[Path, ...],
    listeners: tuple[str, ...],
    model: Path | None,
    reference: str | None,
    as_json: bool,
    expect: str,
    **engine: Any,
) -> None:
    """Recognise recordings without saving anything."""
    from journal.listening import Ears, utterances_of

    missing = [file for file in files if not file.is_file()]
    if missing:
        raise BadInput(f"{missing[0]}: no such file; check its name")
    context = context_for(ctx, reference, engine, expect)
    cylinders = context.engine.cylinders if context.engine else None
    ears = Ears.open(listeners, model, models_folder(journal_folder(ctx.find_root().obj)), cylinders)
    told: list[dict[str, Any]] = []
    silent = []
    for file in files:
        found = False
        for utterance in utterances_of(file):
            found = True
            heard = ears.hear(utterance, Expect(expect))
            decisions = decide(heard.candidates, context, free_text=heard.free_text, seconds=heard.seconds)
            if not as_json:
                best = (heard.candidates[0].text if heard.candidates else "") or heard.free_text
                echo(f'{utterance.start:7.2f} s  "{best}"')
                for decision in decisions:
                    echo(f"           {decision_line(decision)}")
            told.append(
                {
                    "file": str(file),
                    "start": round(utterance.start, 3),
                    "end": round(utterance.end, 3),
                    "candidates": [
                        {"text": c.text, "score": round(c.score, 3), "listener": c.listener} for c in heard.candidates
                    ],
                    "entries": [decision_to_json(d, context) for d in decisions],
                }
            )
        if not found:
            silent.append(file)
    if as_json:
        print_json(told)
    if silent:
        raise HearingError(f"{silent[0]}: no speech in it; check the recording or its level")
