"""A phone on a stand before a screen: frames in, what is read told, and only what is steady and news proposed."""

from __future__ import annotations

import io
import shutil
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from flask.testing import FlaskClient
from limits import RateLimitItemPerMinute
from PIL import Image
from werkzeug.test import TestResponse

from journal.errors import BadInput
from journal.facts import JobClosed
from journal.facts import Quantity as Q
from journal.record.shop_labels import keep_label
from journal.seeing import NOT_READ, can_see
from journal.stand import Watch
from tests.seeing.screens import TUNED_LOOKS, Reading, rows
from tests.webui.browser import PHONE, serving, window
from tests.webui.conftest import FLAGS, Shop, jpeg, sign_of, text_of
from tests.webui.test_handset import UNWELCOME, let_in, unwelcome
from tests.webui.test_screens import Reader, number
from webui import access, photos, quotas, screens, stand
from webui.screens import Screens
from webui.shop import Secure
from webui.stands import MOST, Stands

SOON = 30_000


def y4m(picture: Image.Image, path: Path) -> Path:
    """A film of a picture, without compression, which a browser's fake camera shows over and over: YUV4MPEG2, 4:2:0.

    The format is that of mjpegtools' yuv4mpeg(5), from memory.
    """
    (width, height), (y, *chroma) = picture.size, picture.convert("YCbCr").split()
    planes = [y, *(plane.resize((width // 2, height // 2), Image.Resampling.BOX) for plane in chroma)]
    frame = b"FRAME\n" + b"".join(plane.tobytes() for plane in planes)
    path.write_bytes(f"YUV4MPEG2 W{width} H{height} F10:1 Ip A1:1 C420jpeg\n".encode() + 10 * frame)
    return path


def screen(fuel: float) -> Image.Image:
    """A rendered screen that shows this much fuel, as a camera before it sees it: 1280 by 720."""
    shown = [
        Reading("Fuel delivery", f"{fuel:.1f}", fuel, "mm3", "mm³/st", Q.FUEL_PER_STROKE),
        Reading("Engine speed", "702", 702, "rpm", "rpm", Q.ENGINE_SPEED),
    ]
    drawn = rows(shown, TUNED_LOOKS[0]).image
    picture = Image.new("RGB", (1280, 720), "#808080")
    picture.paste(drawn, ((1280 - drawn.width) // 2, (720 - drawn.height) // 2))
    return picture


@pytest.fixture(scope="module")
def phone(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """A browser whose camera sees a screen with the fuel at 37.4."""
    from playwright.sync_api import sync_playwright

    where = shutil.which("chromium") or shutil.which("chromium-browser")
    if where is None:
        pytest.skip("Debian's chromium is not installed")
    film = y4m(screen(37.4), tmp_path_factory.mktemp("film") / "screen.y4m")
    more = [
        "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream",
        f"--use-file-for-fake-video-capture={film}",
    ]  # fmt: skip
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=where, args=[*FLAGS, *more])
        yield browser
        browser.close()


@pytest.fixture
def reads(monkeypatch: pytest.MonkeyPatch) -> Callable[..., None]:
    """Says what is found on the pictures to come."""
    Reader.found = []
    monkeypatch.setattr(screens, "_Worker", Reader)
    for module in (screens, photos, stand):
        monkeypatch.setattr(module, "can_see", lambda: True)
    return lambda *found: Reader.found.append(found[0] if isinstance(next(iter(found), None), Exception) else found)


@pytest.fixture
def job(shop: Shop) -> str:
    """A job whose run has its baseline and goes on with cylinder 4."""
    return run_of(shop)


def run_of(shop: Shop) -> str:
    """A job whose run has its baseline and goes on with cylinder 4."""
    made = shop.open()
    keep_label(shop.folder, Q.FUEL_PER_STROKE, "Fuel delivery")
    shop.say(made, "idle cut out test", "baseline thirty", "photo cylinder four")
    return made


FRAME = jpeg(640, 480)


def send(
    shop: Shop, job: str, data: bytes = FRAME, query: str = "", client: FlaskClient | None = None, **headers: str
) -> TestResponse:
    """A frame sent as the page sends it."""
    client = client or shop.client
    sign = sign_of(text_of(client.get("/code")))
    how = {"X-CSRFToken": sign, "Accept": "application/json", **headers}
    return client.post(f"/job/{job}/stand{query}", data=data, headers=how, content_type="image/jpeg")


def seen(shop: Shop, job: str, reads: Callable[..., None], value: float, frames: int = 1, **how: Any) -> Any:
    """So many frames that all show one number; what is told of the last."""
    for _ in range(frames):
        reads(number(value))
        told = send(shop, job, **how).get_json()
    return told


def files_in(shop: Shop) -> set[Path]:
    """Photos and copies that are kept."""
    return {path for name in ("photos", "copies") for path in (shop.folder / name).rglob("*") if path.is_file()}


def test_a_steady_number_becomes_a_photo_with_its_entry_and_other_frames_leave_nothing(
    shop: Shop, job: str, reads: Callable[..., None]
) -> None:
    told = seen(shop, job, reads, 37.4, 3)
    assert (told["step"], told["alike"], told["frames"], told["line"], told["others"]) == ("look", 2, 3, "", 0)
    assert told["of"] == "cylinder 4" and told["next"]["words"] == "cylinder 1"
    assert told["numbers"] == [
        {"label": "Fuel delivery", "written": "37.4", "unit": "mm³", "doubt": "", "at": [0.5, 0.25, 0.625, 0.3]}
    ]
    assert shop.job(job).pictures == () and files_in(shop) == set()
    told = seen(shop, job, reads, 37.4)
    assert (told["step"], told["line"]) == ("propose", "Cylinder 4 cut: 37.4")
    [picture], [cut] = shop.job(job).pictures, shop.job(job).runs[0].cuts
    assert (cut.cylinder, cut.value) == (4, 37.4)
    [fact] = shop.job(job).seen[cut.entry]
    assert fact.body.photo == picture.photo.body.sha256 and picture.photo.body.cylinder == 4
    kept = files_in(shop)
    assert len(kept) == 3, "the original and its two copies"
    assert "has been read" in seen(shop, job, reads, 37.4, 5)["line"]
    assert len(shop.job(job).pictures) == 1 and files_in(shop) == kept
    sent = shop.get(f"/job/{job}/handset/now").get_json()["sent"]
    assert [(each["place"], each["read"]) for each in sent] == [("scanner, cylinder 4", "cylinder 4 cut: 37.4")]


def test_what_comes_next_is_named_in_words_and_as_a_cue(shop: Shop, reads: Callable[..., None]) -> None:
    job = shop.open()
    keep_label(shop.folder, Q.FUEL_PER_STROKE, "Fuel delivery")
    shop.say(job, "idle cut out test")
    told = seen(shop, job, reads, 30.0)
    assert (told["of"], told["next"]) == ("the baseline", {"words": "baseline", "subject": "scanner", "cylinder": ""})
    shop.post(f"/job/{job}/handset/cue", subject="scanner")
    assert seen(shop, job, reads, 30.0)["next"] is None
    told = seen(shop, job, reads, 30.0, 3)
    assert told["line"] == "Baseline: 30" and told["next"]["cylinder"] == "1"
    shop.post(f"/job/{job}/handset/cue", subject="scanner", cylinder="1")
    assert seen(shop, job, reads, 37.4)["next"] is None
    assert seen(shop, job, reads, 37.4, 4, data=jpeg(seed=1))["next"]["words"] == "cylinder 2"
    shop.say(job, "end of run")
    assert seen(shop, job, reads, 30.0)["next"] is None


def test_what_is_in_doubt_is_asked_about_with_its_part_of_the_frame(
    shop: Shop, job: str, reads: Callable[..., None]
) -> None:
    for _ in range(4):
        reads(number(37.4, "hard to read"))
        told = send(shop, job).get_json()
    assert told["line"] == "Asked: Cylinder 4 cut: 37.4 mm³?" and told["numbers"][0]["doubt"] == "hard to read"
    asked = shop.get(f"/job/{job}/handset/now").get_json()["asked"]
    assert asked["options"] == ["Yes: Cylinder 4 cut: 37.4"] and len(asked["crops"]) == 1
    assert shop.get(asked["crops"][0]).mimetype == "image/jpeg"
    assert shop.job(job).runs[0].cuts == ()


def test_a_number_as_with_none_cut_waits_for_a_word_and_now_takes_it(
    shop: Shop, job: str, reads: Callable[..., None]
) -> None:
    told = seen(shop, job, reads, 30.0, 5)
    assert told["step"] == "uncut" and told["line"].endswith("take it now if this is cylinder 4")
    assert shop.job(job).pictures == ()
    assert seen(shop, job, reads, 30.0, query="?now=1")["line"] == "Cylinder 4 cut: 30"
    assert [cut.value for cut in shop.job(job).runs[0].cuts] == [30.0]


def test_a_frame_that_is_asked_for_and_of_which_nothing_comes_is_not_kept(
    shop: Shop, job: str, reads: Callable[..., None]
) -> None:
    shop.say(job, "cylinder four cut thirty eight", "end of run", "idle cut out test", "baseline thirty")
    shop.say(job, "cylinder one cut thirty eight")
    told = seen(shop, job, reads, 41.0, query="?now=1")
    assert "which cylinder was cut is not known" in told["line"]
    reads()
    told = send(shop, job, query="?now=1").get_json()
    assert told["numbers"] == [] and "not to be seen" in told["line"]
    assert shop.job(job).pictures == () and files_in(shop) == set()


def test_where_no_frame_can_be_of_the_run_its_numbers_are_shown_and_why_none_is_taken(
    shop: Shop, job: str, reads: Callable[..., None]
) -> None:
    shop.say(job, "photo overhead cylinder three")
    told = seen(shop, job, reads, 37.4, 5, query="?now=1")
    assert told["line"] == "Photos go to overhead, cylinder 3 now: choose “scanner” above for the screen"
    assert told["numbers"][0]["written"] == "37.4"
    shop.say(job, "end of run", "photo of the screen")
    assert seen(shop, job, reads, 37.4, 5)["line"] == "Nothing is entered from it: no run is open that it was taken in"
    assert shop.job(job).pictures == () and files_in(shop) == set()


def test_a_camera_that_is_stuck_reads_nothing_a_second_time(shop: Shop, job: str, reads: Callable[..., None]) -> None:
    assert seen(shop, job, reads, 37.4, query="?now=1")["line"] == "Cylinder 4 cut: 37.4"
    shop.say(job, "photo cylinder five")
    assert "it is stuck" in seen(shop, job, reads, 37.6, query="?now=1")["line"]
    assert len(shop.job(job).runs[0].cuts) == 1
    assert seen(shop, job, reads, 37.6, query="?now=1", data=jpeg(seed=1))["line"] == "Cylinder 5 cut: 37.6"


def test_each_phone_counts_its_own_frames(lan: Shop, reads: Callable[..., None]) -> None:
    job, phones = run_of(lan), [let_in(lan), let_in(lan)]
    for _ in range(3):
        assert [seen(lan, job, reads, 37.4, client=phone)["step"] for phone in phones] == ["look", "look"]
    assert seen(lan, job, reads, 37.4, client=phones[0])["step"] == "propose"
    # The other sees it too: one reading, two witnesses.
    told = seen(lan, job, reads, 37.4, client=phones[1], data=jpeg(seed=1))
    assert told["line"] == "It shows cylinder 4 cut: 37.4 too"
    assert len(lan.job(job).runs[0].cuts) == 1


def test_of_many_phones_the_one_that_was_silent_longest_is_forgotten() -> None:
    stands = Stands()
    for at in range(MOST + 1):
        stands.keep(f"phone {at}", "job", Watch(alike=at + 1))
        stands.keep("phone 0", "job", Watch(alike=9))
    assert stands.of("phone 1", "job") == Watch() and stands.of("phone 2", "job").alike == 3
    assert stands.of("phone 0", "job").alike == 9 and stands.of("phone 0", "other") == Watch()


@pytest.mark.parametrize("how", UNWELCOME)
def test_nobody_else_sends_frames(lan: Shop, reads: Callable[..., None], how: str) -> None:
    job = run_of(lan)
    phone, more = unwelcome(lan, job, how, lambda phone: seen(lan, job, reads, 37.4, client=phone)["step"] == "look")
    assert send(lan, job, client=phone, **more).status_code in (400, 403)
    assert lan.job(job).pictures == ()


def test_frames_are_bounded_in_size_and_number_and_by_what_they_are(
    shop: Shop, job: str, reads: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    assert send(shop, job, bytes(access.FRAME_BYTES + 1)).status_code == 413
    reads(BadInput("the photo is not a photo: send a JPEG"))
    answer = send(shop, job, b"not a picture")
    assert answer.status_code == 400 and answer.get_json() == {"words": "the photo is not a photo: send a JPEG"}
    monkeypatch.setattr(quotas, "FRAMES", (RateLimitItemPerMinute(1),))
    seen(shop, job, reads, 37.4, 1)
    answer = send(shop, job)
    assert answer.status_code == 429 and "wait" in answer.get_json()["words"]
    assert "too many frames by one device" in shop.refused()


def test_a_closed_job_and_a_machine_without_the_reader_take_no_frames(
    shop: Shop, job: str, reads: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(stand, "can_see", lambda: False)
    assert send(shop, job).get_json() == {"words": NOT_READ}
    monkeypatch.setattr(stand, "can_see", lambda: True)
    shop.enter(job, JobClosed("unknown"))
    answer = send(shop, job)
    assert answer.status_code == 400 and answer.get_json()["words"].startswith("this job is closed")
    assert send(shop, "nowhere").status_code == 404


def test_frames_that_went_well_fill_no_log(shop: Shop, job: str, reads: Callable[..., None]) -> None:
    seen(shop, job, reads, 37.4, 5)
    send(shop, "nowhere")
    assert [line["status"] for line in shop.log() if line["page"] == "stand.frame"] == [404]


def test_a_frame_waits_for_nothing_and_photos_go_first(
    shop: Shop, job: str, reads: Callable[..., None], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun, go_on = threading.Event(), threading.Event()

    class Slow(Reader):
        def read(self, path: Path) -> screens.Found:
            begun.set()
            assert go_on.wait(30)
            return super().read(path)

    monkeypatch.setattr(screens, "_Worker", Slow)
    kept: Screens = shop.app.extensions["journal"].screens
    reads(number(37.4))
    shop.post(f"/job/{job}/photos", photos=[(io.BytesIO(jpeg()), "IMG.jpg")])
    assert begun.wait(30)
    assert send(shop, job).get_json() == {"busy": True}
    assert send(shop, job).get_json() == {"busy": True}, "and it is not read later"
    go_on.set()
    [sha] = [picture.photo.body.sha256 for picture in shop.job(job).pictures]
    until(lambda: kept.told(sha) == "cylinder 4 cut: 37.4")
    until(lambda: "numbers" in seen(shop, job, reads, 37.4))


def test_a_reader_that_ends_in_the_midst_of_a_frame_is_begun_anew(
    shop: Shop, job: str, reads: Callable[..., None]
) -> None:
    reads(EOFError())
    answer = send(shop, job)
    assert answer.status_code == 400 and answer.get_json() == {"words": "the reader ended: try again"}
    until(lambda: "numbers" in seen(shop, job, reads, 37.4))
    kept: Screens = shop.app.extensions["journal"].screens
    kept.close()
    assert kept.look(FRAME) is None, "nothing is read once the page is served no more"


def until(done: Callable[[], bool], seconds: float = 30.0) -> None:
    """Wait for what is done beside this."""
    end = time.monotonic() + seconds
    while not done():
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.mark.parametrize("host", ["localhost", "192.0.2.5"])
def test_where_the_browser_gives_no_camera_the_page_says_so_and_that_single_photos_work(
    lan: Shop, reads: Callable[..., None], host: str
) -> None:
    job, phone = lan.open(), let_in(lan)
    name = lan.app.config["SESSION_COOKIE_NAME"]
    phone.set_cookie(name, phone.get_cookie(name).value, domain="192.0.2.5")
    page = " ".join(text_of(phone.get(f"/job/{job}/handset", headers={"Host": host})).split())
    offered = "Watch the screen" in page
    assert offered == (host == "localhost")
    assert ("Single photos, above, need" in page) != offered
    lan.app.extensions["journal"].secure = Secure(8471, "AB:CD")
    page = text_of(phone.get(f"/job/{job}/handset", headers={"Host": host}))
    assert (f'href="https://{host}:8471/job/{job}/handset"' in page) != offered


def test_without_the_reader_nothing_is_watched_and_the_page_says_what_to_install(
    lan: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(photos, "can_see", lambda: False)
    page = text_of(lan.get(f"/job/{lan.open()}/handset"))
    assert 'id="stand"' not in page and page.count(NOT_READ.partition("`")[0].capitalize()) == 1


class Always(Reader):
    """Finds one number on every frame, and takes its time."""

    takes_s = 0.0
    value = 37.4

    def read(self, path: Path) -> screens.Found:
        time.sleep(self.takes_s)
        return (number(self.value),), (640, 480)


@pytest.fixture
def always(reads: Callable[..., None], monkeypatch: pytest.MonkeyPatch) -> type[Always]:
    """Has every frame show the same number."""

    class Its(Always):
        """Of this test alone."""

    monkeypatch.setattr(screens, "_Worker", Its)
    return Its


@contextmanager
def watching(shop: Shop, browser: Any, job: str, **how: Any) -> Iterator[Any]:
    """The page of a phone that watches a screen; `page.sent` holds what it sent, `page.open` what is unanswered."""
    with serving(shop) as address, window(browser, PHONE, **how) as page:
        page.sent, page.open, page.most = [], 0, 0

        def begun(request: Any) -> None:
            if request.method == "POST":
                page.sent.append(request.url)
                page.open += 1
                page.most = max(page.most, page.open)

        def ended(request: Any) -> None:
            page.open -= request.method == "POST"

        page.on("request", begun)
        page.on("requestfinished", ended)
        page.on("requestfailed", ended)
        page.goto(f"{address}/job/{job}/handset")
        page.locator("#stand-watch").click()
        page.locator("#stand-state").get_by_text("WATCHING", exact=True).wait_for(timeout=SOON)
        yield page


def frames(page: Any) -> int:
    """How many frames a page sent."""
    return sum(url.partition("?")[0].endswith("/stand") for url in page.sent)


def test_one_frame_is_read_after_the_other_and_what_is_read_is_shown_with_its_part_of_the_picture(
    shop: Shop, job: str, phone: Any, always: type[Always]
) -> None:
    always.takes_s = 1.5
    with watching(shop, phone, job, has_touch=True) as page:
        page.locator("#stand-numbers strong", has_text="37.4 mm³").wait_for(timeout=SOON)
        before = frames(page)
        page.wait_for_timeout(4_000)
        assert frames(page) - before <= 3 and page.most == 1, "the next only when the last was answered"
        page.locator("#stand-line", has_text="Cylinder 4 cut: 37.4").wait_for(timeout=SOON)
        # The list is made anew every second: at once.
        high, shades = page.locator("#stand-numbers canvas").first.evaluate(
            "c => [c.clientHeight, new Set(c.getContext('2d').getImageData(0, 0, c.width, c.height).data).size]"
        )
        assert high > 40 and shades > 1, "not an empty one"
        page.locator("#sent", has_text="cylinder 4 cut: 37.4").wait_for(timeout=SOON)
        page.get_by_role("button", name="Next: cylinder 5").tap()
        page.locator("#landing", has_text="scanner, cylinder 5").wait_for(timeout=SOON)
        page.locator("#stand-why", has_text="for cylinder 5").wait_for(timeout=SOON)
        for name, width in (("Stop watching", 280), ("Next", 140), ("Take it now", 140)):
            box = page.get_by_role("button", name=name).bounding_box()
            assert box["height"] >= 72 and box["width"] >= width, "large enough for a thumb in a glove"
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
    assert len(shop.job(job).pictures) == 1


def test_nothing_is_sent_once_the_page_is_hidden_or_somebody_stops_it(
    shop: Shop, job: str, phone: Any, always: type[Always]
) -> None:
    hide = "Object.defineProperty(document, 'hidden', {configurable: true, get: () => %s});"
    hide += "document.dispatchEvent(new Event('visibilitychange'))"
    with watching(shop, phone, job) as page:
        for stop, words in (
            (lambda: page.evaluate(hide % "true"), "stopped, as the page was hidden"),
            (lambda: page.locator("#stand-watch").click(), "this phone does not watch"),
        ):
            page.locator("#stand-numbers strong").first.wait_for(timeout=SOON)
            stop()
            page.locator("#stand-why", has_text=words).wait_for(timeout=SOON)
            assert page.locator("#stand-state").inner_text() == "Camera on a stand: off"
            assert page.evaluate("document.getElementById('stand-view').srcObject") is None, "the camera is off"
            page.wait_for_timeout(300)
            before = frames(page)
            page.wait_for_timeout(2_500)
            assert frames(page) == before
            page.evaluate(hide % "false")
            assert page.locator("#stand-state").inner_text() == "Camera on a stand: off", "it is begun by hand"
            page.locator("#stand-watch").click()


def test_on_demand_a_frame_is_sent_only_when_asked_for(shop: Shop, job: str, phone: Any, always: type[Always]) -> None:
    with watching(shop, phone, job) as page:
        page.get_by_label("Take a number by itself").uncheck()
        page.wait_for_timeout(1_500)
        before = frames(page)
        page.wait_for_timeout(2_500)
        assert frames(page) == before
        page.locator("#stand-now").click()
        page.locator("#stand-line", has_text="Cylinder 4 cut: 37.4").wait_for(timeout=SOON)
        assert frames(page) == before + 1 and page.sent[-1].endswith("now=1")


def test_a_question_that_comes_of_a_frame_is_brought_into_sight(
    shop: Shop, job: str, phone: Any, always: type[Always]
) -> None:
    always.value = 77.4
    with watching(shop, phone, job) as page:
        page.locator("#asked", has_text="Cylinder 4 cut: 77.4").wait_for(timeout=SOON)
        page.wait_for_function("document.getElementById('prompt').getBoundingClientRect().top < innerHeight / 2")
        assert page.locator("#crops img").count() == 1


def test_a_line_that_fails_is_told_and_no_frames_pile_up_meanwhile(
    shop: Shop, job: str, phone: Any, always: type[Always]
) -> None:
    with watching(shop, phone, job, refusals=True) as page:
        page.locator("#stand-numbers strong").first.wait_for(timeout=SOON)
        page.route("**/stand*", lambda route: route.abort())
        page.locator("#stand-why", has_text="no line to the shop's machine").wait_for(timeout=SOON)
        before = frames(page)
        page.wait_for_timeout(4_000)
        assert frames(page) - before <= 2
        page.unroute("**/stand*")
        page.locator("#stand-why", has_text="for cylinder 4").wait_for(timeout=SOON)
        shop.enter(job, JobClosed("unknown"))
        page.locator("#stand-why", has_text="this job is closed").wait_for(timeout=SOON)
        assert page.locator("#stand-state").inner_text() == "Camera on a stand: off"


@pytest.mark.skipif(not can_see(), reason="the photo extra is not installed")
def test_a_steady_number_before_the_camera_is_entered_in_earnest(shop: Shop, job: str, phone: Any) -> None:
    with watching(shop, phone, job) as page:
        page.locator("#stand-line", has_text="Cylinder 4 cut: 37.4; engine speed: 702 rpm").wait_for(timeout=60_000)
        page.get_by_role("button", name="Stop watching").click()
    [cut], [picture] = shop.job(job).runs[0].cuts, shop.job(job).pictures
    assert (cut.cylinder, cut.value) == (4, 37.4)
    [fact] = shop.job(job).seen[cut.entry]
    assert fact.body.photo == picture.photo.body.sha256 and fact.body.unit == "mm3"
