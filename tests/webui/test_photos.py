"""Photos: taken in, placed, marked, compared; the original untouched."""

from __future__ import annotations

import hashlib
import io
import math
import re

import pytest
from PIL import Image

from journal.facts import Photo, PhotoCue, PhotoMark, RepairDone
from journal.output import marks
from journal.output.writeup_html import NOT_HERE
from journal.record.photos import original_path
from journal.record.store import Store
from tests.webui.conftest import Shop, jpeg, text_of
from webui import photos


def sent(*pictures: bytes) -> list[tuple[io.BytesIO, str]]:
    """Files as a form sends them."""
    return [(io.BytesIO(picture), f"IMG_{n}.jpg") for n, picture in enumerate(pictures)]


def test_a_photo_lands_where_the_last_spoken_cue_said(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, PhotoCue("overhead", 3))
    page = text_of(shop.post(f"/job/{job}/photos", photos=sent(jpeg())))
    assert "taken in: overhead, cylinder 3" in page.lower()
    body = shop.job(job).pictures[0].photo.body
    assert (body.subject, body.cylinder) == ("overhead", 3)


def test_the_page_says_beforehand_where_a_photo_will_land(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, PhotoCue("blow-by"))
    assert "belongs to: <strong>blow-by</strong>" in text_of(shop.get(f"/job/{job}/photos"))


def test_the_original_stays_byte_for_byte_and_the_shown_copies_carry_no_location(shop: Shop) -> None:
    job = shop.open()
    with Image.open(io.BytesIO(jpeg())) as image:
        exif = image.getexif()
        exif.get_ifd(0x8825)[1] = "N"
        held = io.BytesIO()
        image.save(held, "JPEG", exif=exif)
    data = held.getvalue()
    shop.post(f"/job/{job}/photos", photos=sent(data))
    sha = hashlib.sha256(data).hexdigest()
    assert original_path(shop.folder, sha).read_bytes() == data
    whole = shop.get(f"/job/{job}/photo/{sha}/original")
    assert whole.data == data and "attachment" in whole.headers["Content-Disposition"]
    for size in ("thumb", "page"):
        copy = shop.get(f"/job/{job}/photo/{sha}/{size}")
        with Image.open(io.BytesIO(copy.data)) as image:
            assert copy.mimetype == "image/jpeg" and not dict(image.getexif())


def test_originals_are_saved_under_a_name_of_ours(shop: Shop) -> None:
    job = shop.open()
    with Store.open(shop.folder) as store:
        reference = store.line(job).reference
    for name, picture in (("../../x.html", jpeg()), ("pay me.exe", png()), ("\u202egnp.exe", jpeg(seed=1))):
        shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(picture), name)])
    for number, (picture, ending) in enumerate(zip(shop.job(job).pictures, ("jpg", "png", "jpg"), strict=True), 1):
        answer = shop.get(f"/job/{job}/photo/{picture.photo.body.sha256}/original")
        expected = f"attachment; filename=job-{reference}-photo-{number}.{ending}"
        assert answer.headers["Content-Disposition"] == expected
        assert answer.mimetype == "application/octet-stream"


def png() -> bytes:
    """A picture of another kind."""
    held = io.BytesIO()
    Image.open(io.BytesIO(jpeg(seed=2))).save(held, "PNG")
    return held.getvalue()


def test_no_profile_nor_any_word_in_one_comes_to_the_desk(shop: Shop) -> None:
    from tests.record.test_photo_copies import tagged
    from tests.webui.test_desk import link_of

    job = shop.open()
    held = io.BytesIO()
    Image.open(io.BytesIO(jpeg())).save(held, "JPEG", icc_profile=tagged())
    assert b"serial 4711" in held.getvalue()
    shop.post(f"/job/{job}/photos", photos=sent(held.getvalue()))
    sha, clerk = shop.job(job).pictures[0].photo.body.sha256, shop.app.test_client()
    for size in ("thumb", "page"):
        answer = clerk.get(f"{link_of(shop, job)}/photo/{sha}/{size}")
        assert answer.status_code == 200
        assert b"ICC_PROFILE" not in answer.data and b"4711" not in answer.data


def test_the_same_photo_twice_is_one(shop: Shop) -> None:
    job = shop.open()
    for _ in range(2):
        shop.post(f"/job/{job}/photos", photos=sent(jpeg()))
    assert len(shop.job(job).pictures) == 1


def test_a_photo_is_placed_by_hand(shop: Shop) -> None:
    job = shop.open()
    shop.post(f"/job/{job}/photos", photos=sent(jpeg()))
    sha = shop.job(job).pictures[0].photo.body.sha256
    shop.post(f"/job/{job}/photos/{sha}/place", subject="overhead", cylinder="5")
    assert ">overhead, cylinder 5<" in text_of(shop.get(f"/job/{job}/photos"))
    assert shop.post(f"/job/{job}/photos/{sha}/place", subject="overhead", cylinder="9").status_code == 400
    assert shop.post(f"/job/{job}/photos/{sha}/place", subject=" ").status_code == 400


def test_a_ring_is_an_entry_on_top_and_can_be_taken_back(shop: Shop) -> None:
    job = shop.open()
    picture = jpeg(800, 400)
    shop.post(f"/job/{job}/photos", photos=sent(picture))
    sha = shop.job(job).pictures[0].photo.body.sha256
    page = text_of(
        shop.post(f"/job/{job}/photos/{sha}/mark", shape="ring", x0="25", y0="50", x1="35", y1="50", text="worn")
    )
    assert 'cx="200.0" cy="200.0" r="80.0"' in page and ">worn</text>" in page
    mark = shop.job(job).pictures[0].marks[0]
    assert (mark.body.x0, mark.body.y0, mark.body.x1) == (0.25, 0.5, 0.35)
    assert original_path(shop.folder, sha).read_bytes() == picture
    shop.post(f"/job/{job}/photos/{sha}/unmark/{mark.entry.id}")
    assert shop.job(job).pictures[0].marks == ()


