"""A picture as it may be kept: upright, of a sensible size, and nothing else in it.

Whatever comes in is unpacked and written anew as a JPEG in sRGB, so that nothing the
camera wrote beside the picture (where it was taken, with what, by whom) gets into the
record, and so that nothing but a picture can. What would unpack to more than a server
has room for is refused by its head, before it is unpacked.

Knows nothing of Django.

References
----------
.. [1] Exif 2.32 (CIPA DC-008-2019), table 4 and 4.6.4: orientation, tag 0x0112.
.. [2] ISO/IEC 14496-12, 4.3: the file type box and its brands; ISO/IEC 23008-12,
   annex B.4: the brands of HEIF and HEVC.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass
from io import BytesIO
from threading import Lock
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from PIL import Image

FORMATS = ("JPEG", "PNG", "WEBP")
MOST_BYTES = 20_000_000
MOST_PIXELS = 50_000_000
LONGEST_PX = 2000  # of what is kept
SMALL_PX = 480  # of what stands in lists
QUALITY = 85
BRANDS = frozenset(
    {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
)
UNREADABLE = (OSError, SyntaxError, ValueError, EOFError, struct.error, MemoryError)
_unpacking = Lock()
"""One at a time: a large one takes some hundreds of megabytes while it is unpacked."""

HEIC = (
    "This is a HEIC picture, which cannot be read here. Set the camera to save JPEG,"
    " or save the picture as JPEG, and send that."
)
NO_PICTURE = "This is no picture that can be read here: send a JPEG, PNG or WebP."
BROKEN = (
    "This picture is not whole: it broke off on its way, or is damaged. Send it again,"
    " or take another."
)
MOVING = "This file has several pictures in it: send the one that is meant."


class PictureError(ValueError):
    """What was sent cannot be kept as a photograph; says what would be right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A picture written anew.

    Attributes
    ----------
    whole, small : JPEG in sRGB with no metadata; `small` is for lists.
    width, height : of `whole`, upright. [px]
    """

    whole: bytes
    small: bytes
    width: int
    height: int


def read_picture(content: bytes) -> Picture:
    """Read a JPEG, PNG or WebP and write it anew.

    Raises
    ------
    PictureError
        If it is none of these, too large, not whole, or more than one picture.
    """
    require_size(len(content))
    with _unpacking:
        whole = _unpacked(content)
        small = whole.copy()
        small.thumbnail((SMALL_PX, SMALL_PX))
        return Picture(
            whole=_written(whole),
            small=_written(small),
            width=whole.width,
            height=whole.height,
        )


def require_size(size: int) -> None:
    """Refuse a file by its size, before it is read. [byte]

    Raises
    ------
    PictureError
        If there is nothing in it, or too much.
    """
    if not size:
        raise PictureError("This file is empty: send the photograph itself.")
    if size > MOST_BYTES:
        msg = (
            f"This file has {size / 1e6:.0f} MB; a photograph has at most "
            f"{MOST_BYTES / 1e6:.0f} MB. Send it smaller."
        )
        raise PictureError(msg)


def _unpacked(content: bytes) -> Image.Image:
    """Unpack, shrink, turn upright and flatten: RGB with nothing beside it."""
    image = _opened(content)
    try:
        image.draft("RGB", (LONGEST_PX, LONGEST_PX))
        image.load()
        turn = _orientation(image)
        image.thumbnail((LONGEST_PX, LONGEST_PX))
        flat = _upright(_in_srgb(_on_white(image)), turn)
    except UNREADABLE as fault:
        raise PictureError(BROKEN) from fault
    return flat


def _opened(content: bytes) -> Image.Image:
    """Read a picture's head, and refuse by it what must not be unpacked."""
    from PIL import Image

    too_many = (Image.DecompressionBombError, Image.DecompressionBombWarning)
    try:
        image = Image.open(BytesIO(content), formats=FORMATS)
    except too_many as fault:
        raise PictureError(_too_many("more than 89 million")) from fault
    except UNREADABLE as fault:
        raise PictureError(HEIC if _is_heic(content) else NO_PICTURE) from fault
    pixels = image.width * image.height
    if pixels > MOST_PIXELS:
        raise PictureError(_too_many(f"{pixels / 1e6:.0f} million"))
    # A phone's JPEG may carry a second picture of the same; the first is the one.
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        raise PictureError(MOVING)
    return image


def _too_many(pixels: str) -> str:
    return (
        f"This picture has {pixels} pixels; a photograph has at most "
        f"{MOST_PIXELS / 1e6:.0f} million. Send it smaller."
    )


def _is_heic(content: bytes) -> bool:
    """Whether a file type box names a brand of HEIF [2]_."""
    if content[4:8] != b"ftyp":
        return False
    box = content[8 : min(int.from_bytes(content[:4], "big"), 64)]
    brands = {box[:4], *(box[at : at + 4] for at in range(8, len(box), 4))}
    return not brands.isdisjoint(BRANDS)


def _orientation(image: Image.Image) -> int:
    """How it is to be turned [1]_; 1, as it stands, where that cannot be read."""
    try:
        return int(image.getexif().get(0x0112, 1))
    except (*UNREADABLE, TypeError, UserWarning):
        return 1


def _upright(image: Image.Image, orientation: int) -> Image.Image:
    from PIL.Image import Transpose

    turns = {
        2: Transpose.FLIP_LEFT_RIGHT,
        3: Transpose.ROTATE_180,
        4: Transpose.FLIP_TOP_BOTTOM,
        5: Transpose.TRANSPOSE,
        6: Transpose.ROTATE_270,
        7: Transpose.TRANSVERSE,
        8: Transpose.ROTATE_90,
    }
    turn = turns.get(orientation)
    return image if turn is None else image.transpose(turn)


def _on_white(image: Image.Image) -> Image.Image:
    """Lay what can be seen through on white paper."""
    from PIL import Image

    if not image.has_transparency_data:
        return image
    over = image.convert("RGBA")
    paper = Image.new("RGB", over.size, "white")
    paper.paste(over, mask=over.getchannel("A"))
    paper.info["icc_profile"] = image.info.get("icc_profile")
    return paper


def _in_srgb(image: Image.Image) -> Image.Image:
    """Take the colours over into sRGB, and leave behind all that is not colour."""
    from PIL import Image

    plain = _by_its_profile(image) or image.convert("RGB")
    bare = Image.new("RGB", plain.size)
    bare.paste(plain)
    return bare


def _by_its_profile(image: Image.Image) -> Image.Image | None:
    """Convert by the colour profile that came with it; None where that cannot be."""
    from PIL import ImageCms

    profile = image.info.get("icc_profile")
    if not profile:
        return None
    try:
        return ImageCms.profileToProfile(
            image,
            ImageCms.ImageCmsProfile(BytesIO(profile)),
            ImageCms.createProfile("sRGB"),
            outputMode="RGB",
        )
    except (ImageCms.PyCMSError, *UNREADABLE, TypeError):
        return None


def _written(image: Image.Image) -> bytes:
    written = BytesIO()
    image.save(written, "JPEG", quality=QUALITY, optimize=True)
    return written.getvalue()
