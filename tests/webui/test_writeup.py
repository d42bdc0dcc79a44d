"""The write-up: read, edited, downloaded, packed."""

from __future__ import annotations

import io
import json
import re
import zipfile

from journal.record.store import Store
from tests.record.pictures import file_of, phone_exif, scene
from tests.webui.conftest import Shop, text_of


def test_the_write_up_has_complaint_cause_and_correction(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.get(f"/job/{job}/write-up"))
    assert [re.sub(r"\s.*", "", title) for title in re.findall(r"<h2>(.*?)</h2>", page, re.S)][:3] == [
        "Complaint", "Cause", "Correction",
    ]  # fmt: skip
    assert "Cylinder 3 is dead" in page and "Misses at idle." in page


def test_the_technicians_words_replace_the_generated_ones_until_taken_back(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    shop.post(f"/job/{job}/write-up/cause", text="Bridge broken at cylinder three.\nFound with the cover off.")
    page = text_of(shop.get(f"/job/{job}/write-up"))
    assert "Bridge broken at cylinder three.\nFound with the cover off." in page
    assert "in the technician's words" in page
    shop.post(f"/job/{job}/write-up/cause", text="ignored", generated="yes")
    assert "Bridge broken" not in text_of(shop.get(f"/job/{job}/write-up"))


def test_it_downloads_in_every_form_and_on_both_papers(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    sizes = {}
    for paper in ("A4", "Letter"):
        answer = shop.get(f"/job/{job}/write-up.pdf?paper={paper}")
        assert answer.mimetype == "application/pdf" and answer.data.startswith(b"%PDF-")
        box = re.search(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", answer.data)
        assert box is not None
        sizes[paper] = (round(float(box[1])), round(float(box[2])))
    # ISO 216 A4 is 210 x 297 mm, ANSI/ASME Y14.1 size A 8.5 x 11 in; in points of 1/72 in.
    assert sizes == {"A4": (595, 842), "Letter": (612, 792)}
    assert "Cylinder 3 is dead" in text_of(shop.get(f"/job/{job}/write-up.txt"))
    assert json.loads(shop.get(f"/job/{job}/write-up.json").data)["unit"] == "Orchard pump 2"
    assert "attachment" in shop.get(f"/job/{job}/write-up.html").headers["Content-Disposition"]
    assert shop.get(f"/job/{job}/write-up.pdf?paper=A0").status_code == 400
    assert shop.get(f"/job/{job}/write-up.exe").status_code == 404


def test_the_pages_pack_leaves_out_what_photos_tell_of_place_and_camera_unless_asked(shop: Shop) -> None:
    job = shop.open()
    assert "Pack with original photos" not in text_of(shop.get(f"/job/{job}/write-up"))
    photo = file_of(scene(), exif=phone_exif())
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(photo), "IMG_1.jpg")])
    links = re.findall(rf'href="(/job/{job}/pack[^"]*)"', text_of(shop.get(f"/job/{job}/write-up")))
    plain, whole = (zipfile.ZipFile(io.BytesIO(shop.get(link).data)) for link in links)
    assert not [name for name in plain.namelist() if name.startswith("photos/")]
    held = b"".join(plain.read(name) for name in plain.namelist())
    assert b"Invented" not in held and b"Exif" not in held and b"copies/" in b"".join(map(str.encode, plain.namelist()))
    assert photo in [whole.read(name) for name in whole.namelist() if name.startswith("photos/")]


def test_the_pack_holds_every_entry_and_the_write_up(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    answer = shop.get(f"/job/{job}/pack")
    with zipfile.ZipFile(io.BytesIO(answer.data)) as pack:
        names = pack.namelist()
        lines = pack.read(next(name for name in names if name.endswith(".jsonl"))).decode().splitlines()
    assert any(name.endswith("write-up.html") for name in names)
    assert [json.loads(line)["id"] for line in lines] == [entry.id for entry in shop.job(job).entries]


def test_every_write_up_that_goes_out_tells_the_jobs_reference(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    with Store.open(shop.folder) as store:
        reference = store.line(job).reference
    assert f"Job {reference}, Orchard pump 2" in text_of(shop.get(f"/job/{job}/write-up.txt"))
    assert f"<title>Job {reference}, Orchard pump 2</title>" in text_of(shop.get(f"/job/{job}/write-up.html"))
    with zipfile.ZipFile(io.BytesIO(shop.get(f"/job/{job}/pack").data)) as pack:
        assert f"<title>Job {reference}, " in pack.read("write-up.html").decode()
    page = text_of(shop.get(f"/job/{job}/write-up"))
    style = re.search(rf'media="print" href="(/job/{job}/sheet.css)"', page)
    assert style is not None and f"<dd>{reference}</dd>" in page
    printed = shop.get(style.group(1))
    assert printed.mimetype == "text/css" and f"Job\\20 {reference}\\2c" in text_of(printed)


def test_the_page_of_the_write_up_has_each_runs_readings(tested: tuple[Shop, str]) -> None:
    shop, job = tested
    page = text_of(shop.get(f"/job/{job}/write-up"))
    assert '<td role="cell" data-head="Cut, mm³">37.6</td><td role="cell" data-head="Rise, mm³">7.6</td>' in page
    assert page.index("Cautions</h2>") < page.index("Run 1: Idle</h2>") and "<p>Technician (Wren)</p>" in page
