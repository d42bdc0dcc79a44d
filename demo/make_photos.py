"""Draws the demo jobs' photos, plainly as illustrations, into JPEG files that carry the time they were "taken".

Run with `python demo/make_photos.py` in the project's environment. Every shape is our own and stands for no
particular engine.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from PIL import ExifTags, Image, ImageDraw, ImageFilter, ImageFont

HERE = Path(__file__).resolve().parent
WIDTH, HEIGHT = 1280, 960
FINER = 2
"""Drawn this many times larger, then made smaller, for smooth edges."""

STEEL, DARK, LIGHT = (150, 154, 158), (74, 78, 84), (196, 200, 203)
OIL = (92, 74, 40)


class Canvas:
    """A drawing in the photo's own coordinates, whatever it is drawn at."""

    def __init__(self, backdrop: tuple[int, int, int]) -> None:
        """Begin with an even backdrop."""
        self.image = Image.new("RGB", (WIDTH * FINER, HEIGHT * FINER), backdrop)
        self.draw = ImageDraw.Draw(self.image)

    def box(self, x0: float, y0: float, x1: float, y1: float, fill: tuple[int, int, int], radius: float = 0) -> None:
        """A rectangle with a darker edge."""
        corners = [v * FINER for v in (x0, y0, x1, y1)]
        self.draw.rounded_rectangle(corners, radius * FINER, fill=fill, outline=DARK, width=3 * FINER)

    def shape(self, points: list[tuple[float, float]], fill: tuple[int, int, int]) -> None:
        """A polygon with a darker edge."""
        self.draw.polygon([(x * FINER, y * FINER) for x, y in points], fill=fill, outline=DARK, width=3 * FINER)

    def disc(self, x: float, y: float, radius: float, fill: tuple[int, int, int]) -> None:
        """A disc with a darker edge."""
        corners = [v * FINER for v in (x - radius, y - radius, x + radius, y + radius)]
        self.draw.ellipse(corners, fill=fill, outline=DARK, width=3 * FINER)

    def text(self, x: float, y: float, words: str, size: int, fill: tuple[int, int, int]) -> None:
        """Words centred on a point."""
        font = ImageFont.load_default(size * FINER)
        self.draw.text((x * FINER, y * FINER), words, fill=fill, font=font, anchor="mm")

    def line(self, points: list[tuple[float, float]], fill: tuple[int, int, int], width: float) -> None:
        """A line through points."""
        self.draw.line([(x * FINER, y * FINER) for x, y in points], fill=fill, width=int(width * FINER), joint="curve")


def head(canvas: Canvas, cylinder: int) -> None:
    """The top of the cylinder head with two valve stems and their springs."""
    canvas.box(60, 700, 1220, 960, (118, 121, 124), 18)
    canvas.text(640, 830, str(cylinder), 110, (92, 95, 98))
    for x in (150, 1130):
        canvas.disc(x, 770, 34, STEEL)
        canvas.shape([(x + 22 * np.cos(a), 770 + 22 * np.sin(a)) for a in np.arange(6) * np.pi / 3], LIGHT)
    for x in (440, 840):
        for turn in range(5):
            y = 560 + 30 * turn
            canvas.line([(x - 66, y), (x + 66, y + 22)], DARK, 17)
            canvas.line([(x - 66, y), (x + 66, y + 22)], LIGHT, 10)
        canvas.box(x - 80, 528, x + 80, 556, STEEL, 8)
        canvas.box(x - 16, 470, x + 16, 530, LIGHT, 4)


def rocker(canvas: Canvas, drop: float) -> None:
    """The rocker's end above the bridge, lower by `drop`."""
    canvas.shape(
        [(640 - 60, 250 + drop), (640 + 60, 250 + drop), (640 + 150, 60 + drop), (640 - 30, 40 + drop)],
        (132, 136, 141),
    )
    canvas.disc(690, 110 + drop, 34, DARK)
    canvas.box(610, 248 + drop, 670, 312 + drop, LIGHT, 10)


