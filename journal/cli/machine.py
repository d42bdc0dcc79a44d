"""Commands on this machine: speech models, and a check of everything the journal needs."""

from __future__ import annotations

import click

from journal.cli.common import echo, is_journal, store_of, things_are
from journal.errors import BadInput, HearingError
from journal.home import journal_folder, models_folder


@click.command("models")
@click.argument("action", type=click.Choice(["list", "fetch", "train-voice"]), default="list")
@click.argument("name", required=False)
@click.option("--forget", is_flag=True, help="Throw away what train-voice has kept of this technician.")
@click.pass_context
def models_command(ctx: click.Context, action: str, name: str | None, forget: bool) -> None:
    """List speech models, fetch one, or fit the ear to a technician: journal models train-voice NAME"""
    from journal.hearing.models import fetch, known_models

    if forget and action != "train-voice":
        raise BadInput("--forget goes with train-voice and a technician's name")
    if action == "train-voice":
        _train_voice(ctx, (name or "").strip(), forget=forget)
        return
    home = models_folder(journal_folder(ctx.find_root().obj))
    if action == "list":
        for model in known_models(home):
            echo(
                f"{'+' if model.installed else '-'} {model.name:<28} {model.size:>8}  {model.licence:<12} {model.what}"
            )
        echo("+ is here; - can be fetched with: journal models fetch NAME")
        return
    if name is None:
        raise BadInput("fetch which model? `journal models` lists them")
    with click.progressbar(length=1000, label=name) as bar:
        done = 0

        def progress(fraction: float) -> None:
            nonlocal done
            bar.update(int(fraction * 1000) - done)
            done = int(fraction * 1000)

        place = fetch(name, home, progress)
    echo(f"{name} is in {place}")


def _train_voice(ctx: click.Context, technician: str, *, forget: bool) -> None:
    from journal.hearing.own import forget_own
    from journal.own_voice import train_voice

    if not technician:
        raise BadInput("whose voice? give the technician's name as it stands in the jobs")
    store = store_of(ctx)
    if forget:
        forget_own(store.folder, technician)
        echo(f"the voice of {technician} is thrown away")
    elif (kept := train_voice(store, technician, echo)) is None:
        echo(f"the voice of {technician} would not ask less and enter nothing more wrongly: nothing is changed")
    else:
        echo(f"the voice of {technician} is in {kept}; `journal listen` goes by it")


@click.command("doctor")
@click.option("--device", help="Part of the microphone's name.")
@click.pass_context
def doctor_command(ctx: click.Context, device: str | None) -> None:
    """Check microphone, recognisers, disk and journal; each line says what to do."""
    from journal.hearing.doctor import examine
    from journal.wording import speakable

    folder = journal_folder(ctx.find_root().obj)
    bad = 0
    for line in examine(folder, models_folder(folder), device, speakable(6)):
        bad += not line.good
        echo(f"{'+' if line.good else '!'} {line.text}")
    if is_journal(folder):
        from journal.record.store import Store
        from journal.record.verify import verify

        with Store.open(folder, create=False) as store:
            wrong = verify(store)
        bad += bool(wrong)
        echo(f"! journal: {things_are(len(wrong))} wrong; run `journal verify`" if wrong else "+ journal: sound")
    if bad:
        raise HearingError(f"{bad} of these need a hand, marked ! above")
