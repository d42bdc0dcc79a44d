"""Commands that keep the journal: pack, unpack, back up, verify, erase."""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import click

from journal.cli.common import echo, job_of, job_option, replace_option, store_of, store_to_read, things_are
from journal.errors import BadInput, RecordError
from journal.facts.one_line import one_line
from journal.record.backup import back_up
from journal.record.brought import Brought
from journal.record.clips import let_go
from journal.record.exports import check_target
from journal.record.job import JobState
from journal.record.pack import pack
from journal.record.store import Store
from journal.record.unpack import unpack
from journal.record.verify import drop_begun, drop_copies, lost, remarks, verify
from journal.record.vouched import vouched
from journal.study import study


@click.command("pack")
@click.argument("target", type=click.Path(path_type=Path))
@click.option("--without-originals", is_flag=True, help="Send photos as page copies, which hold no location.")
@replace_option
@job_option
@click.pass_context
def pack_command(
    ctx: click.Context, target: Path, without_originals: bool, replace: bool, reference: str | None
) -> None:
    """Write one job with its photos, sound and write-up to a file to carry or send."""
    from journal.output.render import render

    store = store_of(ctx)
    job_id = job_of(store, reference)
    check_target(target, replace=replace)
    job, findings = study(store, job_id)
    written_by, name = vouched(store, job).lines, store.line(job_id).reference
    page = render(job, findings, "html", store.folder, reference=name, written_by=written_by)
    done = pack(store, job.id, target, {"write-up.html": page}, originals=not without_originals, replace=replace)
    echo(f"packed job {store.line(job.id).reference} into {target}")
    if done.missing:
        echo(f"  {len(done.missing)} photos or sounds are no longer in this journal and so not in the pack")


@click.command("unpack")
@click.argument("packed", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--yes", is_flag=True, help="Take in what changes a job that is here without asking.")
@click.option("--teach", is_flag=True, help="Let the closed jobs among them teach: move the base rates of causes.")
@click.pass_context
def unpack_command(ctx: click.Context, packed: tuple[Path, ...], yes: bool, teach: bool) -> None:
    """Bring packed jobs into this journal; what is already here stays as it is."""
    store = store_of(ctx, create=True)
    closed: dict[str, None] = {}
    try:
        for path in packed:
            done = unpack(store, path, lambda brought: _agree(store, brought, yes))
            for job in done.jobs:
                echo(f"job {store.line(job).reference}: {len(done.entries)} new entries")
                closed |= dict.fromkeys([job] if store.line(job).state is JobState.CLOSED else [])
            for line in (*done.brought.signers, *done.brought.set_aside, *done.brought.otherwise):
                echo(f"  {line}")
    finally:
        _teach(store, [job for job in closed if not store.teaches(job)], teach)


def _agree(store: Store, brought: Brought, yes: bool) -> None:
    """Show what a pack changes of what is here, and ask for leave."""
    if not brought.changes and not brought.pictures:
        return
    unit = one_line(brought.unit)
    if brought.changes:
        echo(f"job {store.line(brought.job).reference}, {unit}, is here already. The pack changes it:")
    else:
        echo(f"Of {unit} the pack changes what is shown here; only the originals would tell what is right:")
    for line in (*brought.changes, *brought.pictures, *brought.signers, *brought.set_aside, *brought.otherwise):
        echo(f"  {line}")
    if not yes:
        click.confirm("Take it in?", abort=True)


def _teach(store: Store, closed: list[str], teach: bool) -> None:
    """Ask whether closed jobs that came by packs may teach; until then they do not."""
    if not closed:
        return
    jobs = f"{len(closed)} closed {'job' if len(closed) == 1 else 'jobs'}"
    asked = f"{jobs}: let them teach, that is move the base rates of causes?"
    if teach or (sys.stdin.isatty() and click.confirm(asked)):
        store.let_teach(closed)
        echo(f"{jobs} may teach from now on")
    else:
        echo(f"{jobs} {'does' if len(closed) == 1 else 'do'} not teach here; to let them, unpack again with --teach")


@click.command("backup")
@click.argument("target", type=click.Path(path_type=Path))
@replace_option
@click.pass_context
def backup_command(ctx: click.Context, target: Path, replace: bool) -> None:
    """Copy the journal to a file while it is in use; keep it as you keep the journal, for it holds its key.

    In it: the database, its key, photos, clips. Not in it, as they are made or fetched again: page copies, speech
    models, and the page's links and devices. To restore, unpack the file into an empty folder and name that folder
    with --journal; `journal verify` then says whether all is there.
    """
    store = store_of(ctx)
    done = back_up(store, target, replace=replace)
    echo(f"backed up to {target}: {done.files} files")
    found = [*done.troubles, *lost(store)]
    for line in found:
        echo(f"  - {line}")
    if found:
        raise RecordError(f"{things_are(len(found))} wrong with the journal, and so with the backup, listed above")


@click.command("verify")
@click.option(
    "--mend", is_flag=True, help="First make the job list and copies of photos anew, and remove what was only begun."
)
@click.pass_context
def verify_command(ctx: click.Context, mend: bool) -> None:
    """Check the database, every entry, every checksum and every reference."""
    store = store_to_read(ctx)
    if mend:
        store.redraw_lines()
        drop_copies(store)
        drop_begun(store)
    found = verify(store)
    for line in found:
        echo(f"  - {line}")
    if found:
        raise RecordError(f"{things_are(len(found))} wrong with the journal, listed above")
    for line in remarks(store):
        echo(f"  . {line}")
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
    held = f"{len(job.entries)} entries, {len(job.pictures)} photos, {clips} clips"
    echo(f"job {line.reference}, {one_line(job.unit)}: {held}")
    click.confirm("Remove all of it for good?", abort=True)
    if click.prompt("Type the job's reference to confirm").strip().lower() != line.reference.lower():
        raise BadInput("that is not its reference: nothing was removed")
    store.erase(job.id)
    echo("removed")