def bridge(canvas: Canvas) -> None:
    """A whole valve bridge resting on both stems."""
    canvas.shape([(380, 478), (380, 418), (560, 350), (720, 350), (900, 418), (900, 478), (790, 478), (700, 430),
                  (580, 430), (490, 478)], STEEL)  # fmt: skip
    canvas.line([(400, 424), (565, 362), (715, 362), (880, 424)], LIGHT, 8)


def broken_bridge(canvas: Canvas) -> None:
    """The same bridge in two pieces, the right one fallen between the stems."""
    canvas.shape([(380, 478), (380, 418), (560, 350), (622, 346), (606, 372), (640, 392), (612, 412), (628, 432),
                  (580, 430), (490, 478)], STEEL)  # fmt: skip
    canvas.line([(400, 424), (565, 362), (612, 360)], LIGHT, 8)
    piece = [(652, 350), (720, 350), (900, 418), (900, 478), (790, 478), (700, 430), (640, 430), (668, 410), (634, 390)]
    angle = np.radians(34)
    turned = [
        (
            720 + (x - 770) * np.cos(angle) - (y - 410) * np.sin(angle),
            600 + (x - 770) * np.sin(angle) + (y - 410) * np.cos(angle),
        )
        for x, y in piece
    ]
    canvas.shape(turned, (138, 141, 145))
    canvas.line([turned[0], turned[8], turned[7], turned[6]], (222, 222, 220), 7)
    canvas.line([(622, 346), (606, 372), (640, 392), (612, 412), (628, 432)], (222, 222, 220), 7)
    for x, y, size in ((596, 690, 7), (660, 694, 5), (540, 692, 4)):
        canvas.disc(x, y, size, LIGHT)


def overhead(cylinder: int, broken: bool) -> Image.Image:
    """The overhead of one cylinder, seen from the side."""
    canvas = Canvas((58, 60, 62))
    head(canvas, cylinder)
    rocker(canvas, 64 if broken else 38)
    if broken:
        broken_bridge(canvas)
    else:
        bridge(canvas)
    canvas.text(640, 925, f"cylinder {cylinder}", 34, (232, 232, 228))
    return canvas.image


def breather(haze: float) -> Image.Image:
    """The crankcase breather with its haze, 0 for none to 1 for heavy."""
    canvas = Canvas((70, 76, 72))
    canvas.box(0, 560, 620, 960, (104, 110, 106), 30)
    canvas.box(90, 430, 330, 600, (120, 126, 122), 22)
    canvas.text(210, 515, "breather", 34, (50, 54, 52))
    canvas.line([(330, 500), (560, 500), (700, 560), (760, 680)], DARK, 86)
    canvas.line([(330, 500), (560, 500), (700, 560), (760, 680)], (40, 42, 42), 74)
    canvas.disc(764, 690, 46, DARK)
    canvas.disc(764, 690, 32, (18, 18, 18))
    canvas.disc(758, 742, 7, OIL)
    canvas.disc(760, 800, 5, OIL)
    chance = np.random.default_rng(3)
    vapour = Image.new("L", canvas.image.size, 0)
    draw = ImageDraw.Draw(vapour)
    for _ in range(int(240 * haze)):
        along = chance.uniform(0, 1)
        x = 780 + 260 * along + chance.normal(0, 14 + 40 * along)
        y = 690 - 330 * along + chance.normal(0, 16 + 50 * along)
        radius = 14 + 34 * along
        shade = int(60 * (1 - 0.75 * along))
        corners = [v * FINER for v in (x - radius, y - radius, x + radius, y + radius)]
        draw.ellipse(corners, fill=shade)
    vapour = vapour.filter(ImageFilter.GaussianBlur(22 * FINER))
    canvas.image.paste((226, 228, 226), mask=vapour)
    return canvas.image


