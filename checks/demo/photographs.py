"""Drawn photographs of the demo's work; they show no real place.

Each is a picture of concrete from above or from the side with what a remedy leaves
behind: washers over opened holes, shims under a plate, a new rod.
"""

from collections.abc import Callable
from io import BytesIO
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from PIL.ImageDraw import ImageDraw

WIDTH_PX, HEIGHT_PX = 960, 720
SUPERSAMPLING = 2  # drawn larger and reduced, for smooth edges
CONCRETE, SHADE, STEEL, ZINC, DARK = (
    (176, 172, 162),
    (120, 117, 110),
    (122, 64, 50),
    (198, 202, 206),
    (52, 52, 54),
)
Colour = tuple[int, int, int]
DrawFunction = Callable[["ImageDraw", np.random.Generator], None]


def draw_photograph(remedy: str, mark: str, seed: int) -> tuple[bytes, str] | None:
    """Draw the result of a remedy at a position; None where nothing is visible.

    Returns
    -------
    A JPEG, and its caption.
    """
    picture = REMEDY_PICTURES.get(remedy)
    if picture is None:
        return None
    draw, caption = picture
    return _render_jpeg(draw, seed), caption.format(mark)


def _render_jpeg(draw: DrawFunction, seed: int) -> bytes:
    """Draw on grained concrete and write a JPEG."""
    # Pillow is heavy: it is imported on use, not when the program starts.
    from PIL import Image, ImageDraw

    rng = np.random.default_rng(seed)
    coarse = rng.normal(0.0, 7.0, (HEIGHT_PX // 8, WIDTH_PX // 8, 1))
    ground = np.clip(np.array(CONCRETE) + coarse, 0, 255).astype(np.uint8)
    picture = Image.fromarray(ground).resize(
        (WIDTH_PX * SUPERSAMPLING, HEIGHT_PX * SUPERSAMPLING)
    )
    draw(ImageDraw.Draw(picture), rng)
    written = BytesIO()
    picture.resize((WIDTH_PX, HEIGHT_PX)).save(written, "JPEG", quality=80)
    return written.getvalue()


def _draw_washers(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """Draw a plate from above: four rods, each with a square washer over its hole."""
    _draw_plate(pen)
    for x, y in ((330, 240), (630, 240), (330, 480), (630, 480)):
        off = rng.uniform(-9.0, 9.0, 2)
        _draw_box(pen, x + off[0], y + off[1], 60, 60, ZINC)
        _draw_nut(pen, x + off[0], y + off[1])


def _draw_tape(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """Draw four rods and a tape across two of them."""
    for x, y in ((330, 240), (630, 240), (330, 480), (630, 480)):
        off = rng.uniform(-14.0, 14.0, 2)
        _draw_disc(pen, x + off[0], y + off[1], 26, STEEL)
        _draw_disc(pen, x + off[0], y + off[1], 16, SHADE)
    _draw_rectangle(pen, 0, 500, WIDTH_PX, 548, (226, 196, 70))
    for place in range(0, WIDTH_PX, 24):
        deep = 26 if place % 96 else 40
        _draw_rectangle(pen, place, 500, place + 2, 500 + deep, DARK)


def _draw_new_rod(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """Draw four rods in concrete, one of them new, in a ring of fresh adhesive."""
    for place, (x, y) in enumerate(((330, 240), (630, 240), (330, 480), (630, 480))):
        if place == 1:
            _draw_disc(pen, x, y, 52, (92, 96, 104))
            stub = rng.uniform(70.0, 95.0)
            _draw_disc(pen, x + stub, y - 20, 20, DARK)
        _draw_disc(pen, x, y, 26, ZINC if place == 1 else STEEL)
        _draw_disc(pen, x, y, 16, SHADE)


def _draw_shims(pen: "ImageDraw", rng: np.random.Generator) -> None:
    """Draw a pad from the side: shims between the concrete and the plate."""
    _draw_rectangle(pen, 0, 470, WIDTH_PX, HEIGHT_PX, SHADE)
    top = 470.0
    for _ in range(int(rng.integers(2, 5))):
        thick = float(rng.choice([8.0, 14.0, 22.0]))
        _draw_rectangle(pen, 330, top - thick, 630, top - 2, ZINC)
        top -= thick
    _draw_rectangle(pen, 250, top - 34, 710, top, STEEL)
    _draw_rectangle(pen, 455, 0, 505, top - 34, STEEL)
    for x in (310, 650):
        _draw_rectangle(pen, x - 13, top - 120, x + 13, 470, DARK)
        _draw_rectangle(pen, x - 34, top - 74, x + 34, top - 34, ZINC)


def _draw_plate(pen: "ImageDraw") -> None:
    _draw_box(pen, 488, 368, 250, 190, SHADE)
    _draw_box(pen, 480, 360, 250, 190, STEEL)
    _draw_rectangle(pen, 465, 170, 495, 550, (96, 50, 40))


def _draw_nut(pen: "ImageDraw", x: float, y: float) -> None:
    corners = [
        (
            SUPERSAMPLING * (x + 40 * np.cos(turn)),
            SUPERSAMPLING * (y + 40 * np.sin(turn)),
        )
        for turn in np.arange(6) * np.pi / 3 + 0.3
    ]
    pen.polygon(corners, fill=(150, 154, 158), outline=DARK, width=SUPERSAMPLING * 2)
    _draw_disc(pen, x, y, 22, DARK)


def _draw_box(
    pen: "ImageDraw", x: float, y: float, wide: float, high: float, colour: Colour
) -> None:
    _draw_rectangle(pen, x - wide, y - high, x + wide, y + high, colour)


def _draw_rectangle(
    pen: "ImageDraw", x0: float, y0: float, x1: float, y1: float, colour: Colour
) -> None:
    box = [SUPERSAMPLING * at for at in (x0, y0, x1, y1)]
    pen.rectangle(box, fill=colour, outline=DARK, width=SUPERSAMPLING * 2)


def _draw_disc(
    pen: "ImageDraw", x: float, y: float, radius: float, colour: Colour
) -> None:
    box = [
        SUPERSAMPLING * at for at in (x - radius, y - radius, x + radius, y + radius)
    ]
    pen.ellipse(box, fill=colour, outline=DARK, width=SUPERSAMPLING * 2)


REMEDY_PICTURES: dict[str, tuple[DrawFunction, str]] = {
    "new_plate": (_draw_washers, "Plate punched to the rods at {}"),
    "ream": (_draw_washers, "Washers over the enlarged holes at {}"),
    "slot": (_draw_washers, "Washers over the slotted holes at {}"),
    "re_anchor": (_draw_new_rod, "New rod at {}, the old one cut off"),
    "refer": (_draw_new_rod, "Repair at {} by the sketch"),
    "shim": (_draw_shims, "Shims under the plate at {}"),
    "remeasure": (_draw_tape, "Tape held on the rods at {}"),
}
"""The drawing and the caption of each remedy."""
