"""Photos: originals kept byte for byte under their SHA-256, with page copies and thumbnails that carry no location."""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from PIL import Image, UnidentifiedImageError

from journal.errors import BadInput, NotFound
from journal.record.files import COPIES, PHOTOS, check_sha256, file_errors, files_of, sha256_of, shelf, write_whole
from journal.record.picture_quality import quality_warning

PAGE_EDGE = 1600
"""What the longest edge of a page copy is brought down to, pixels."""
PAGE_EDGE_LEFT = 2080
"""A page copy up to this size is left as it is: most JPEGs decode to it, and resizing costs more than it saves."""
THUMBNAIL_EDGE = 320
"""Longest edge of a thumbnail, pixels."""
MOST_BYTES = 80_000_000
"""Largest file taken in."""
MOST_PIXELS_JPEG = 125_000_000
"""Most pixels of an ordinary JPEG, which is decoded at a fraction of its size."""
MOST_PIXELS = 50_000_000
"""Most pixels of anything else, a progressive JPEG among it, which must be decoded whole."""

_ENDINGS = {"JPEG": ".jpg", "PNG": ".png", "WEBP": ".webp", "HEIF": ".heic", "AVIF": ".avif"}
# Pillow's remarks on careless Exif and on large pictures are not for the person at the engine; limits are set above.
warnings.filterwarnings("ignore", module=r"PIL\.")

_TAKEN, _TAKEN_OFFSET, _TAKEN_FRACTION = 0x9003, 0x9011, 0x9291  # Exif 2.32: DateTimeOriginal and its companions


@dataclass(frozen=True)
class TakenIn:
    """A photo now in the journal."""

    sha256: str
    """SHA-256 of the original's bytes, 64 hex digits."""
    taken_at: str
    """When it was taken, ISO 8601 with offset; empty when not known."""
    warning: str
    """What is wrong with it as a picture and what to do; empty when nothing."""
    width: int
    """Width as it is looked at, pixels."""
    height: int
    """Height as it is looked at, pixels."""


def take_in(folder: Path, photo: Path | bytes, name: str = "") -> TakenIn:
    """Put a photo into the journal; the same photo twice is one.

    Args:
        folder: the journal's folder.
        photo: the file, or its bytes.
        name: its name for messages; the file's own when empty.

    Raises:
        NotFound: when there is no such file.
        BadInput: when it is not an image of a kind taken in, damaged, too large, or has several pictures.
        RecordError: when the disk refuses.
    """
    name = name or (photo.name if isinstance(photo, Path) else "the photo")
    data, changed_at = _read(photo, name)
    _register_heif()
    image, _, width, height = _look(data, name)
    sha256 = sha256_of(data)
    taken_at = _taken_at(image) or changed_at
    page = _upright(image, name)
    keep_original(folder, data, name)
    _write_copies(folder, sha256, page)
    return TakenIn(sha256, taken_at, quality_warning(page), width, height)


def check_photo(data: bytes, name: str) -> None:
    """Refuse bytes that `take_in` would refuse, keeping nothing; errors as there."""
    _register_heif()
    image, *_ = _look(data, name)
    _upright(image, name)


def keep_original(folder: Path, data: bytes, name: str) -> None:
    """Keep a photo that was checked already; its copies are made when they are first asked for."""
    _register_heif()
    _, ending, *_ = _look(data, name)
    sha256 = sha256_of(data)
    path = shelf(folder, PHOTOS, sha256, ending)
    if not path.exists():
        write_whole(path, data)
        # Copies that were here before came from elsewhere: they are made anew from the picture itself.
        with file_errors(path):
            for copy in files_of(folder, COPIES, sha256):
                copy.unlink(missing_ok=True)


