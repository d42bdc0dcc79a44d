"""`python3 tests`: makes the environment where it is missing, then checks style and types and runs every test.

Arguments go to pytest; `--bench` alone, or with names of benchmarks, prints the benchmarks' table instead, and
`--mutants`, with names of rooms, tells which one-line changes no test notices.
"""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT / "demo"))

import bootstrap  # noqa: E402


def main(arguments):
    """Run what was asked for; the exit code is 0 only when all of it went well."""
    python = str(bootstrap.ensure(["speech", "test"]))
    os.chdir(ROOT)
    for option, module in (("--bench", "tests.bench"), ("--mutants", "tests.mutants")):
        if option in arguments:
            rest = [argument for argument in arguments if argument != option]
            return bootstrap.run(Path(python), ["-m", module, *rest])
    failed = []
    for title, command in (
        ("ruff check", ["-m", "ruff", "check", "."]),
        ("ruff format", ["-m", "ruff", "format", "--check", "."]),
        ("mypy", ["-m", "mypy"]),
    ):
        print(f"== {title}", flush=True)
        if subprocess.call([python, *command]) != 0:
            failed.append(title)
    print("== pytest", flush=True)
    if failed:
        print(f"failed before the tests: {', '.join(failed)}", flush=True)
    return subprocess.call([python, "-m", "pytest", *arguments]) or len(failed)


try:
    sys.exit(main(sys.argv[1:]))
except bootstrap.CannotStart as error:
    sys.exit(str(error))
except KeyboardInterrupt:
    sys.exit(130)