def test_a_mark_off_the_photo_is_refused(shop: Shop) -> None:
    job = shop.open()
    shop.post(f"/job/{job}/photos", photos=sent(jpeg()))
    sha = shop.job(job).pictures[0].photo.body.sha256
    for form in ({"x0": "101"}, {"x0": ""}, {"x0": "nan"}, {"shape": "blob"}):
        whole = {"shape": "ring", "x0": "1", "y0": "1", "x1": "2", "y1": "2", **form}
        assert shop.post(f"/job/{job}/photos/{sha}/mark", **whole).status_code == 400, form
    assert shop.job(job).pictures[0].marks == ()


def test_two_photos_stand_side_by_side(shop: Shop) -> None:
    job = shop.open()
    shop.post(f"/job/{job}/photos", photos=sent(jpeg(seed=1), jpeg(seed=2)))
    first, second = (picture.photo.body.sha256 for picture in shop.job(job).pictures)
    page = text_of(shop.get(f"/job/{job}/photos/pair?left={first}&right={second}"))
    assert f"/photo/{first}/page" in page and f"/photo/{second}/page" in page


def test_one_bad_file_among_good_ones_loses_none_of_the_good(shop: Shop) -> None:
    job = shop.open()
    page = text_of(shop.post(f"/job/{job}/photos", photos=sent(jpeg(seed=1), b"not a photo", jpeg(seed=2))))
    assert len(shop.job(job).pictures) == 2 and "IMG_1.jpg is not a photo" in page


def test_a_photo_whose_file_is_not_here_says_so_and_breaks_no_page(shop: Shop) -> None:
    job = shop.open()
    shop.enter(job, Photo("a" * 64, "left-out.jpg", "overhead", 3))
    for place in (f"/photos/{'a' * 64}", f"/photos/pair?left={'a' * 64}", "/photos", "/write-up", ""):
        assert shop.get(f"/job/{job}{place}").status_code == 200, place
    assert NOT_HERE in text_of(shop.get(f"/job/{job}/write-up"))
    assert shop.get(f"/job/{job}/photo/{'a' * 64}/page").status_code == 404


def test_marks_stand_on_the_photo_in_the_write_up_and_at_the_desk(shop: Shop) -> None:
    from tests.webui.test_desk import link_of

    job = shop.open()
    shop.post(f"/job/{job}/photos", photos=sent(jpeg()))
    sha = shop.job(job).pictures[0].photo.body.sha256
    shop.post(f"/job/{job}/photos/{sha}/mark", shape="arrow", x0="1", y0="1", x1="50", y1="50", text="here")
    for address in (f"/job/{job}/write-up", link_of(shop, job)):
        assert ">here</text>" in text_of(shop.get(address))


def test_photos_stand_by_cylinder(shop: Shop) -> None:
    job = shop.open()
    for place, cylinder in (("overhead", 3), ("blow-by", None), ("overhead", 1), ("wiring", 3), ("", None)):
        shop.enter(job, Photo(f"{len(shop.job(job).entries):064x}", "x.jpg", place, cylinder))
    page = text_of(shop.get(f"/job/{job}/photos"))
    titles = re.findall(r"<h2>(.*?)</h2>", page)
    assert titles == ["Not placed yet", "Whole engine", "Cylinder 1", "Cylinder 3"]
    third = page[page.index("<h2>Cylinder 3</h2>") :]
    assert third.index("overhead, cylinder 3") < third.index("wiring, cylinder 3")


def test_the_same_place_before_and_after_the_repair_stands_side_by_side(shop: Shop) -> None:
    job = shop.open()

    def take(number: int, subject: str, cylinder: int | None) -> str:
        shop.enter(job, Photo(f"{number:064x}", f"{number}.jpg", subject, cylinder))
        return f"{number:064x}"

    take(1, "overhead", 3)
    last, blow_by = take(2, "overhead", 3), take(3, "blow-by", None)
    assert "Before and after the repair" not in text_of(shop.get(f"/job/{job}/photos"))
    shop.enter(job, RepairDone("new bridge", 3))
    first = take(4, "overhead", 3)
    take(5, "overhead", 3)
    take(6, "overhead", 4)
    page = text_of(shop.get(f"/job/{job}/photos"))
    pairs = set(re.findall(r"pair\?left=(\w+)&amp;right=(\w+)", page))
    assert pairs == {(last, first)} and blow_by not in {sha for pair in pairs for sha in pair}
    assert 'alt="Before: overhead, cylinder 3"' in page and 'alt="After: overhead, cylinder 3"' in page


@pytest.mark.parametrize("size", [(640, 480), (480, 640)])
def test_an_arrows_head_is_as_large_on_the_page_as_on_paper(
    size: tuple[int, int], monkeypatch: pytest.MonkeyPatch
) -> None:
    mark = PhotoMark("a" * 64, "arrow", 0.1, 0.1, 0.9, 0.5)
    drawn = photos._drawn("id", mark, *size)
    one, tip, _ = (tuple(map(float, point.split(","))) for point in drawn.wings.split())
    lengths: list[float] = []
    paper = marks.wings
    monkeypatch.setattr(marks, "wings", lambda tail, head, wing: lengths.append(wing) or paper(tail, head, wing))
    marks.with_marks(jpeg(*size), [mark])
    assert tip == pytest.approx((0.9 * size[0], 0.5 * size[1]), abs=0.1)
    assert math.dist(one, tip) == pytest.approx(lengths[0], abs=0.2)
