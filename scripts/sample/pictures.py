"""Photos as a camera under water would have made them: drawn, not taken; a coral of its species on blue ground, or a slate.

The drawing says enough to be told apart by eye and by a picture's fingerprint: shape and colour follow the coral and its
condition, the tag plate can be read, the light differs from shot to shot.
"""

from __future__ import annotations

import io
import math
import random
from collections.abc import Sequence
from datetime import datetime

import PIL
from PIL import Image, ImageDraw, ImageFilter, ImageFont, features

from sample.conditions import ALIVE, DEAD, Condition
from sample.programme import Coral

WIDTH, HEIGHT = 480, 360
QUALITY = 72
_EXIF_IFD, _TAKEN_AT, _MODEL = 0x8769, 0x9003, 0x0110

# Other versions of these may draw the same picture in other bytes.
DRAWN_WITH = {"pillow": PIL.__version__, **{name: features.version(name) for name in ("libjpeg_turbo", "freetype2")}}

Colour = tuple[int, int, int]
_TISSUE: dict[str, Colour] = {
    "Acropora muricata": (150, 120, 70),
    "Acropora hyacinthus": (120, 130, 80),
    "Pocillopora verrucosa": (175, 115, 120),
}
_BARE: Colour = (105, 115, 85)  # dead skeleton under turf
_WHITE: Colour = (235, 235, 225)
_PALENESS = {"none": 0.0, "pale": 0.35, "partly": 0.6, "fully": 1.0}


def coral_photo(
    coral: Coral, seen: Condition, *, plate: str | None, taken_at: datetime, camera: str, dice: random.Random
) -> bytes:
    """A JPEG of one coral in its condition, the plate beside it; `taken_at` is what the camera's clock told."""
    image = _water(dice)
    draw = ImageDraw.Draw(image)
    draw.polygon([(0, HEIGHT), (0, 270), (150, 285), (330, 262), (WIDTH, 290), (WIDTH, HEIGHT)], fill=(88, 92, 84))
    if seen.status in (ALIVE, DEAD):
        _colony(draw, coral, _colour(coral, seen), dice)
    else:
        draw.ellipse((215, 272, 265, 290), fill=(160, 160, 150))  # the bare base that is left
    if plate is not None:
        _plate(draw, plate)
    return _jpeg(_grain(image, dice), taken_at, camera)


def slate_photo(lines: Sequence[str], *, taken_at: datetime, camera: str, dice: random.Random) -> bytes:
    """A JPEG of a slate held into the picture."""
    image = _water(dice)
    draw = ImageDraw.Draw(image)
    draw.rectangle((60, 30, 420, 330), fill=(226, 226, 214), outline=(60, 60, 60), width=3)
    for number, line in enumerate(lines):
        draw.text((80, 48 + 34 * number), line, fill=(50, 50, 60), font=ImageFont.load_default(22))
    return _jpeg(_grain(image, dice), taken_at, camera)


def _water(dice: random.Random) -> Image.Image:
    top, bottom = (40, 120 + dice.randint(-15, 15), 170), (10, 60 + dice.randint(-10, 10), 110)
    strip = Image.new("RGB", (1, 2))
    strip.putdata([top, bottom])
    return strip.resize((WIDTH, HEIGHT), Image.Resampling.BILINEAR)


def _colour(coral: Coral, seen: Condition) -> Colour:
    if seen.status == DEAD:
        return _BARE
    tissue, share = _TISSUE[coral.genotype.species], _PALENESS[seen.bleaching or "none"]
    return (_blend(tissue[0], _WHITE[0], share), _blend(tissue[1], _WHITE[1], share), _blend(tissue[2], _WHITE[2], share))


def _blend(one: int, other: int, share: float) -> int:
    return round(one + (other - one) * share)


def _colony(draw: ImageDraw.ImageDraw, coral: Coral, colour: Colour, dice: random.Random) -> None:
    if coral.genotype.species == "Acropora hyacinthus":
        reach = 90 + dice.randint(-15, 25)
        draw.polygon([(225, 280), (255, 280), (250, 225), (230, 225)], fill=colour)
        draw.ellipse((240 - reach, 190, 240 + reach, 236), fill=colour, outline=_darker(colour), width=3)
        return
    thick, branches = (9, 11) if coral.genotype.species == "Acropora muricata" else (20, 9)
    for branch in range(branches):
        lean = math.radians(-65 + 130 * branch / (branches - 1) + dice.randint(-6, 6))
        length = dice.randint(80, 140) * (1.0 if thick == 9 else 0.75)
        tip = (240 + length * math.sin(lean), 282 - length * math.cos(lean))
        draw.line(((240, 282), tip), fill=colour if branch % 2 else _darker(colour), width=thick)
        draw.ellipse((tip[0] - thick / 2, tip[1] - thick / 2, tip[0] + thick / 2, tip[1] + thick / 2), fill=colour)


def _darker(colour: Colour) -> Colour:
    return (colour[0] * 3 // 4, colour[1] * 3 // 4, colour[2] * 3 // 4)


def _plate(draw: ImageDraw.ImageDraw, plate: str) -> None:
    draw.rectangle((330, 268, 450, 318), fill=(232, 208, 90), outline=(80, 70, 20), width=3)
    draw.text((342, 276), plate, fill=(30, 30, 30), font=ImageFont.load_default(32))


def _grain(image: Image.Image, dice: random.Random) -> Image.Image:
    """Drifting particles: without them no two photos would differ as real ones do."""
    noise = Image.frombytes("L", (WIDTH // 4, HEIGHT // 4), dice.randbytes(WIDTH * HEIGHT // 16))
    veil = noise.resize((WIDTH, HEIGHT), Image.Resampling.BICUBIC).filter(ImageFilter.GaussianBlur(1.5)).convert("RGB")
    return Image.blend(image, veil, 0.12)


def _jpeg(image: Image.Image, taken_at: datetime, camera: str) -> bytes:
    exif = Image.Exif()
    exif[_MODEL] = camera
    exif.get_ifd(_EXIF_IFD)[_TAKEN_AT] = taken_at.strftime("%Y:%m:%d %H:%M:%S")
    written = io.BytesIO()
    image.save(written, "JPEG", quality=QUALITY, exif=exif)
    return written.getvalue()
