"""Normalisation of uploaded photographs: orientation, size, colours, no metadata.

Every upload is decoded and written again as a JPEG in sRGB. Metadata of the camera
(place, device, owner) does not get into the record, and neither does a file that is
no image. An image that would take too much memory is refused by its header, before it
is decoded.

This module does not import Django.

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
MAX_EDGE_PX = 2000  # of the stored image
THUMBNAIL_EDGE_PX = 480  # of the small version for lists
JPEG_QUALITY = 85
HEIF_BRANDS = frozenset(
    {b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"}
)
DECODE_ERRORS = (OSError, SyntaxError, ValueError, EOFError, struct.error, MemoryError)
_decode_lock = Lock()
"""One image at a time: decoding a large one takes some hundreds of megabytes."""

HEIC_MESSAGE = (
    "HEIC images are not supported. Set the camera to JPEG, or save the image as JPEG,"
    " and send that."
)
UNKNOWN_FORMAT_MESSAGE = "This file is not a supported image. Send a JPEG, PNG or WebP."
DAMAGED_MESSAGE = (
    "This image is incomplete or damaged. Send it again, or take another photograph."
)
SEVERAL_IMAGES_MESSAGE = "This file contains several images. Send one image."


class ImageError(ValueError):
    """An upload that cannot be stored as a photograph; says how to fix it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class NormalisedImage:
    """A photograph as it is stored.

    Attributes
    ----------
    full, thumbnail : JPEG in sRGB without metadata; the thumbnail is for lists.
    width, height : of `full`, upright. [px]
    """

    full: bytes
    thumbnail: bytes
    width: int
    height: int


def normalise_image(content: bytes) -> NormalisedImage:
    """Decode a JPEG, PNG or WebP and encode it again.

    Raises
    ------
    PictureError
        If it is none of these, too large, damaged, or more than one image.
    """
    require_image_size(len(content))
    with _decode_lock:
        full = _decode(content)
        thumbnail = full.copy()
        thumbnail.thumbnail((THUMBNAIL_EDGE_PX, THUMBNAIL_EDGE_PX))
        return NormalisedImage(
            full=_encode_jpeg(full),
            thumbnail=_encode_jpeg(thumbnail),
            width=full.width,
            height=full.height,
        )


def require_image_size(size: int) -> None:
    """Refuse a file by its size before it is read. [byte]

    Raises
    ------
    PictureError
        If it is empty or too large.
    """
    if not size:
        raise ImageError("This file is empty. Send the photograph itself.")
    if size > MAX_IMAGE_BYTES:
        msg = (
            f"This file has {size / 1e6:.0f} MB; at most "
            f"{MAX_IMAGE_BYTES / 1e6:.0f} MB are allowed. Send a smaller one."
        )
        raise ImageError(msg)


def _decode(content: bytes) -> Image.Image:
    """Decode, shrink, rotate upright and flatten to plain RGB."""
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
    """Open an image by its header, and refuse what must not be decoded."""
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
    # A phone's JPEG (MPO) may contain a second view; the first one is meant.
    if image.format != "MPO" and getattr(image, "n_frames", 1) > 1:
        raise ImageError(SEVERAL_IMAGES_MESSAGE)
    return image


def _describe_too_many_pixels(pixels: str) -> str:
    return (
        f"This image has {pixels} pixels; at most "
        f"{MAX_IMAGE_PIXELS / 1e6:.0f} million are allowed. Send a smaller one."
    )


def _is_heic(content: bytes) -> bool:
    """Return whether the file type box names a brand of HEIF [2]_."""
    if content[4:8] != b"ftyp":
        return False
    box = content[8 : min(int.from_bytes(content[:4], "big"), 64)]
    brands = {box[:4], *(box[at : at + 4] for at in range(8, len(box), 4))}
    return not brands.isdisjoint(HEIF_BRANDS)


def _orientation(image: Image.Image) -> int:
    """Read the orientation tag [1]_; 1 (upright) where it cannot be read."""
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
    """Fill transparent areas with white."""
    from PIL import Image

    if not image.has_transparency_data:
        return image
    over = image.convert("RGBA")
    paper = Image.new("RGB", over.size, "white")
    paper.paste(over, mask=over.getchannel("A"))
    paper.info["icc_profile"] = image.info.get("icc_profile")
    return paper


def _convert_to_srgb(image: Image.Image) -> Image.Image:
    """Convert to sRGB, and drop everything that is not pixels."""
    from PIL import Image

    plain = _convert_by_profile(image) or image.convert("RGB")
    bare = Image.new("RGB", plain.size)
    bare.paste(plain)
    return bare


def _convert_by_profile(image: Image.Image) -> Image.Image | None:
    """Convert by the embedded colour profile; None where that is not possible."""
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
