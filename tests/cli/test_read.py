"""`journal read` and what `journal photo` reads into a job: one line for a photo of nothing, one for each mistake."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

import journal.cli.photos
import journal.shown
from journal.facts import Quantity
from journal.seeing import Labelled
from tests.cli.test_commands import refused, run

PLACE = ((10.4, 10.0), (60.0, 10.0), (60.0, 30.0), (10.0, 30.6))
SEEN = (
    Labelled("37,6", 37.6, "Fuel delivery", "mm3", Quantity.FUEL_PER_STROKE, 0.998, "", PLACE),
    Labelled("1488", 1488.0, "Engine \x1b[2Jspeed", "rpm", Quantity.ENGINE_SPEED, 0.62, "hard to read", PLACE),
    Labelled("4", 4.0, "", "", None, 1.0, "no label stands beside it", PLACE),
)


@pytest.fixture
def screen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A photo that those numbers are seen on; on a black one nothing is."""
    monkeypatch.setattr(journal.cli.photos, "can_see", lambda: True)
    monkeypatch.setattr(journal.shown, "shown", lambda image: SEEN if image.getpixel((0, 0)) != (0, 0, 0) else ())
    Image.new("RGB", (64, 48), "silver").save(tmp_path / "screen.jpg")
    Image.new("RGB", (64, 48), "black").save(tmp_path / "night.png")
    return tmp_path / "screen.jpg"


def test_each_number_is_a_line_and_what_is_not_sure_is_marked(
    capsys: pytest.CaptureFixture[str], folder: Path, screen: Path
) -> None:
    code, out, err = run(capsys, "read", str(screen))
    assert (code, err) == (0, "")
    assert [line.split() for line in out.splitlines()] == [
        ["screen.jpg:", "3", "numbers,", "2", "not", "sure"],
        ["Fuel", "delivery", "37,6", "mm³", "fuel", "per", "stroke", "99", "%"],
        ["?", *out.splitlines()[2].split()[1:-3], "hard", "to", "read"],
        ["?", "(no", "label)", "4", "99", "%", "no", "label", "stands", "beside", "it"],
    ]
    assert "1488  rpm  engine speed" in out and "62 %" in out and "\x1b" not in out
    assert not folder.exists()


def test_as_json_it_holds_values_and_places(capsys: pytest.CaptureFixture[str], screen: Path) -> None:
    (told,) = json.loads(run(capsys, "read", "--json", str(screen))[1])
    assert told["photo"] == str(screen)
    assert told["numbers"][0] == {
        "label": "Fuel delivery", "written": "37,6", "value": 37.6, "unit": "mm3", "quantity": "fuel per stroke",
        "certainty": 0.998, "sure": True, "doubt": "", "corners": [[10, 10], [60, 10], [60, 30], [10, 31]],
    }  # fmt: skip
    assert [number["sure"] for number in told["numbers"]] == [True, False, False]


def test_a_photo_of_nothing_is_one_line(capsys: pytest.CaptureFixture[str], screen: Path) -> None:
    code, out, _ = run(capsys, "read", str(screen.with_name("night.png")))
    assert (code, out) == (0, "night.png: no number is to be seen on it\n")


def test_what_is_no_photo_is_one_line_and_the_others_are_read(capsys: pytest.CaptureFixture[str], screen: Path) -> None:
    words = screen.with_name("words.jpg")
    words.write_text("not a picture", encoding="utf-8")
    assert "not a photo" in refused(capsys, "read", str(words))
    assert "there is no photo" in refused(capsys, "read", str(screen.with_name("nowhere.jpg")))
    code, out, err = run(capsys, "read", str(words), str(screen), str(screen.with_name("nowhere.jpg")))
    assert code == 1 and "screen.jpg: 3 numbers" in out and err.count("\n") == 2


def test_without_the_extra_one_line_says_what_to_install(
    capsys: pytest.CaptureFixture[str], screen: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal.cli.photos, "can_see", lambda: False)
    assert "install the photo extra" in refused(capsys, "read", str(screen))


@pytest.fixture
def bench(capsys: pytest.CaptureFixture[str], folder: Path, screen: Path) -> Path:
    """A run that waits for its cuts; the photo of a screen."""
    run(capsys, "open", "--unit", "Orchard pump", "--cylinders", "6", "--firing-order", "1-5-3-6-2-4", "--injection",
        "common rail", "--complaint", "misses", "--technician", "Wren")  # fmt: skip
    run(capsys, "enter", "idle cut-out test")
    run(capsys, "enter", "baseline 31")
    screen.touch()  # taken now, as the file's own time tells
    screen.with_name("night.png").touch()
    return screen


def test_a_photo_of_a_screen_is_read_into_the_run_and_the_answer_is_remembered(
    capsys: pytest.CaptureFixture[str], folder: Path, bench: Path
) -> None:
    code, out, err = run(capsys, "photo", "--cylinder", "4", str(bench))
    assert (code, out.splitlines()[1:], err) == (0, ["    asked: Cylinder 4 cut: Fuel delivery 37,6 mm³?"], "")
    assert run(capsys, "enter", "cylinder four cut 37.6")[1].startswith("  + cylinder 4 cut: 37.6")
    assert "Fuel delivery" in (folder / "screens.toml").read_text(encoding="utf-8")
    Image.new("RGB", (64, 48), "gray").save(bench.with_name("next.jpg"))
    out = run(capsys, "photo", "--cylinder", "5", str(bench.with_name("next.jpg")))[1]
    assert out.endswith("    cylinder 5 cut: 37.6\n")


def test_a_photo_of_nothing_is_one_line_more_and_one_without_a_reader_tells_how_to_get_it(
    capsys: pytest.CaptureFixture[str], bench: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    night = str(bench.with_name("night.png"))
    out = run(capsys, "photo", "--cylinder", "4", night)[1]
    assert out.splitlines()[1:] == ["    no number is to be seen on it"]
    assert run(capsys, "photo", "--subject", "blow-by", str(bench))[1].count("\n") == 1
    monkeypatch.setattr(journal.cli.photos, "can_see", lambda: False)
    Image.new("RGB", (64, 48), "gray").save(bench.with_name("next.jpg"))
    told = run(capsys, "photo", str(bench.with_name("next.jpg")))
    assert told[0] == 0 and told[1].count("install the photo extra") == 1
    run(capsys, "enter", "end of run")
    Image.new("RGB", (64, 48), "green").save(bench.with_name("last.jpg"))
    assert "extra" not in run(capsys, "photo", str(bench.with_name("last.jpg")))[1]


def test_a_photo_whose_labels_cannot_be_looked_up_is_kept_and_the_reason_is_one_line(
    capsys: pytest.CaptureFixture[str], folder: Path, bench: Path
) -> None:
    (folder / "screens.toml").write_text("no table", encoding="utf-8")
    code, out, _ = run(capsys, "photo", "--cylinder", "4", str(bench))
    assert code == 0 and out.splitlines()[0].startswith("  + screen.jpg")
    assert "not read: screens.toml in" in out and out.count("\n") == 2