def harness() -> Image.Image:
    """A harness branch rubbed through behind its bracket, two wires bare."""
    canvas = Canvas((64, 62, 58))
    canvas.box(0, 640, WIDTH, 960, (112, 110, 104), 0)
    canvas.box(520, 300, 760, 720, (134, 136, 138), 20)
    for y in (350, 680):
        canvas.disc(640, y, 26, STEEL)
        canvas.shape([(640 + 17 * np.cos(a), y + 17 * np.sin(a)) for a in np.arange(6) * np.pi / 3], LIGHT)
    path = [(0.0, 420.0), (300.0, 440.0), (520.0, 500.0), (760.0, 530.0), (1000.0, 470.0), (1280.0, 420.0)]
    canvas.line(path, (26, 26, 28), 96)
    canvas.line([(x, y - 18) for x, y in path], (52, 52, 56), 8)
    canvas.shape([(560, 474), (640, 462), (730, 488), (720, 552), (640, 560), (566, 540)], (44, 38, 34))
    for offset, insulation in ((-20, (150, 58, 48)), (16, (196, 176, 84))):
        canvas.line([(556, 506 + offset), (732, 532 + offset)], insulation, 17)
        canvas.line([(620, 516 + offset), (676, 524 + offset)], (206, 128, 72), 13)
    canvas.text(1010, 575, "to 4 and 7", 34, (226, 224, 218))
    canvas.text(640, 610, "bracket", 34, (70, 72, 74))
    return canvas.image


def photo(image: Image.Image, path: Path, taken_at: str, offset: str) -> None:
    """Finish a drawing as a photo: smaller, a little grain and shade, the word on it, the time in its EXIF.

    Args:
        image: the drawing, `FINER` times the photo's size.
        path: where the JPEG goes.
        taken_at: local time as EXIF writes it, `YYYY:MM:DD HH:MM:SS`.
        offset: local time minus UTC as EXIF 2.31 writes it, e.g. `+10:00`.
    """
    small = np.asarray(image.resize((WIDTH, HEIGHT), Image.Resampling.LANCZOS), dtype=np.float64)
    rows, columns = np.mgrid[0:HEIGHT, 0:WIDTH]
    shade = 1.08 - 0.35 * (((columns - WIDTH / 2) / WIDTH) ** 2 + ((rows - HEIGHT / 2) / HEIGHT) ** 2) * 2
    grain = np.random.default_rng(5).normal(0, 2.0, (HEIGHT, WIDTH, 1))
    picture = Image.fromarray(np.clip(small * shade[:, :, None] + grain, 0, 255).astype(np.uint8))
    draw = ImageDraw.Draw(picture)
    draw.rectangle((0, 0, WIDTH, 58), fill=(24, 24, 24))
    draw.text(
        (WIDTH / 2, 29), "ILLUSTRATION, not a photo", fill=(245, 210, 120), font=ImageFont.load_default(34), anchor="mm"
    )
    exif = Image.Exif()
    exif[ExifTags.Base.Software] = "demo/make_photos.py"
    detail = exif.get_ifd(ExifTags.IFD.Exif)
    detail[ExifTags.Base.DateTimeOriginal] = taken_at
    detail[ExifTags.Base.OffsetTimeOriginal] = offset
    picture.save(path, quality=82, exif=exif)
    print(f"{path.parent.name}/{path.name}: {path.stat().st_size / 1024:.0f} KiB")


PHOTOS: dict[str, tuple[Callable[[], Image.Image], str, str]] = {
    "orchard/blow-by.jpg": (lambda: breather(0.3), "2026:11:02 09:24:10", "+10:00"),
    "orchard/broken-bridge.jpg": (lambda: overhead(3, broken=True), "2026:11:02 09:51:30", "+10:00"),
    "orchard/good-bridge.jpg": (lambda: overhead(4, broken=False), "2026:11:02 09:52:05", "+10:00"),
    "forestry/chafed-harness.jpg": (harness, "2026:11:09 14:05:40", "+10:00"),
}
"""Each photo's drawing and the time it carries."""


def main() -> None:
    """Draw every photo."""
    for name, (drawn, taken_at, offset) in PHOTOS.items():
        photo(drawn(), HERE / name, taken_at, offset)


if __name__ == "__main__":
    main()