def keep_page_copy(folder: Path, sha256: str, jpeg: bytes) -> None:
    """Keep the page copy of a photo whose original stayed elsewhere, unless the original is here or another copy of it.

    Raises:
        BadInput: it is no picture.
    """
    image, *_ = _look(jpeg, "the page copy")
    if is_original_here(folder, sha256):
        return
    _write_copies(folder, check_sha256(sha256), _upright(image, "the page copy"))


def original_path(folder: Path, sha256: str) -> Path:
    """The original's file; `NotFound` when it is not here."""
    check_sha256(sha256)
    for ending in dict.fromkeys(_ENDINGS.values()):
        path = shelf(folder, PHOTOS, sha256, ending)
        if path.is_file():
            return path
    raise NotFound(f"the photo {sha256[:12]}… is not in this journal")


def is_original_here(folder: Path, sha256: str) -> bool:
    """Whether the original itself is in this journal."""
    try:
        original_path(folder, sha256)
    except NotFound:
        return False
    return True


def page_copy_path(folder: Path, sha256: str) -> Path:
    """A JPEG copy of at most `PAGE_EDGE_LEFT`, upright, without location; made again when it is gone."""
    return _copy(folder, sha256, "-page.jpg")


def thumbnail_path(folder: Path, sha256: str) -> Path:
    """A JPEG copy of at most `THUMBNAIL_EDGE`, upright, without location; made again when it is gone."""
    return _copy(folder, sha256, "-small.jpg")


def _copy(folder: Path, sha256: str, ending: str) -> Path:
    path = shelf(folder, COPIES, sha256, ending)
    if not path.is_file():
        original = original_path(folder, sha256)
        _register_heif()
        image, *_ = _look(original.read_bytes(), original.name)
        _write_copies(folder, sha256, _upright(image, original.name))
    return path


def _read(photo: Path | bytes, name: str) -> tuple[bytes, str]:
    """The photo's bytes, and when its file was last changed."""
    if isinstance(photo, bytes):
        data, changed_at = photo, ""
    else:
        if not photo.is_file():
            raise NotFound(f"there is no photo {photo}: check its name")
        with file_errors(photo):
            facts = photo.stat()
            if facts.st_size > MOST_BYTES:
                raise BadInput(f"{name} is larger than {MOST_BYTES // 1_000_000} MB: send a smaller copy")
            data = photo.read_bytes()
        changed_at = datetime.fromtimestamp(int(facts.st_mtime)).astimezone().isoformat()
    if len(data) > MOST_BYTES:
        raise BadInput(f"{name} is larger than {MOST_BYTES // 1_000_000} MB: send a smaller copy")
    if not data:
        raise BadInput(f"{name} is empty: send it again")
    return data, changed_at


def _look(data: bytes, name: str) -> tuple[Image.Image, str, int, int]:
    """Open without decoding, and refuse what is not one ordinary picture; width and height as it is looked at."""
    try:
        image = Image.open(io.BytesIO(data), formats=list(_ENDINGS))
    except UnidentifiedImageError:
        raise BadInput(f"{name} is not a photo: send a JPEG, PNG, WebP, HEIC or AVIF file") from None
    except Image.DecompressionBombError:
        raise BadInput(f"{name} has too many pixels: send a smaller copy") from None
    except Exception as error:  # a damaged header can raise nearly anything in a decoder
        raise BadInput(f"{name} is damaged and cannot be opened ({_brief(error)}): take or send it again") from None
    is_jpeg = image.format in ("JPEG", "MPO")  # MPO: a JPEG with further pictures behind the first
    most = MOST_PIXELS_JPEG if is_jpeg and not image.info.get("progressive") else MOST_PIXELS
    if image.width * image.height > most:
        raise BadInput(f"{name} has more than {most // 1_000_000} megapixels: send a smaller copy")
    # A JPEG's further pictures (a depth map, a preview) and an HEIC's are beside the first; elsewhere it is a film.
    if image.format not in ("MPO", "HEIF") and _frames(image) > 1:
        raise BadInput(f"{name} moves or has several pictures: send a still photo")
    turned = _exif(image).get(0x0112, 1) in (5, 6, 7, 8)
    width, height = (image.height, image.width) if turned else image.size
    return image, _ENDINGS["JPEG" if is_jpeg else str(image.format)], width, height


