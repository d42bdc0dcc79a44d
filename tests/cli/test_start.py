"""The one way in: `journal` opens the page in the browser on a desktop, and says what to do where there is none."""

from __future__ import annotations

import configparser
import os
import re
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from journal.cli.main import main
from journal.cli.start import desktop_entry, on_desktop
from webui.running import ADDRESS_FILE, address_of_running

BROWSER = """#!{python}
import pathlib, sys
pathlib.Path({opened!r}).open("a").write(sys.argv[1] + chr(10))
"""


def desktop(where: Path) -> dict[str, str]:
    """The environment of a desktop whose browser writes down what it is opened on."""
    browser = where / "browser"
    browser.write_text(BROWSER.format(python=sys.executable, opened=str(where / "opened")))
    browser.chmod(0o755)
    environment = {name: value for name, value in os.environ.items() if name != "SSH_CONNECTION"}
    return {
        **environment, "DISPLAY": ":99", "JOURNAL_FOLDER": str(where / "journal"),
        "BROWSER": str(browser),
    }  # fmt: skip


def opened(where: Path, times: int) -> list[str]:
    """What the browser was opened on, once it was so many times."""
    end = time.monotonic() + 60
    path = where / "opened"
    while time.monotonic() < end:
        lines = path.read_text().splitlines() if path.exists() else []
        if len(lines) >= times:
            return lines
        time.sleep(0.05)
    raise AssertionError(f"the browser was not opened: {sorted(p.name for p in where.rglob('*'))}")


@pytest.mark.skipif(sys.platform in ("win32", "darwin"), reason="there is always a desktop here")
def test_without_a_command_the_page_is_served_and_the_browser_opened_on_it(tmp_path: Path) -> None:
    environment, command = desktop(tmp_path), [sys.executable, "-m", "journal"]
    page = subprocess.Popen(command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    try:
        [address] = opened(tmp_path, 1)
        browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        assert b"No job yet" in browser.open(address, timeout=20).read(), "an empty folder is no reason to refuse"
        assert (tmp_path / "journal" / ADDRESS_FILE).stat().st_mode & 0o077 == 0
        again = subprocess.run(command, env=environment, capture_output=True, text=True, timeout=60)
        assert again.returncode == 0 and "served already" in again.stdout
        second = opened(tmp_path, 2)[1]
        assert second != address, "each address lets one browser in"
        other = urllib.request.build_opener(urllib.request.HTTPCookieProcessor())
        assert b"No job yet" in other.open(second, timeout=20).read()
    finally:
        page.send_signal(signal.SIGTERM)
        _, said = page.communicate(timeout=30)
    assert page.returncode == 0 and said == ""
    assert not (tmp_path / "journal" / ADDRESS_FILE).exists()


def test_without_a_desktop_it_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "platform", "linux")
    for name in ("DISPLAY", "WAYLAND_DISPLAY"):
        monkeypatch.delenv(name, raising=False)
    assert not on_desktop()
    with pytest.raises(SystemExit):
        main(["--journal", str(tmp_path / "none")])
    assert "journal open" in capsys.readouterr().out
    monkeypatch.setenv("WAYLAND_DISPLAY", "wayland-0")
    monkeypatch.delenv("SSH_CONNECTION", raising=False)
    assert on_desktop()
    monkeypatch.setenv("SSH_CONNECTION", "10.0.0.2 22")
    assert not on_desktop(), "a browser there is not seen from here"


@pytest.mark.parametrize("text", ["", "nonsense", "http://127.0.0.1:1/enter/x", "http://127.0.0.1:notaport/"])
def test_an_address_that_leads_nowhere_is_none(tmp_path: Path, text: str) -> None:
    assert address_of_running(tmp_path) == ""
    (tmp_path / ADDRESS_FILE).write_text(text)
    assert address_of_running(tmp_path) == ""


ODD = 'shop\'s "own" 100% $HOME `x` \\ back'


def test_the_icon_starts_this_program_on_this_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Read back by the rules of Desktop Entry 1.5: a string's escapes first, then the quotes, then %%."""
    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "share"))
    folder = tmp_path / ODD
    with pytest.raises(SystemExit):
        main(["--journal", str(folder), "shortcut", "--lan"])
    path = tmp_path / "share" / "applications" / "cutout-journal.desktop"
    parser = configparser.RawConfigParser()
    parser.optionxform = str  # type: ignore[assignment, method-assign]
    parser.read(path, encoding="utf-8")
    entry = parser["Desktop Entry"]
    assert (entry["Type"], entry["Terminal"]) == ("Application", "false") and Path(entry["Icon"]).is_file()
    exec_line = entry["Exec"].replace("\\\\", "\\")
    quoted = re.findall(r'"((?:[^"\\]|\\.)*)"', exec_line)
    words = [re.sub(r"\\(.)", r"\1", word).replace("%%", "%") for word in quoted]
    assert words == [sys.executable, "-m", "journal", "--journal", str(folder), "serve", "--open", "--lan"]
    with pytest.raises(SystemExit) as ended:
        main(["--journal", str(folder), "shortcut"])
    assert ended.value.code == 1, "one that is there is not written over"
    with pytest.raises(SystemExit) as ended:
        main(["--journal", str(folder), "shortcut", "--replace"])
    assert ended.value.code == 0 and "--lan" not in path.read_text()


def test_the_entry_is_valid_to_the_desktops_own_checker(tmp_path: Path) -> None:
    checker = shutil.which("desktop-file-validate")
    if checker is None:
        pytest.skip("desktop-file-validate (Debian package desktop-file-utils) is not installed")
    (tmp_path / "x.desktop").write_text(desktop_entry(tmp_path / ODD), encoding="utf-8")
    done = subprocess.run([checker, tmp_path / "x.desktop"], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0 and "error" not in done.stdout, done.stdout


@pytest.mark.parametrize("system", ["win32", "darwin"])
def test_where_no_icon_can_be_made_that_is_one_line(
    system: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "platform", system)
    with pytest.raises(SystemExit) as ended:
        main(["shortcut"])
    assert ended.value.code == 1 and "start it with `journal`" in capsys.readouterr().err
