"""`python3 tests`: makes the environment where it is missing, then checks style and types and runs every test.

Arguments go to pytest; `--bench` alone, or with names of benchmarks, prints the benchmarks' table instead, and
`--mutants`, with names of rooms, tells which one-line changes no test notices.
"""

import os
import subprocess
import sys
import tempfile
from contextlib import ExitStack
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
TURNS = (
    (("wording",), ("analysis", "causes", "ear", "facts", "outside", "output", "session")),
    (("webui", "hearing"), ("cli", "ground", "record", "seeing", "trust")),
)
"""Rooms whose tests run beside each other, two lists that take about as long, one turn after the other.

First those that need a processor and nothing else. The ear's are among them as JAX has threads, and the other rooms'
tests fork. Then those that wait for devices, with the page and the microphone in one list, which share these."""
sys.path.insert(0, str(ROOT / "demo"))

import bootstrap  # noqa: E402


def main(arguments):
    """Run what was asked for; the exit code is 0 only when all of it went well."""
    python = str(bootstrap.ensure(["speech", "photo", "test"]))
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
    return (run_tests(python, arguments) if arguments else run_all(python)) or len(failed)


def run_tests(python, arguments):
    """pytest with these arguments; its exit code."""
    return subprocess.call([python, "-m", "pytest", *arguments])


def run_all(python):
    """Every test, two lists of rooms at a time; what one list prints comes when it is through."""
    left = {each.name for each in (ROOT / "tests").iterdir() if any(each.glob("test_*.py"))}
    left -= {room for turn in TURNS for rooms in turn for room in rooms}
    if left:
        print(f"in no list of rooms: {', '.join(sorted(left))}")
        return 1
    codes = []
    for turn in TURNS:
        with ExitStack() as stack:
            beside = []
            for rooms in turn:
                told = stack.enter_context(tempfile.TemporaryFile("w+", encoding="utf-8"))
                command = [python, "-m", "pytest", *(f"tests/{room}" for room in rooms)]
                beside.append((subprocess.Popen(command, stdout=told, stderr=subprocess.STDOUT), told))
            for process, told in beside:
                codes.append(process.wait())
                told.seek(0)
                print(told.read(), flush=True)
    return max(codes, key=abs)


try:
    sys.exit(main(sys.argv[1:]))
except bootstrap.CannotStart as error:
    sys.exit(str(error))
except KeyboardInterrupt:
    sys.exit(130)
