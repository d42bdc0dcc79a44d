"""Commands on what lies beside the entries: photos in and read, clips out."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from journal.cli.common import (
    echo,
    job_of,
    job_option,
    json_option,
    print_json,
    replace_option,
    store_of,
    technician_option,
)
from journal.errors import BadInput, JournalError, NotFound
from journal.facts import Photo
from journal.facts.quantities import PRINTED_UNITS
from journal.record.clips import copy_clip, play_clip
from journal.record.photos import picture_of, take_in
from journal.record.watched import watch
from journal.seeing import NOT_READ, Labelled, can_see
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
    """Attach photos to the open job; a scanner's screen that is taken while a run is open is read into it."""
    if not files and watched is None:
        raise BadInput("which photos? Name files, or a folder with --watch")
    store = store_of(ctx)
    session = Session(store, job_of(store, reference), technician)
    if cylinder is not None:
        session.job.engine.require(cylinder)
    refused: list[JournalError] = []
    taken: list[tuple[str, Path]] = []
    for file in files:
        came = attach(session, file, subject, cylinder)
        if isinstance(came, JournalError):
            refused.append(came)
        else:
            taken.append((came, file))
    # All photos are safe before the first is read.
    show(session, taken)
    if watched is not None:
        echo(f"watching {watched}; Ctrl-C ends it")
        for file in watch(watched):
            came = attach(session, file, subject, cylinder)
            if isinstance(came, JournalError):
                echo(f"  - {came}", err=True)
            else:
                show(session, [(came, file)])
    if refused:
        for error in refused[1:]:
            echo(f"journal: {error}", err=True)
        raise refused[0]


def attach(session: Session, file: Path, subject: str, cylinder: int | None) -> str | JournalError:
    """Attach one photo; its SHA-256, or what is wrong with it where it is refused, so that the others still go in."""
    try:
        taken = take_in(session.store.folder, file, file.name)
    except JournalError as error:
        return error
    before = {picture.photo.body.sha256 for picture in session.job.pictures}
    if taken.sha256 in before:
        echo(f"  = {file.name}: already in this job")
        return taken.sha256
    session.enter(Photo(taken.sha256, file.name, subject, cylinder, taken.taken_at, taken.warning))
    placed = next(p.photo.body for p in session.job.pictures if p.photo.body.sha256 == taken.sha256)
    where = " ".join(
        [placed.subject or "not placed yet", *([f"cylinder {placed.cylinder}"] if placed.cylinder else [])]
    )
    echo(f"  + {file.name}: {where}" + (f"; {taken.warning}" if taken.warning else ""))
    return taken.sha256


def show(session: Session, taken: Sequence[tuple[str, Path]]) -> None:
    """Read the screens on photos that were attached, where they may show one, and tell what came of each.

    Args:
        session: whose job has them.
        taken: the photos' SHA-256, each with its file.
    """
    from journal.photographed import enter_shown
    from journal.screen_place import Place, place_of

    if not can_see():
        job, shas = session.job, {sha256 for sha256, _ in taken}
        here = [picture for picture in job.pictures if picture.photo.body.sha256 in shas]
        if any(isinstance(place_of(job, picture), Place) for picture in here):
            echo(f"    {NOT_READ}")
        return
    for sha256, file in taken:
        try:
            line = enter_shown(session.store, session.job_id, sha256)
        except JournalError as error:
            line = f"not read: {error}"
        if line:
            echo(f"    {file.name}: {line}" if len(taken) > 1 else f"    {line}")


@click.command("read")
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@json_option
def read_command(files: tuple[Path, ...], as_json: bool) -> None:
    """Read the numbers on photos of a scanner's screen: label, number, unit, what it measures, how sure it is.

    Nothing is saved. "?" stands before what is not sure, with the reason after it.
    """
    from journal.shown import shown

    if not can_see():
        raise BadInput(NOT_READ)
    told, refused = [], []
    for file in files:
        try:
            numbers = shown(picture_of(file))
        except JournalError as wrong:
            refused.append(wrong)
            continue
        told.append({"photo": str(file), "numbers": [_number_to_json(number) for number in numbers]})
        if not as_json:
            echo(f"{file.name}: {_counted(numbers)}")
            for row in _rows(numbers):
                echo(row)
    if as_json:
        print_json(told)
    if refused:
        for error in refused[1:]:
            echo(f"journal: {error}", err=True)
        raise refused[0]


def _counted(numbers: Sequence[Labelled]) -> str:
    if not numbers:
        return "no number is to be seen on it"
    unsure = sum(not number.sure for number in numbers)
    return f"{len(numbers)} number{'s' * (len(numbers) > 1)}" + (f", {unsure} not sure" if unsure else "")


def _rows(numbers: Sequence[Labelled]) -> list[str]:
    """A line for each number, in columns."""
    cells = [
        (
            " " if number.sure else "?",
            number.label or "(no label)",
            number.written,
            PRINTED_UNITS.get(number.unit, number.unit),
            number.quantity or "",
            f"{min(int(100 * number.certainty), 99)} %",
            number.doubts,
        )
        for number in numbers
    ]
    widths = [max(len(row[column]) for row in cells) for column in range(7)] if cells else []
    return ["  ".join(text.ljust(width) for text, width in zip(row, widths, strict=True)).rstrip() for row in cells]


def _number_to_json(number: Labelled) -> dict[str, Any]:
    return {
        "label": number.label,
        "written": number.written,
        "value": number.value,
        "unit": number.unit,
        "quantity": number.quantity,
        "certainty": round(number.certainty, 4),
        "sure": number.sure,
        "doubt": number.doubts,
        "corners": [[round(x), round(y)] for x, y in number.corners],
    }


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
