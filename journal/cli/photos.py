"""Commands on what lies beside the entries: photos in, clips out."""

from __future__ import annotations

from pathlib import Path

import click

from journal.cli.common import echo, job_of, job_option, replace_option, store_of, technician_option
from journal.errors import BadInput, JournalError, NotFound
from journal.facts import Photo
from journal.record.clips import copy_clip, play_clip
from journal.record.photos import take_in
from journal.record.watched import watch
from journal.session import Session


@click.command("photo")
@click.argument("files", nargs=-1, type=click.Path(path_type=Path))
@click.option("--subject", default="", help="What they show, e.g. blow-by or overhead; default: the last photo cue's.")
@click.option("--cylinder", type=int, help="The cylinder they show.")
@click.option("--watch", "watched", type=click.Path(path_type=Path), help="Take in what arrives in a folder.")
@job_option
@technician_option
@click.pass_context
def photo_command(
    ctx: click.Context,
    files: tuple[Path, ...],
    subject: str,
    cylinder: int | None,
    watched: Path | None,
    reference: str | None,
    technician: str,
) -> None:
    """Attach photos to the open job."""
    if not files and watched is None:
        raise BadInput("which photos? Name files, or a folder with --watch")
    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    if cylinder is not None:
        session.job.engine.require(cylinder)
    refused = [error for file in files if (error := attach(session, file, subject, cylinder)) is not None]
    if watched is not None:
        echo(f"watching {watched}; Ctrl-C ends it")
        for file in watch(watched):
            error = attach(session, file, subject, cylinder)
            if error is not None:
                echo(f"  - {error}", err=True)
    if refused:
        for error in refused[1:]:
            echo(f"journal: {error}", err=True)
        raise refused[0]


def attach(session: Session, file: Path, subject: str, cylinder: int | None) -> JournalError | None:
    """Attach one photo; what is wrong with it where it is refused, so that the others still go in."""
    try:
        taken = take_in(session.store.folder, file, file.name)
    except JournalError as error:
        return error
    before = {picture.photo.body.sha256 for picture in session.job.pictures}
    if taken.sha256 in before:
        echo(f"  = {file.name}: already in this job")
        return None
    session.enter(Photo(taken.sha256, file.name, subject, cylinder, taken.taken_at, taken.warning))
    placed = next(p.photo.body for p in session.job.pictures if p.photo.body.sha256 == taken.sha256)
    where = " ".join(
        [placed.subject or "not placed yet", *([f"cylinder {placed.cylinder}"] if placed.cylinder else [])]
    )
    echo(f"  + {file.name}: {where}" + (f"; {taken.warning}" if taken.warning else ""))
    return None


@click.command("clip")
@click.argument("entry")
@click.option("--to", "target", type=click.Path(path_type=Path), help="Copy it there (FLAC) instead of playing it.")
@replace_option
@click.pass_context
def clip_command(ctx: click.Context, entry: str, target: Path | None, replace: bool) -> None:
    """Play or copy the sound an entry was made from."""
    store = store_of(ctx)
    found = store.entry(entry)
    if not found.clip:
        raise NotFound(f"entry {entry} was not spoken: there is no sound of it")
    if target is None:
        play_clip(store.folder, found.clip)
    else:
        copy_clip(store.folder, found.clip, target, replace=replace)
        echo(f"copied to {target}")
