"""The audit of dependencies says what it found, and never calls clean what it could not ask about.

Its tools are stand-ins here: what data there is on vulnerabilities changes from day to day.
"""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.skipif(not shutil.which("bash"), reason="the audit is a script for bash")

PYTHON = """#!/bin/sh
if [ "$1" != -m ]; then exec "{real}" "$@"; fi
mkdir -p "$3/bin"
cp "{here}/pip" "{here}/pip-audit" "$3/bin"
"""
"""Makes "environments" that hold the stand-ins, and is itself otherwise."""


def audited(root: Path, here: Path, pip: str, auditor: str) -> subprocess.CompletedProcess[str]:
    """The audit with these shell lines in place of pip and pip-audit."""
    for name, text in (
        ("python3", PYTHON.format(real=sys.executable, here=here)),
        ("pip", f"#!/bin/sh\n{pip}\n"),
        ("pip-audit", f"#!/bin/sh\n{auditor}\n"),
    ):
        (here / name).write_text(text, encoding="utf-8")
        (here / name).chmod(0o755)
    environment = {**os.environ, "PATH": f"{here}{os.pathsep}{os.environ['PATH']}"}
    command = ["bash", str(root / ".ci" / "audit")]
    return subprocess.run(command, env=environment, capture_output=True, text=True, check=False)


NONE = "No known vulnerabilities found"
ONE = 'case "$*" in *one.txt) echo "No known vulnerabilities found";; *) {rest};; esac'


def test_without_the_tool_it_says_that_nothing_was_asked(root: Path, tmp_path: Path) -> None:
    done = audited(root, tmp_path, "exit 1", f"echo {NONE}")
    assert (done.returncode, done.stdout) == (0, "audit: not done, pip-audit cannot be installed here\n")


@pytest.mark.parametrize("auditor", ["echo not found on PyPI >&2; exit 1", "echo Traceback >&2; exit 1", "exit 0"])
def test_without_data_it_says_that_nothing_was_asked(root: Path, tmp_path: Path, auditor: str) -> None:
    done = audited(root, tmp_path, "exit 0", auditor)
    assert done.returncode == 0
    assert done.stdout == "audit: not done, data on known vulnerabilities cannot be had from here\n"


def test_a_known_vulnerability_is_shown_and_told_by_the_exit_code(root: Path, tmp_path: Path) -> None:
    found = "echo Found 1 known vulnerability in 1 package; echo pillow 12.3.0; exit 1"
    done = audited(root, tmp_path, "exit 0", ONE.format(rest=found))
    assert done.returncode == 1
    assert "pillow 12.3.0" in done.stdout


def test_it_asks_about_everything_an_installation_with_speech_brings(root: Path, tmp_path: Path) -> None:
    done = audited(root, tmp_path, "exit 0", ONE.format(rest='cat "$3"'))
    assert done.returncode == 0
    asked = done.stdout.splitlines()[1:]
    assert any(line.startswith("pillow>=") for line in asked)
    assert any(line.startswith("soundfile>=") for line in asked)
    assert not any(line.startswith("pytest>=") for line in asked)
