"""Pictures to send, drawn here: what a phone would make of them, and worse."""

import struct
import zlib
from io import BytesIO
from typing import Any

from PIL import Image

RED, GREEN, BLUE, WHITE = (200, 30, 30), (30, 160, 30), (30, 30, 200), (250, 250, 250)
CORNERS = (RED, GREEN, BLUE, WHITE)  # of an upright one: as it is read


def drawn(width: int = 120, height: int = 80) -> Image.Image:
    """Draw a picture with another colour in each corner."""
    picture = Image.new("RGB", (width, height))
    half = (width // 2, height // 2)
    for place, colour in enumerate(CORNERS):
        at = (half[0] * (place % 2), half[1] * (place // 2))
        picture.paste(Image.new("RGB", half, colour), at)
    return picture


def encoded(picture: Image.Image, kind: str = "JPEG", **options: Any) -> bytes:
    """Write a picture as a file."""
    written = BytesIO()
    if kind == "JPEG":
        options = {"quality": 95, "subsampling": 0, **options}
    picture.save(written, kind, **options)
    return written.getvalue()


def photo(width: int = 120, height: int = 80, **options: Any) -> bytes:
    """Return a JPEG as a phone would send it."""
    return encoded(drawn(width, height), **options)


def huge_png(width: int, height: int) -> bytes:
    """Return a PNG of few bytes that claims so many pixels, all of them black."""

    def chunk(kind: bytes, content: bytes) -> bytes:
        checked = kind + content
        size, check = (
            struct.pack(">I", len(content)),
            struct.pack(">I", zlib.crc32(checked)),
        )
        return size + checked + check

    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IEND", b"")
