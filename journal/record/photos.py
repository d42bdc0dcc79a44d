"""Photos: originals kept byte for byte under their SHA-256, with copies to show that carry nothing but the picture."""

from __future__ import annotations

import contextlib
import hashlib
import io
import shutil
import threading
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import IO

from PIL import Image, UnidentifiedImageError

from journal.errors import BadInput, NotFound
from journal.record.files import (
    COPIES,
    PHOTOS,
    check_sha256,
    file_errors,
    files_of,
    sha256_of,
    shelf,
    write_whole,
    write_whole_with,
)
from journal.record.jpeg_segments import carries_more, coefficients_held
from journal.record.picture_alike import same_copy
from journal.record.picture_decoding import decoded
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
MOST_COEFFICIENTS = 125_000_000
"""Most coefficients of a JPEG that comes in several scans, two bytes each, which must all be held: one or two of each
pixel where its colours are coarser, as cameras write them, three where they are not."""
MOST_PIXELS = 50_000_000
"""Most pixels of a PNG or HEIC, which must be decoded whole."""
MOST_PIXELS_COSTLY = 16_000_000
"""Most pixels of a WebP or AVIF, whose decoders hold the whole picture several times."""

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


_one_at_a_time = threading.RLock()
"""Held while a picture is decoded: several large ones at once would be more than the machine may have."""


def take_in(folder: Path, photo: Path | bytes | IO[bytes], name: str = "") -> TakenIn:
    """Put a photo into the journal; the same photo twice is one.

    Args:
        folder: the journal's folder.
        photo: the file, one that is open for reading and can be sought in, or its bytes; read when its turn comes.
        name: its name for messages; the file's own when empty.

    Raises:
        NotFound: when there is no such file.
        BadInput: when it is not an image of a kind taken in, damaged, too large, or has several pictures.
        RecordError: when the disk refuses.
    """
    name = name or (photo.name if isinstance(photo, Path) else "the photo")
    with _one_at_a_time:
        with _opened(photo, name) as (file, changed_at):
            image, ending, width, height = _look(file, name)
            taken_at = _taken_at(image) or changed_at
            page = _upright(image, name)
            del image
            sha256 = _checksum(file)
            _keep(folder, file, sha256, ending)
        _write_copies(folder, sha256, page)
        return TakenIn(sha256, taken_at, quality_warning(page), width, height)


def picture_of(photo: Path | bytes | IO[bytes], name: str = "") -> Image.Image:
    """A photo's picture at page size, upright, in plain colours, with nothing else attached; nothing is kept.

    Args and errors are those of `take_in`, but for the disk's.
    """
    name = name or (photo.name if isinstance(photo, Path) else "the photo")
    with _one_at_a_time, _opened(photo, name) as (file, _):
        image, *_ = _look(file, name)
        return _upright(image, name)


def check_photo(data: bytes, name: str) -> None:
    """Refuse bytes that `take_in` would refuse, keeping nothing; errors as there."""
    with _one_at_a_time:
        image, *_ = _look(io.BytesIO(data), name)
        _upright(image, name)


def keep_original(folder: Path, data: bytes, name: str) -> None:
    """Keep a photo that was checked already; its copies are made when they are first asked for."""
    _, ending, *_ = _look(io.BytesIO(data), name)
    _keep(folder, io.BytesIO(data), sha256_of(data), ending)


def _keep(folder: Path, file: IO[bytes], sha256: str, ending: str) -> None:
    path = shelf(folder, PHOTOS, sha256, ending)
    if not path.exists():
        file.seek(0)
        with write_whole_with(path) as out:
            shutil.copyfileobj(file, out)
        # Copies that were here before came from elsewhere: they are made anew from the picture itself.
        with file_errors(path):
            for copy in files_of(folder, COPIES, sha256):
                copy.unlink(missing_ok=True)


def other_copy(folder: Path, sha256: str, jpeg: bytes) -> bool:
    """Whether a page copy shows something else than the one that is here of a photo whose original is not."""
    path = shelf(folder, COPIES, sha256, "-page.jpg")
    if not path.is_file() or is_original_here(folder, sha256):
        return False
    with _one_at_a_time:
        image, *_ = _look(io.BytesIO(jpeg), "the page copy")
        return not same_copy(path, _upright(image, "the page copy"))


def keep_page_copy(folder: Path, sha256: str, jpeg: bytes, *, anew: bool = False) -> None:
    """Keep the page copy of a photo whose original stayed elsewhere, unless the original is here or another copy of it.

    Args:
        folder: the journal's folder.
        sha256: the original's checksum.
        jpeg: the copy.
        anew: let it take the place of another copy.

    Raises:
        BadInput: it is no picture.
    """
    with _one_at_a_time:
        image, *_ = _look(io.BytesIO(jpeg), "the page copy")
        if is_original_here(folder, sha256):
            return
        _write_copies(folder, check_sha256(sha256), _upright(image, "the page copy"), anew=anew)


