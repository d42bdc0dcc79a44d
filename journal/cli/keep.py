"""Commands that keep the journal: pack, unpack, back up, verify, erase."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import click

from journal.cli.common import echo, job_of, job_option, store_of
from journal.errors import BadInput, RecordError
from journal.record.backup import back_up
from journal.record.clips import let_go
from journal.record.pack import pack
from journal.record.unpack import unpack
from journal.record.verify import unclaimed_photos, verify
from journal.study import study


@click.command("pack")
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--without-originals", is_flag=True, help="Send photos as page copies, which hold no location.")
@job_option
@click.pass_context
def pack_command(ctx: click.Context, target: Path, without_originals: bool, reference: str | None) -> None:
    """Write one job with its photos, sound and write-up to a file to carry or send."""
    from journal.output.render import render

    store = store_of(ctx)
    job, findings = study(store, job_of(store, reference))
    page = render(job, findings, "html", store.folder)
    done = pack(store, job.id, target, {"write-up.html": page}, originals=not without_originals)
    echo(f"packed job {store.line(job.id).reference} into {target}")
    if done.missing:
        echo(f"  {len(done.missing)} photos or sounds are no longer in this journal and so not in the pack")


@click.command("unpack")
@click.argument("packed", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.pass_context
def unpack_command(ctx: click.Context, packed: tuple[Path, ...]) -> None:
    """Bring packed jobs into this journal; what is already here stays as it is."""
    store = store_of(ctx, create=True)
    for path in packed:
        done = unpack(store, path)
        for job in done.jobs:
            echo(f"job {store.line(job).reference}: {len(done.entries)} new entries")


@click.command("backup")
@click.argument("target", type=click.Path(path_type=Path))
@click.pass_context
def backup_command(ctx: click.Context, target: Path) -> None:
    """Copy the journal to a file while it is in use."""
    back_up(store_of(ctx), target)
    echo(f"backed up to {target}")


@click.command("verify")
@click.option("--mend", is_flag=True, help="Make the job list anew from the entries first.")
@click.pass_context
def verify_command(ctx: click.Context, mend: bool) -> None:
    """Check the database, every checksum and every reference."""
    store = store_of(ctx)
    if mend:
        store.redraw_lines()
    found = verify(store)
    for line in found:
        echo(f"  - {line}")
    if found:
        raise RecordError(f"{len(found)} things are wrong with the journal, listed above")
    for path in unclaimed_photos(store):
        echo(f'  . a photo of no job, as taking it in was broken off; to attach it: journal photo "{path}"')
    echo("the journal is sound")


@click.command("let-go")
@click.option("--older-than", "days", type=click.FloatRange(0), metavar="DAYS", help="Sound older than that goes.")
@click.option("--keep-mb", type=click.FloatRange(0), metavar="MB", help="Then the oldest goes until no more is left.")
@click.pass_context
def let_go_command(ctx: click.Context, days: float | None, keep_mb: float | None) -> None:
    """Remove the sound of old utterances; every entry stays as it is."""
    if days is None and keep_mb is None:
        raise BadInput("which sound? Give --older-than DAYS, --keep-mb MB or both")
    gone, size = let_go(
        store_of(ctx),
        older_than=None if days is None else timedelta(days=days),
        keep_bytes=None if keep_mb is None else int(keep_mb * 1e6),
        now=datetime.now(UTC),
    )
    echo(f"{gone} sounds removed, {size / 1e6:.1f} MB; all entries stay")


@click.command("erase")
@click.argument("reference")
@click.pass_context
def erase_command(ctx: click.Context, reference: str) -> None:
    """Remove a job for good, with its photos and sound; asks twice."""
    store = store_of(ctx)
    job = store.job(store.find(reference))
    line = store.line(job.id)
    clips = len({entry.clip for entry in job.entries if entry.clip})
    echo(f"job {line.reference}, {job.unit}: {len(job.entries)} entries, {len(job.pictures)} photos, {clips} clips")
    click.confirm("Remove all of it for good?", abort=True)
    if click.prompt("Type the job's reference to confirm").strip().lower() != line.reference.lower():
        raise BadInput("that is not its reference: nothing was removed")
    store.erase(job.id)
    echo("removed")
