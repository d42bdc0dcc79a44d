"""The `journal` command: thin commands over the library, one line for every error."""

from journal.cli.main import main

__all__ = ["main"]
