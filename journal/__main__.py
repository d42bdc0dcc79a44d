"""`python -m journal` is the `journal` command."""

from journal.cli import main

main()
