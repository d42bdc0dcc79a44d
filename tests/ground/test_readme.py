"""Every example in README.md and DEVELOPERS.md is run, and what is shown is what comes.

An example stands in a fenced block marked `console`; each line that begins with `$ journal` is run, all of a file in
one journal, in order, in a folder with the project's `demo` beside it. Lines after it are its output, `...` standing
for anything; a command without any need only succeed. `<!-- fails -->` on the line before the block says that its last
command fails with the line shown. Other commands (`$ python3 demo`) are left to the tests that make environments.
"""

from __future__ import annotations

import doctest
import os
import re
import shlex
import shutil
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

BLOCK = re.compile(r"(?P<fails><!-- fails -->\n)?^```console\n(?P<body>.*?)^```$", re.MULTILINE | re.DOTALL)
ROUGHLY = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


@dataclass(frozen=True)
class Example:
    """One command of a console block."""

    command: str
    """What is typed after `$ `."""
    output: str
    """What is shown of its output; empty for nothing shown."""
    fails: bool
    """Whether it is said to fail."""

    @property
    def runs(self) -> bool:
        """Whether it is a command of the journal's own."""
        return self.command.split()[0] == "journal"


def examples(text: str) -> list[Example]:
    """The console blocks' commands, in order."""
    found = []
    for block in BLOCK.finditer(text):
        # A backslash at the end of a line goes on with the command, as in a shell.
        pieces = re.split(r"^\$ ", re.sub(r"\\\n\s*", "", block["body"]), flags=re.MULTILINE)[1:]
        for index, piece in enumerate(pieces):
            command, _, output = piece.partition("\n")
            last = index == len(pieces) - 1
            found.append(Example(command, output.strip("\n"), fails=last and bool(block["fails"])))
    return found


def agrees(shown: str, came: str) -> bool:
    """Whether the output shown fits the output that came."""
    return not shown or doctest.OutputChecker().check_output(shown + "\n", came.rstrip() + "\n", ROUGHLY)


def try_out(example: Example, where: Path, folder: Path) -> str:
    """Run one example; why it disagrees with what is shown, or nothing."""
    environment = {**os.environ, "JOURNAL_FOLDER": str(folder), "COLUMNS": "100", "PYTHONIOENCODING": "utf-8"}
    command = [sys.executable, "-m", *shlex.split(example.command)]
    came = subprocess.run(
        command,
        cwd=where,
        env=environment,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        encoding="utf-8",
        timeout=180,
        check=False,
    )
    if (came.returncode != 0) != example.fails:
        return f"$ {example.command}\nexit code {came.returncode}\n{came.stdout}"
    if not agrees(example.output, came.stdout):
        return f"$ {example.command}\n--- shown\n{example.output}\n--- came\n{came.stdout}"
    return ""


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md"])
def test_every_example_does_what_is_shown(name: str, root: Path, tmp_path: Path) -> None:
    shutil.copytree(root / "demo", tmp_path / "demo", ignore=shutil.ignore_patterns("__pycache__"))
    found = examples((root / name).read_text(encoding="utf-8"))
    wrong = [said for e in found if e.runs and (said := try_out(e, tmp_path, tmp_path / "journal"))]
    assert not wrong, "\n\n".join(wrong)


def test_the_readme_has_examples(root: Path) -> None:
    found = examples((root / "README.md").read_text(encoding="utf-8"))
    assert any(example.runs and example.output for example in found)
    assert [e.command for e in found if not e.runs][:2] == ["python3 demo", "python3 tests"]


TEXT = """
Some words.

```console
$ journal --version
journal, version ...
$ journal show \\
    --job nothing
```

<!-- fails -->
```console
$ journal no-such-command
```

```python
$ journal not an example
```
"""


def test_examples_are_found_with_their_output() -> None:
    assert examples(TEXT) == [
        Example("journal --version", "journal, version ...", fails=False),
        Example("journal show --job nothing", "", fails=False),
        Example("journal no-such-command", "", fails=True),
    ]


def test_output_that_differs_is_noticed() -> None:
    assert agrees("cylinder 3 ... dead", "cylinder 3  0.00  dead\n")
    assert not agrees("cylinder 3 ... dead", "cylinder 3  0.00  weak\n")
    assert not agrees("one line", "one line\nand another\n")


def test_a_command_that_fails_without_being_said_to_is_noticed(tmp_path: Path) -> None:
    assert "exit code" in try_out(Example("journal no-such-command", "", fails=False), tmp_path, tmp_path / "journal")
    assert not try_out(Example("journal no-such-command", "", fails=True), tmp_path, tmp_path / "journal")
