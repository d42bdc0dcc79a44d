"""`python3 tests --bench [NAME …]`: runs every benchmark, or the ones named, and prints one table.

A benchmark is a module of this folder with a function `run()` that returns rows (`tests.bench.table.Row`); what it
prints while running goes before the table.
"""

from __future__ import annotations

import importlib
import sys
import traceback
from pathlib import Path

from tests.bench.table import Row, lines, machine


def names() -> list[str]:
    """Every benchmark's name: its file's, without the ending."""
    here = Path(__file__).parent
    return sorted(p.stem for p in here.glob("*.py") if not p.stem.startswith("_") and p.stem != "table")


def main(asked: list[str]) -> int:
    """Run these, or all; the exit code is 0 when none failed."""
    known = names()
    unknown = [name for name in asked if name not in known]
    if unknown:
        print(f"there is no benchmark {unknown[0]}: use {', '.join(known)}", file=sys.stderr)
        return 2
    rows: list[Row] = []
    failed = []
    for name in asked or known:
        print(f"== {name}", flush=True)
        try:
            rows += importlib.import_module(f"tests.bench.{name}").run()
        except Exception:
            traceback.print_exc()
            failed.append(name)
    print(f"\n{machine()}\n")
    print("\n".join(lines(rows)))
    for name in failed:
        print(f"failed: {name}")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
