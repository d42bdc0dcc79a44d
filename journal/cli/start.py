"""The one way in: the page in the browser, for whoever sits at a desktop; and an icon that starts it."""

from __future__ import annotations

import os
import sys
import threading
import webbrowser
from importlib import resources
from pathlib import Path

import click

from journal.cli.common import echo, replace_option
from journal.errors import BadInput
from journal.home import journal_folder

ENTRY = "cutout-journal.desktop"
"""The desktop entry's file."""


def on_desktop() -> bool:
    """Whether whoever started this program can see a browser that it opens."""
    if os.environ.get("SSH_CONNECTION"):
        return False
    if sys.platform in ("win32", "darwin"):
        return True
    return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))


def start(folder: Path, *, port: int | None = None, lan: bool = False) -> None:
    """Serve the page and open the browser on it; where it is served already, only open the browser.

    Args:
        folder: the journal's.
        port: TCP port; none for the usual one, or any where that is taken.
        lan: whether other devices of the shop's network may reach it.

    Raises:
        BadInput: when the address cannot be listened on.
        RecordError: when the journal cannot be opened.
    """
    from webui.running import address_of_running
    from webui.server import PORT, serve

    if running := address_of_running(folder):
        echo(f"The journal is served already: {running}")
        webbrowser.open(running)
        return
    try:
        serve(folder, port=PORT if port is None else port, lan=lan, ready=_show)
    except BadInput:
        if port is not None:
            raise
        serve(folder, port=0, lan=lan, ready=_show)


def _show(address: str) -> None:
    # A browser in a terminal would keep the page waiting until it is left.
    threading.Thread(target=webbrowser.open, args=(address,), name="browser", daemon=True).start()


@click.command("shortcut")
@click.option("--lan", is_flag=True, help="Let the shop's network see it; each device needs a code.")
@replace_option
@click.pass_context
def shortcut_command(ctx: click.Context, lan: bool, replace: bool) -> None:
    """Put an icon that opens the journal among the desktop's programs."""
    from journal.record.exports import export

    if sys.platform in ("win32", "darwin"):
        raise BadInput("an icon can be made on desktops that follow freedesktop.org only; start it with `journal`")
    folder = journal_folder(ctx.find_root().obj).resolve()
    home = Path(os.environ.get("XDG_DATA_HOME") or Path.home() / ".local" / "share")
    target = home / "applications" / ENTRY
    export(target, desktop_entry(folder, lan=lan).encode("utf-8"), replace=replace)
    echo(f"written to {target}: look for Cut-out journal among the programs")


def desktop_entry(folder: Path, *, lan: bool = False) -> str:
    """A desktop entry that opens the journal in a folder (freedesktop.org, Desktop Entry Specification 1.5)."""
    words = [sys.executable, "-m", "journal", "--journal", str(folder), "serve", "--open", *(["--lan"] if lan else [])]
    icon = resources.files("webui").joinpath("static", "bore.svg")
    lines = {
        "Type": "Application",
        "Name": "Cut-out journal",
        "Comment": "Journal of cylinder cut-out tests",
        "Exec": _text(" ".join(_argument(word) for word in words)),
        "Icon": _text(str(icon)),
        "Terminal": "false",
        "Categories": "Utility;",
    }
    return "\n".join(["[Desktop Entry]", *(f"{name}={value}" for name, value in lines.items())]) + "\n"


def _argument(word: str) -> str:
    """One argument of Exec: quoted, with what the quotes do not take away escaped, and no field code in it."""
    for sign in ("\\", '"', "`", "$"):
        word = word.replace(sign, f"\\{sign}")
    return f'"{word.replace("%", "%%")}"'


def _text(value: str) -> str:
    """A value as such a file holds it."""
    return value.replace("\\", "\\\\").replace("\n", "\\n")