def _upright(image: Image.Image, name: str) -> Image.Image:
    """The picture decoded at page size, the right way up, in plain colours, with nothing else attached."""
    try:
        # A JPEG is decoded at 1/2, 1/4 or 1/8: far less work and memory. Both edges must be asked for in proportion.
        shrink = min(1.0, PAGE_EDGE / max(image.size))
        image.draft("RGB", (int(image.width * shrink), int(image.height * shrink)))
        orientation = _exif(image).get(0x0112, 1)
        if max(image.size) > PAGE_EDGE_LEFT:
            image.thumbnail((PAGE_EDGE, PAGE_EDGE), Image.Resampling.BILINEAR, reducing_gap=1.5)
        if image.mode not in ("RGB", "L"):
            backed = image.convert("RGBA")
            image = Image.alpha_composite(Image.new("RGBA", backed.size, "white"), backed).convert("RGB")
        turn = _TURNS.get(orientation)
        upright = image.transpose(turn) if turn is not None else image
        upright.load()
    except Exception as error:  # a damaged file can raise nearly anything in a decoder
        raise BadInput(f"{name} is damaged or cut short ({_brief(error)}): take or send it again") from None
    colours = image.info.get("icc_profile")
    upright.info.clear()
    if isinstance(colours, bytes):
        upright.info["icc_profile"] = colours
    return upright


_TURNS = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""What puts a picture of each Exif orientation upright (Exif 2.32, tag 0112)."""


def _write_copies(folder: Path, sha256: str, page: Image.Image) -> None:
    small = page.copy()
    small.thumbnail((THUMBNAIL_EDGE, THUMBNAIL_EDGE), Image.Resampling.BILINEAR, reducing_gap=2.0)
    for picture, ending in ((page, "-page.jpg"), (small, "-small.jpg")):
        path = shelf(folder, COPIES, sha256, ending)
        if not path.is_file():
            jpeg = io.BytesIO()
            picture.save(jpeg, "JPEG", quality=82, icc_profile=page.info.get("icc_profile"))
            write_whole(path, jpeg.getvalue(), lasting=False)


def _taken_at(image: Image.Image) -> str:
    """The moment of exposure with its offset; without one in the file, this machine's at that moment."""
    try:
        exif = _exif(image).get_ifd(0x8769)
        at = datetime.strptime(str(exif[_TAKEN]).strip("\0 "), "%Y:%m:%d %H:%M:%S")
    except Exception:  # absent, or written by a careless camera: the photo is good all the same
        return ""
    fraction = str(exif.get(_TAKEN_FRACTION, "")).strip("\0 ")
    if fraction.isdigit():
        at = at.replace(microsecond=int(fraction[:6].ljust(6, "0")))
    offset = str(exif.get(_TAKEN_OFFSET, "")).strip("\0 ")
    try:
        given = datetime.fromisoformat(at.isoformat() + offset)
        return (given if given.tzinfo is not None else given.astimezone()).isoformat()
    except (ValueError, OverflowError, OSError):
        return ""


def _exif(image: Image.Image) -> Image.Exif:
    try:
        return image.getexif()
    except Exception:  # damaged notes are no reason to refuse a picture; a damaged picture is found when decoded
        return Image.Exif()


def _frames(image: Image.Image) -> int:
    try:
        return int(getattr(image, "n_frames", 1))
    except Exception:  # damaged further on: found when decoded
        return 1


def _register_heif() -> None:
    import pillow_heif

    pillow_heif.register_heif_opener()


def _brief(error: Exception) -> str:
    return (str(error).splitlines() or [type(error).__name__])[0][:80]
