"""Photographs of the demo's work, drawn: nobody took them, and they show no place.

Each is a picture of concrete from above or from the side with what a remedy leaves
behind: washers over opened holes, shims under a plate, a new rod.
"""

from collections.abc import Callable
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw

WIDE, HIGH = 960, 720  # px
FINE = 2  # drawn so many times larger, for smooth edges
CONCRETE, SHADE, STEEL, ZINC, DARK = (
    (176, 172, 162),
    (120, 117, 110),
    (122, 64, 50),
    (198, 202, 206),
    (52, 52, 54),
)
Colour = tuple[int, int, int]
Draw = Callable[["ImageDraw", np.random.Generator], None]


def photograph_of(remedy: str, mark: str, seed: int) -> tuple[bytes, str] | None:
    """Draw what a remedy leaves at a position; None where nothing is to be seen.

    Returns
    -------
    A JPEG, and its caption.
    """
    drawn = SEEN.get(remedy)
    if drawn is None:
        return None
    draw, words = drawn
    return _taken(draw, seed), words.format(mark)


def _taken(draw: Draw, seed: int) -> bytes:
    """Draw on concrete with its grain, and write it as a phone would."""
    from PIL import Image, ImageDraw

    rng = np.random.default_rng(seed)
    coarse = rng.normal(0.0, 7.0, (HIGH // 8, WIDE // 8, 1))
    ground = np.clip(np.array(CONCRETE) + coarse, 0, 255).astype(np.uint8)
    picture = Image.fromarray(ground).resize((WIDE * FINE, HIGH * FINE))
    draw(ImageDraw.Draw(picture), rng)
    written = BytesIO()
    picture.resize((WIDE, HIGH)).save(written, "JPEG", quality=80)
    return written.getvalue()


def _washers(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """A plate from above: four rods, each with a square washer over its hole."""
    _plate(pen)
    for x, y in ((330, 240), (630, 240), (330, 480), (630, 480)):
        off = rng.uniform(-9.0, 9.0, 2)
        _box(pen, x + off[0], y + off[1], 60, 60, ZINC)
        _nut(pen, x + off[0], y + off[1])


def _taped(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """Four rods as they stand, and a tape laid across two of them."""
    for x, y in ((330, 240), (630, 240), (330, 480), (630, 480)):
        off = rng.uniform(-14.0, 14.0, 2)
        _disc(pen, x + off[0], y + off[1], 26, STEEL)
        _disc(pen, x + off[0], y + off[1], 16, SHADE)
    _rect(pen, 0, 500, WIDE, 548, (226, 196, 70))
    for place in range(0, WIDE, 24):
        deep = 26 if place % 96 else 40
        _rect(pen, place, 500, place + 2, 500 + deep, DARK)


def _new_rod(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """Four rods in concrete, one of them new, in a ring of fresh adhesive."""
    for place, (x, y) in enumerate(((330, 240), (630, 240), (330, 480), (630, 480))):
        if place == 1:
            _disc(pen, x, y, 52, (92, 96, 104))
            stub = rng.uniform(70.0, 95.0)
            _disc(pen, x + stub, y - 20, 20, DARK)
        _disc(pen, x, y, 26, ZINC if place == 1 else STEEL)
        _disc(pen, x, y, 16, SHADE)


def _shims(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """A pad from the side: shims between the concrete and the plate."""
    _rect(pen, 0, 470, WIDE, HIGH, SHADE)
    top = 470.0
    for _ in range(int(rng.integers(2, 5))):
        thick = float(rng.choice([8.0, 14.0, 22.0]))
        _rect(pen, 330, top - thick, 630, top - 2, ZINC)
        top -= thick
    _rect(pen, 250, top - 34, 710, top, STEEL)
    _rect(pen, 455, 0, 505, top - 34, STEEL)
    for x in (310, 650):
        _rect(pen, x - 13, top - 120, x + 13, 470, DARK)
        _rect(pen, x - 34, top - 74, x + 34, top - 34, ZINC)


def _plate(pen: "ImageDraw") -> None:
    _box(pen, 488, 368, 250, 190, SHADE)
    _box(pen, 480, 360, 250, 190, STEEL)
    _rect(pen, 465, 170, 495, 550, (96, 50, 40))


def _nut(pen: "ImageDraw", x: float, y: float) -> None:
    corners = [
        (FINE * (x + 40 * np.cos(turn)), FINE * (y + 40 * np.sin(turn)))
        for turn in np.arange(6) * np.pi / 3 + 0.3
    ]
    pen.polygon(corners, fill=(150, 154, 158), outline=DARK, width=FINE * 2)
    _disc(pen, x, y, 22, DARK)


def _box(
    pen: "ImageDraw", x: float, y: float, wide: float, high: float, colour: Colour
) -> None:
    _rect(pen, x - wide, y - high, x + wide, y + high, colour)


def _rect(
    pen: "ImageDraw", x0: float, y0: float, x1: float, y1: float, colour: Colour
) -> None:
    box = [FINE * at for at in (x0, y0, x1, y1)]
    pen.rectangle(box, fill=colour, outline=DARK, width=FINE * 2)


def _disc(pen: "ImageDraw", x: float, y: float, radius: float, colour: Colour) -> None:
    box = [FINE * at for at in (x - radius, y - radius, x + radius, y + radius)]
    pen.ellipse(box, fill=colour, outline=DARK, width=FINE * 2)


SEEN: dict[str, tuple[Draw, str]] = {
    "ream": (_washers, "Washers over the reamed holes at {}"),
    "slot": (_washers, "Washers over the slotted holes at {}"),
    "re_anchor": (_new_rod, "New rod at {}, the old one cut off"),
    "refer": (_new_rod, "Put right at {} by the sketch"),
    "shim": (_shims, "Shims under the plate at {}"),
    "remeasure": (_taped, "Tape held on the rods at {}"),
}
"""By remedy: what is drawn, and what is said of it."""
