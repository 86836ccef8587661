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

IMAGE_FORMATS = ("JPEG", "PNG", "WEBP")
MAX_IMAGE_BYTES = 20_000_000
MAX_IMAGE_PIXELS = 50_000_000
MAX_EDGE_PX = 2000  # of what is kept
THUMBNAIL_EDGE_PX = 480  # of what stands in lists
JPEG_QUALITY = 85
HEIF_BRANDS = frozenset(
    {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
)
DECODE_ERRORS = (OSError, SyntaxError, ValueError, EOFError, struct.error, MemoryError)
_decode_lock = Lock()
"""One at a time: a large one takes some hundreds of megabytes while it is unpacked."""

HEIC_MESSAGE = (
    "This is a HEIC picture, which cannot be read here. Set the camera to save JPEG,"
    " or save the picture as JPEG, and send that."
)
UNKNOWN_FORMAT_MESSAGE = (
    "This is no picture that can be read here: send a JPEG, PNG or WebP."
)
DAMAGED_MESSAGE = (
    "This picture is not whole: it broke off on its way, or is damaged. Send it again,"
    " or take another."
)
SEVERAL_IMAGES_MESSAGE = (
    "This file has several pictures in it: send the one that is meant."
)


class ImageError(ValueError):
    """What was sent cannot be kept as a photograph; says what would be right."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalisedImage:
    """A picture written anew.

    Attributes
    ----------
    whole, small : JPEG in sRGB with no metadata; `small` is for lists.
    width, height : of `whole`, upright. [px]
    """

    full: bytes
    thumbnail: bytes
    width: int
    height: int


def normalise_image(content: bytes) -> NormalisedImage:
    """Read a JPEG, PNG or WebP and write it anew.

    Raises
    ------
    PictureError
        If it is none of these, too large, not whole, or more than one picture.
    """
    require_image_size(len(content))
    with _decode_lock:
        whole = _decode(content)
        small = whole.copy()
        small.thumbnail((THUMBNAIL_EDGE_PX, THUMBNAIL_EDGE_PX))
        return NormalisedImage(
            full=_encode_jpeg(whole),
            thumbnail=_encode_jpeg(small),
            width=whole.width,
            height=whole.height,
        )


def require_image_size(size: int) -> None:
    """Refuse a file by its size, before it is read. [byte]

    Raises
    ------
    PictureError
        If there is nothing in it, or too much.
    """
    if not size:
        raise ImageError("This file is empty: send the photograph itself.")
    if size > MAX_IMAGE_BYTES:
        msg = (
            f"This file has {size / 1e6:.0f} MB; a photograph has at most "
            f"{MAX_IMAGE_BYTES / 1e6:.0f} MB. Send it smaller."
        )
        raise ImageError(msg)


def _decode(content: bytes) -> Image.Image:
    """Unpack, shrink, turn upright and flatten: RGB with nothing beside it."""
    image = _open_checked(content)
    try:
        image.draft("RGB", (MAX_EDGE_PX, MAX_EDGE_PX))
        image.load()
        turn = _orientation(image)
        image.thumbnail((MAX_EDGE_PX, MAX_EDGE_PX))
        flat = _rotate_upright(_convert_to_srgb(_flatten_on_white(image)), turn)
    except DECODE_ERRORS as fault:
        raise ImageError(DAMAGED_MESSAGE) from fault
    return flat


def _open_checked(content: bytes) -> Image.Image:
    """Read a picture's head, and refuse by it what must not be unpacked."""
    from PIL import Image

    too_many = (Image.DecompressionBombError, Image.DecompressionBombWarning)
    try:
        image = Image.open(BytesIO(content), formats=IMAGE_FORMATS)
    except too_many as fault:
        raise ImageError(_describe_too_many_pixels("more than 89 million")) from fault
    except DECODE_ERRORS as fault:
        raise ImageError(
            HEIC_MESSAGE if _is_heic(content) else UNKNOWN_FORMAT_MESSAGE
        ) from fault
    pixels = image.width * image.height
    if pixels > MAX_IMAGE_PIXELS:
        raise ImageError(_describe_too_many_pixels(f"{pixels / 1e6:.0f} million"))
    # A phone's JPEG may carry a second picture of the same; the first is the one.
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        raise ImageError(SEVERAL_IMAGES_MESSAGE)
    return image


def _describe_too_many_pixels(pixels: str) -> str:
    return (
        f"This picture has {pixels} pixels; a photograph has at most "
        f"{MAX_IMAGE_PIXELS / 1e6:.0f} million. Send it smaller."
    )


def _is_heic(content: bytes) -> bool:
    """Whether a file type box names a brand of HEIF [2]_."""
    if content[4:8] != b"ftyp":
        return False
    box = content[8 : min(int.from_bytes(content[:4], "big"), 64)]
    brands = {box[:4], *(box[at : at + 4] for at in range(8, len(box), 4))}
    return not brands.isdisjoint(HEIF_BRANDS)


def _orientation(image: Image.Image) -> int:
    """How it is to be turned [1]_; 1, as it stands, where that cannot be read."""
    try:
        return int(image.getexif().get(0x0112, 1))
    except (*DECODE_ERRORS, TypeError, UserWarning):
        return 1


def _rotate_upright(image: Image.Image, orientation: int) -> Image.Image:
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


def _flatten_on_white(image: Image.Image) -> Image.Image:
    """Lay what can be seen through on white paper."""
    from PIL import Image

    if not image.has_transparency_data:
        return image
    over = image.convert("RGBA")
    paper = Image.new("RGB", over.size, "white")
    paper.paste(over, mask=over.getchannel("A"))
    paper.info["icc_profile"] = image.info.get("icc_profile")
    return paper


def _convert_to_srgb(image: Image.Image) -> Image.Image:
    """Take the colours over into sRGB, and leave behind all that is not colour."""
    from PIL import Image

    plain = _convert_by_profile(image) or image.convert("RGB")
    bare = Image.new("RGB", plain.size)
    bare.paste(plain)
    return bare


def _convert_by_profile(image: Image.Image) -> Image.Image | None:
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
    except (ImageCms.PyCMSError, *DECODE_ERRORS, TypeError):
        return None


def _encode_jpeg(image: Image.Image) -> bytes:
    written = BytesIO()
    image.save(written, "JPEG", quality=JPEG_QUALITY, optimize=True)
    return written.getvalue()
