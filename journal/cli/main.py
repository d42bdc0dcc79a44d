"""The command group, and the one place where errors become a line and an exit code."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import click

from journal.errors import JournalError
from journal.home import journal_folder
from journal.output.plain import line

COMMANDS = {
    "open": "job",
    "close": "job",
    "reopen": "job",
    "listen": "voice",
    "transcribe": "voice",
    "enter": "words",
    "try": "words",
    "phrases": "words",
    "units": "units",
    "photo": "photos",
    "read": "photos",
    "clip": "photos",
    "show": "look",
    "findings": "look",
    "jobs": "look",
    "write-up": "look",
    "part": "desk",
    "order": "desk",
    "repaired": "desk",
    "serve": "desk",
    "shortcut": "start",
    "pack": "keep",
    "unpack": "keep",
    "backup": "keep",
    "verify": "keep",
    "let-go": "keep",
    "erase": "keep",
    "models": "machine",
    "doctor": "machine",
    "demo": "demo",
}
"""Each command and the module of `journal.cli` it stands in; imported only when it is asked for."""

HELP = {
    "open": "Start a job on an engine.",
    "close": "End the job with the cause that was found.",
    "reopen": "Go on with a closed job.",
    "listen": "Listen to the microphone or a recording, into the open job.",
    "transcribe": "Recognise recordings without saving anything.",
    "enter": "Enter typed words as if they were spoken.",
    "try": "Show what words would be understood as, without saving.",
    "phrases": "Print what can be said, on one page.",
    "units": "Show or choose what a number without a unit means in this shop.",
    "photo": "Attach photos to the open job.",
    "read": "Read the numbers on photos of a screen, without saving anything.",
    "clip": "Play or copy the sound an entry was made from.",
    "show": "Show the job: runs, readings, checks, photos.",
    "findings": "Show what the readings mean and what to check next.",
    "jobs": "List jobs, newest first.",
    "write-up": "Write complaint, cause and correction out.",
    "part": "Want a part, or say how far one has come.",
    "order": "Order a part although checks are missing, with the reason.",
    "repaired": "Say what was repaired.",
    "serve": "Serve the page.",
    "shortcut": "Put an icon that opens the journal among the desktop's programs.",
    "pack": "Write one job to a file to carry or send.",
    "unpack": "Bring packed jobs into this journal.",
    "backup": "Copy the journal to a file while it is in use.",
    "verify": "Check the journal on disk.",
    "let-go": "Remove the sound of old utterances; entries stay.",
    "erase": "Remove a job for good.",
    "models": "List speech models, or fetch one.",
    "doctor": "Check microphone, recognisers, disk and journal.",
    "demo": "Run the main job on the demo's recordings.",
}
"""One line for each command, so that `journal --help` need not import them."""


class _Lazy(click.Group):
    """A group whose commands are imported when they are run, so that help is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, name: str) -> click.Command | None:
        if name not in COMMANDS:
            return None
        module = importlib.import_module(f"journal.cli.{COMMANDS[name]}")
        command = getattr(module, name.replace("-", "_") + "_command")
        assert isinstance(command, click.Command)
        return command

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            raise click.UsageError(f"there is no command {args[0]!r}{_nearest(args[0])}; journal --help lists them")
        return super().resolve_command(ctx, args)

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl([(name, HELP[name]) for name in COMMANDS])


def _nearest(name: str) -> str:
    from rapidfuzz import fuzz, process

    found = process.extractOne(name, list(COMMANDS), scorer=fuzz.ratio, score_cutoff=55)
    return f", did you mean {found[0]!r}?" if found else ""


@click.group(cls=_Lazy, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.option("--journal", "folder", type=click.Path(path_type=Path), help="The journal's folder.")
@click.version_option(package_name="cutout-journal")
@click.pass_context
def group(ctx: click.Context, folder: Path | None) -> None:
    """A voice- and photo-assisted job journal for cylinder cut-out tests.

    It records and compares what you measured. It does not replace the maker's service manual, local codes or a
    licensed person's judgement.

    Without a command it opens the page in the browser; where there is no desktop, it says what to do next.
    """
    ctx.obj = folder
    if ctx.invoked_subcommand is None:
        from journal.cli.start import on_desktop, start

        if on_desktop():
            start(journal_folder(folder))
            return
        from journal.cli.look import where_you_are

        where_you_are(folder)


def main(arguments: list[str] | None = None) -> None:
    """Run the command; a user's mistake is one line on standard error and exit code 1 (2 for wrong usage)."""
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")
    try:
        code = group.main(arguments, prog_name="journal", standalone_mode=False)
    except JournalError as error:
        _fail(str(error), 1)
    except click.UsageError as error:
        _fail(error.format_message(), 2)
    except click.Abort:
        _fail("stopped", 130)
    except click.ClickException as error:
        _fail(error.format_message(), error.exit_code)
    except KeyboardInterrupt:
        _fail("stopped", 130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except OSError as error:
        if error.filename is None:
            raise
        why = (error.strerror or str(error)).lower()
        _fail(f"{str(error.filename)[:200]}: {why}; check the name, and that you may read and write there", 1)
    sys.exit(code if isinstance(code, int) else 0)


def _fail(message: str, code: int) -> None:
    click.echo("journal: " + line(" ".join(message.split())), err=True)
    sys.exit(code)
