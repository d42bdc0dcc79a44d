"""Commands that show: where you are, the job, its findings, the list of jobs, the write-up."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import click

from journal.analysis import findings_to_json
from journal.analysis.findings import Standing
from journal.cli.common import (
    echo,
    is_journal,
    job_of,
    job_option,
    json_option,
    print_json,
    replace_option,
    store_of,
    store_to_read,
)
from journal.errors import BadInput
from journal.facts.codec import entry_to_json, time_to_text
from journal.facts.one_line import one_line
from journal.home import journal_folder
from journal.record.brought import signers
from journal.record.exports import check_target, export
from journal.record.job import JobState
from journal.record.keys import name_of
from journal.record.store import Store
from journal.study import study


@click.command("show")
@job_option
@json_option
@click.pass_context
def show_command(ctx: click.Context, reference: str | None, as_json: bool) -> None:
    """Show the job: runs, readings, checks, photos."""
    from journal.output.lines import job_text

    store = store_to_read(ctx)
    job = store.job(job_of(store, reference))
    signed = store.signatures(job.id)
    if as_json:
        entries = [entry_to_json(e) for e in job.entries]
        by = {id_: name_of(signature.key) for id_, signature in signed.items()}
        print_json({"id": job.id, "state": job.state, "entries": entries, "signed_by": by})
    else:
        echo(job_text(job))
        echo("\nWritten by")
        for line in signers(job.entries, signed, store.public_key()):
            echo(f"  {line}")


@click.command("findings")
@job_option
@json_option
@click.pass_context
def findings_command(ctx: click.Context, reference: str | None, as_json: bool) -> None:
    """Show what the readings mean and what to check next."""
    from journal.output.lines import findings_text

    store = store_to_read(ctx)
    _, findings = study(store, job_of(store, reference))
    if as_json:
        print_json(findings_to_json(findings))
    else:
        echo(findings_text(findings))


@click.command("jobs")
@click.argument("text", nargs=-1)
@click.option("--state", type=click.Choice([state.value for state in JobState]), help="Only jobs in this state.")
@click.option("--technician", help="Only jobs this person made an entry in.")
@click.option("--standing", type=click.Choice([s.value for s in Standing]), help="Only jobs with such a cylinder.")
@click.option("--since", type=click.DateTime(["%Y-%m-%d"]), help="Only jobs worked on that day or later.")
@click.option("--until", type=click.DateTime(["%Y-%m-%d"]), help="Only jobs opened that day or earlier.")
@click.option("--limit", type=click.IntRange(1, 1000), default=20, show_default=True, help="How many at most.")
@json_option
@click.pass_context
def jobs_command(
    ctx: click.Context,
    text: tuple[str, ...],
    state: str | None,
    technician: str | None,
    standing: str | None,
    since: datetime | None,
    until: datetime | None,
    limit: int,
    as_json: bool,
) -> None:
    """List jobs, newest first; words narrow it to jobs that contain them."""
    folder = journal_folder(ctx.find_root().obj)
    asked = {
        "text": " ".join(text),
        "state": state,
        "technician": technician,
        "standing": standing,
        "since": since.astimezone() if since else None,
        "until": (until + timedelta(days=1)).astimezone() if until else None,
    }
    lines = store_to_read(ctx).jobs(**asked, limit=limit) if is_journal(folder) else []  # type: ignore[arg-type]
    if as_json:
        print_json(
            [
                {
                    "reference": line.reference,
                    "id": line.id,
                    "unit": line.unit,
                    "complaint": line.complaint,
                    "state": line.state,
                    "opened_at": time_to_text(line.opened_at),
                }
                for line in lines
            ]
        )
        return
    if not lines:
        echo("no jobs" + (" like that" if any(asked.values()) else " yet; start one with `journal open`"))
    for line in lines:
        when = line.opened_at.astimezone().strftime("%Y-%m-%d %H:%M")
        echo(f"{line.reference:<8} {when}  {line.state:<18} {line.unit}: {line.complaint or '(no complaint noted)'}")


@click.command("write-up")
@click.option("--to", "target", type=click.Path(path_type=Path), help="A .txt, .html, .pdf or .json file.")
@replace_option
@job_option
@click.pass_context
def write_up_command(ctx: click.Context, target: Path | None, replace: bool, reference: str | None) -> None:
    """Write complaint, cause and correction out, as text or to a file."""
    from journal.output.render import render
    from journal.record.vouched import vouched

    store = store_of(ctx)
    job_id = job_of(store, reference)
    form = "txt" if target is None else target.suffix.lower().lstrip(".")
    if form not in ("txt", "html", "pdf", "json"):
        raise BadInput(f"{target}: name a .txt, .html, .pdf or .json file")
    if target is not None:
        check_target(target, replace=replace)
    job, findings = study(store, job_id)
    written_by, name = vouched(store, job).lines, store.line(job_id).reference
    data = render(job, findings, form, store.folder, reference=name, written_by=written_by)
    if target is None:
        echo(data.decode("utf-8"))
        return
    export(target, data, replace=replace)
    echo(f"written to {target}")


def where_you_are(folder: Path | None) -> None:
    """Says which job is open and the next two things to do."""
    place = journal_folder(folder)
    if not is_journal(place):
        echo("No journal here yet.")
        echo("  next: journal open      start a job on an engine")
        echo("  or:   journal --help    see every command")
        return
    with Store.open(place) as store:
        job_id = store.latest_open()
        if job_id is None:
            echo("No job is open.")
            echo("  next: journal open    start a job on an engine")
            echo("  or:   journal jobs    look at earlier ones")
            return
        job, findings = study(store, job_id)
        echo(f"Job {store.line(job_id).reference}: {one_line(job.unit)}. {findings.headline}")
        if job.waiting:
            echo(f"  a question waits: {job.waiting[-1].question.body.prompt}")
        if not job.runs:
            echo("  next: journal listen           say: idle cut-out test, baseline …, cylinder one cut, …")
            echo("  or:   journal phrases          see what can be said")
        else:
            after = findings.next_check.name if findings.next_check else "see what it means"
            echo(f"  next: journal findings         {after}")
            echo("  or:   journal serve            look at it on a page")
