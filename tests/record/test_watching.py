"""A watched folder look by look: what is yielded is what lay there whole and unchanged at two looks, once each."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from journal.record import watched
from journal.record.watched import watch

Step = Callable[[], object]


def looked(folder: Path, monkeypatch: pytest.MonkeyPatch, *steps: Step, already: bool = False) -> list[list[str]]:
    """What each look yields; before each one its step is done."""
    waited: list[float] = []
    monkeypatch.setattr(watched.time, "sleep", waited.append)
    found: list[list[str]] = []
    left = list(steps)

    def stop() -> bool:
        if not left:
            return True
        left.pop(0)()
        found.append([])
        return False

    for path in watch(folder, every_s=0.5, already=already, stop=stop):
        found[-1].append(path.name)
    assert waited == [0.5] * len(steps), "one pause after each look"
    return found


def nothing() -> None:
    pass


def test_a_photo_is_yielded_at_the_second_look_that_finds_it_the_same(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.jpg"
    found = looked(
        tmp_path,
        monkeypatch,
        lambda: path.write_bytes(b"x"),
        lambda: path.write_bytes(b"xy"),
        lambda: os.utime(path, (5, 5)),
        nothing,
        nothing,
        path.unlink,
        lambda: path.write_bytes(b"xyz"),
        nothing,
    )
    assert found == [[], [], [], ["a.jpg"], [], [], [], ["a.jpg"]]


def test_what_is_empty_hidden_or_no_picture_is_left_alone(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name, data in (("a.jpg", b""), (".b.jpg", b"x"), ("c.txt", b"x"), ("d.JPEG", b"x"), ("e.heif", b"x")):
        (tmp_path / name).write_bytes(data)
        os.utime(tmp_path / name, (5, 5))
    assert looked(tmp_path, monkeypatch, nothing, nothing, already=True) == [[], ["d.JPEG", "e.heif"]]
    assert looked(tmp_path, monkeypatch, nothing, nothing) == [[], []], "what lay there at the start"


def test_the_oldest_comes_first_and_of_one_moment_the_first_by_name(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, at in (("a.jpg", 9), ("c.jpg", 5), ("b.jpg", 5)):
        (tmp_path / name).write_bytes(b"x")
        os.utime(tmp_path / name, (at, at))
    assert looked(tmp_path, monkeypatch, nothing, nothing, already=True) == [[], ["b.jpg", "c.jpg", "a.jpg"]]


def test_a_share_that_goes_away_for_a_while_brings_nothing_twice(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, away = tmp_path / "share", tmp_path / "away"
    folder.mkdir()
    (folder / "a.jpg").write_bytes(b"x")
    found = looked(
        folder,
        monkeypatch,
        nothing,
        nothing,
        lambda: folder.rename(away),
        nothing,
        lambda: away.rename(folder),
        lambda: (folder / "b.jpg").write_bytes(b"x"),
        nothing,
        already=True,
    )
    assert found == [[], ["a.jpg"], [], [], [], [], ["b.jpg"]]