def original_path(folder: Path, sha256: str) -> Path:
    """The original's file; `NotFound` when it is not here."""
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
    if not path.is_file() or carries_more(path):
        with _one_at_a_time:
            _copy_anew(folder, sha256, path)
    return path


def _copy_anew(folder: Path, sha256: str, path: Path) -> None:
    """Make the copies of a photo from its original, or of one whose original stayed elsewhere from its page copy."""
    if path.is_file() and not carries_more(path):  # another request made it while this one waited
        return
    page = shelf(folder, COPIES, sha256, "-page.jpg")
    try:
        source = original_path(folder, sha256)
    except NotFound:
        if not page.is_file():
            raise
        source = page
    with source.open("rb") as file:
        image, *_ = _look(file, source.name)
        picture = _upright(image, source.name)
    _write_copies(folder, sha256, picture, anew=True)


@contextlib.contextmanager
def _opened(photo: Path | bytes | IO[bytes], name: str) -> Iterator[tuple[IO[bytes], str]]:
    """The photo open for reading, and when its file was last changed where that is known."""
    if isinstance(photo, Path):
        if not photo.is_file():
            raise NotFound(f"there is no photo {photo}: check its name")
        with file_errors(photo):
            file: IO[bytes] = photo.open("rb")
        with file:
            changed_at = datetime.fromtimestamp(int(photo.stat().st_mtime)).astimezone().isoformat()
            _check_size(file, name)
            yield file, changed_at
        return
    file = io.BytesIO(photo) if isinstance(photo, bytes) else photo
    _check_size(file, name)
    yield file, ""


def _check_size(file: IO[bytes], name: str) -> None:
    size = file.seek(0, io.SEEK_END)  # whoever reads it begins at its beginning
    if size > MOST_BYTES:
        raise BadInput(f"{name} is larger than {MOST_BYTES // 1_000_000} MB: send a smaller copy")
    if not size:
        raise BadInput(f"{name} is empty: send it again")


def _checksum(file: IO[bytes]) -> str:
    sha = hashlib.sha256()
    file.seek(0)
    while piece := file.read(1 << 20):
        sha.update(piece)
    return sha.hexdigest()


def _look(file: IO[bytes], name: str) -> tuple[Image.Image, str, int, int]:
    """Open without decoding, and refuse what is not one ordinary picture; width and height as it is looked at."""
    _register_heif()
    try:
        image = Image.open(file, formats=list(_ENDINGS))
    except UnidentifiedImageError:
        raise BadInput(f"{name} is not a photo: send a JPEG, PNG, WebP, HEIC or AVIF file") from None
    except Image.DecompressionBombError:
        raise BadInput(f"{name} has too many pixels: send a smaller copy") from None
    except Exception as error:  # a damaged header can raise nearly anything in a decoder
        raise BadInput(f"{name} is damaged and cannot be opened ({_brief(error)}): take or send it again") from None
    is_jpeg = image.format in ("JPEG", "MPO")  # MPO: a JPEG with further pictures behind the first
    most = MOST_PIXELS_JPEG if is_jpeg else MOST_PIXELS_COSTLY if image.format in ("WEBP", "AVIF") else MOST_PIXELS
    if image.width * image.height > most:
        raise BadInput(f"{name} has more than {most // 1_000_000} megapixels: send a smaller copy, best as a JPEG")
    if is_jpeg and coefficients_held(file) > MOST_COEFFICIENTS:
        raise BadInput(f"{name} is large and comes in several scans, too much to decode: send a smaller copy")
    # A JPEG's further pictures (a depth map, a preview) and an HEIC's are beside the first; elsewhere it is a film.
    if image.format not in ("MPO", "HEIF") and _frames(image) > 1:
        raise BadInput(f"{name} moves or has several pictures: send a still photo")
    turned = _exif(image).get(0x0112, 1) in (5, 6, 7, 8)
    width, height = (image.height, image.width) if turned else image.size
    return image, _ENDINGS["JPEG" if is_jpeg else str(image.format)], width, height


def _upright(image: Image.Image, name: str) -> Image.Image:
    """The picture decoded at page size, the right way up, in plain colours, with nothing else attached."""
    try:
        return decoded(image, PAGE_EDGE, PAGE_EDGE_LEFT, _exif(image).get(0x0112, 1))
    except Exception as error:  # a damaged file can raise nearly anything in a decoder
        raise BadInput(f"{name} is damaged or cut short ({_brief(error)}): take or send it again") from None


def _write_copies(folder: Path, sha256: str, page: Image.Image, *, anew: bool = False) -> None:
    small = page.copy()
    small.thumbnail((THUMBNAIL_EDGE, THUMBNAIL_EDGE), Image.Resampling.BILINEAR, reducing_gap=2.0)
    for picture, ending in ((page, "-page.jpg"), (small, "-small.jpg")):
        path = shelf(folder, COPIES, sha256, ending)
        if anew or not path.is_file():
            jpeg = io.BytesIO()
            picture.save(jpeg, "JPEG", quality=82)
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
