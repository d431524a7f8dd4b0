"""Pictures of the demo, drawn: a plate, and a meter that shows a reading. Each says so."""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

MARK = "drawn for the demo"


def draw_plate(path: Path, maker: str, model: str, serial: str, volts: str) -> None:
    """A model and serial plate, 800 x 500 pixels."""
    picture = Image.new("RGB", (800, 500), (120, 122, 118))
    pen = ImageDraw.Draw(picture)
    pen.rounded_rectangle(
        (40, 40, 760, 460), 18, fill=(226, 226, 220), outline=(60, 60, 60), width=4
    )
    for x, y in ((70, 70), (730, 70), (70, 430), (730, 430)):
        pen.ellipse((x - 12, y - 12, x + 12, y + 12), fill=(150, 150, 146), outline=(60, 60, 60))
    for row, (size, text) in enumerate(
        ((54, maker), (40, f"MODEL {model}"), (40, f"SERIAL {serial}"), (40, volts))
    ):
        pen.text((110, 80 + 86 * row), text, fill=(20, 20, 20), font=_font(size))
    _signed(pen, (470, 425))
    picture.save(path)


def draw_meter(path: Path, shows: str, dial: str, points: str) -> None:
    """A hand meter with what it shows, the dial's setting, and where the leads are."""
    picture = Image.new("RGB", (600, 900), (70, 74, 80))
    pen = ImageDraw.Draw(picture)
    pen.rounded_rectangle((60, 40, 540, 860), 40, fill=(38, 40, 44), outline=(15, 15, 15), width=6)
    pen.rectangle((100, 90, 500, 300), fill=(196, 208, 184), outline=(20, 20, 20), width=4)
    pen.text((130, 140), shows, fill=(15, 20, 15), font=_font(78 if len(shows) < 8 else 52))
    pen.ellipse((190, 420, 410, 640), fill=(25, 26, 28), outline=(160, 160, 160), width=4)
    pen.line((300, 530, 300, 440), fill=(240, 240, 240), width=10)
    pen.text((300, 385), dial, fill=(240, 240, 240), font=_font(34), anchor="mm")
    for x, colour in ((230, (190, 30, 30)), (370, (10, 10, 10))):
        pen.ellipse((x - 26, 730, x + 26, 782), fill=colour, outline=(180, 180, 180), width=4)
    pen.text((300, 820), points, fill=(220, 220, 220), font=_font(24), anchor="mm")
    _signed(pen, (110, 870))
    picture.save(path)


def _signed(pen: ImageDraw.ImageDraw, at: tuple[int, int]) -> None:
    pen.text(at, MARK, fill=(110, 70, 20) if at[1] < 500 else (240, 200, 120), font=_font(24))


def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)
