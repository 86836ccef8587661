"""Normalisation of uploaded pictures.

Outside: the markers of a JPEG are those of ITU-T T.81 (1992), table B.1; orientation
is tag 0x0112 of Exif 2.32 (CIPA DC-008-2019), 4.6.4: the value names which sides of the
stored picture are its upper and its left one.
"""

import hashlib
import struct
from collections.abc import Iterator
from io import BytesIO

import pytest
from PIL import Image, ImageCms

from checks.services import image_normalisation
from checks.services.image_normalisation import ImageError, normalise_image
from tests.images import CORNERS, drawn, encoded, huge_png, photo

ORIENTATION = 0x0112
GPS = 0x8825
NEAR = 24  # of 255: what JPEG does to a colour


def open_image(content: bytes) -> Image.Image:
    return Image.open(BytesIO(content))


def corners(picture: Image.Image) -> list[tuple[int, ...]]:
    w, h = picture.size
    places = [(w // 4, h // 4), (3 * w // 4, h // 4), (w // 4, 3 * h // 4)]
    return [picture.getpixel(at) for at in [*places, (3 * w // 4, 3 * h // 4)]]  # type: ignore[misc]


def alike(one: tuple[int, ...], other: tuple[int, ...]) -> bool:
    return all(abs(a - b) <= NEAR for a, b in zip(one, other, strict=True))


def segments(jpeg: bytes) -> Iterator[tuple[int, bytes]]:
    """Walk the marker segments in front of the picture itself (T.81, B.1.1)."""
    assert jpeg[:2] == b"\xff\xd8"
    at = 2
    while True:
        marker, size = struct.unpack(">HH", jpeg[at : at + 4])
        yield marker, jpeg[at + 4 : at + 2 + size]
        at += 2 + size
        if marker == 0xFFDA:  # start of scan: the picture follows
            return


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "WEBP"])
def test_what_phones_and_screens_make_is_kept_as_jpeg(kind: str) -> None:
    kept = normalise_image(encoded(drawn(), kind))
    assert open_image(kept.full).format == open_image(kept.thumbnail).format == "JPEG"
    assert (kept.width, kept.height) == open_image(kept.full).size == (120, 80)
    assert all(map(alike, corners(open_image(kept.full)), CORNERS))


def _with_metadata() -> bytes:
    exif = Image.Exif()
    exif[0x010F] = "Maker of the phone"
    exif[0x013B] = "Name of its owner"
    exif.get_ifd(GPS)[1] = "N"
    exif.get_ifd(GPS)[2] = (46.0, 30.0, 12.5)
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    return encoded(
        drawn(),
        exif=exif,
        icc_profile=profile,
        comment=b"Taken by its owner",
        xmp=b"<x:xmpmeta>Name of its owner</x:xmpmeta>",
    )


def test_nothing_the_camera_wrote_beside_the_picture_is_kept() -> None:
    sent = _with_metadata()
    assert dict(open_image(sent).getexif().get_ifd(GPS))
    for word in (b"owner", b"Maker"):
        assert word in sent
    kept = normalise_image(sent)
    frame, tables, huffman, scan, jfif = 0xFFC0, 0xFFDB, 0xFFC4, 0xFFDA, 0xFFE0
    for content in (kept.full, kept.thumbnail):
        markers = [marker for marker, _ in segments(content)]
        assert set(markers) == {frame, tables, huffman, scan, jfif}
        assert b"owner" not in content
        assert not open_image(content).getexif()


@pytest.mark.parametrize(
    ("value", "upper_left_first"),
    [
        # Exif 4.6.4: 0th row and 0th column of what is stored are the picture's …
        (1, [0, 1, 2, 3]),  # top, left
        (2, [1, 0, 3, 2]),  # top, right
        (3, [3, 2, 1, 0]),  # bottom, right
        (4, [2, 3, 0, 1]),  # bottom, left
        (5, [0, 2, 1, 3]),  # left, top
        (6, [1, 3, 0, 2]),  # right, top
        (7, [3, 1, 2, 0]),  # right, bottom
        (8, [2, 0, 3, 1]),  # left, bottom
    ],
)
def test_every_orientation_is_turned_upright(
    value: int, upper_left_first: list[int]
) -> None:
    stored = Image.new("RGB", (120, 80) if value < 5 else (80, 120))
    half = (stored.width // 2, stored.height // 2)
    for place, corner in enumerate(upper_left_first):
        at = (half[0] * (place % 2), half[1] * (place // 2))
        stored.paste(Image.new("RGB", half, CORNERS[corner]), at)
    exif = Image.Exif()
    exif[ORIENTATION] = value
    kept = normalise_image(encoded(stored, exif=exif))
    assert (kept.width, kept.height) == (120, 80)
    assert all(map(alike, corners(open_image(kept.full)), CORNERS))
    assert all(map(alike, corners(open_image(kept.thumbnail)), CORNERS))


@pytest.mark.filterwarnings("ignore:Corrupt EXIF data")
def test_broken_metadata_does_not_cost_the_picture() -> None:
    broken = photo(exif=b"Exif\x00\x00II*\x00\xff\xff\xff\xff")
    assert normalise_image(broken).width == 120


def test_a_large_one_is_kept_smaller_and_a_small_one_as_it_is() -> None:
    large = normalise_image(photo(3000, 1500))
    assert (large.width, large.height) == (2000, 1000)
    assert open_image(large.thumbnail).size == (480, 240)
    little = normalise_image(photo(60, 40))
    assert (
        (little.width, little.height) == open_image(little.thumbnail).size == (60, 40)
    )


def test_what_can_be_seen_through_lies_on_white() -> None:
    clear = Image.new("RGBA", (40, 40), (0, 0, 0, 0))
    kept = normalise_image(encoded(clear, "PNG"))
    assert alike(open_image(kept.full).getpixel((20, 20)), (255, 255, 255))  # type: ignore[arg-type]


def _with_profile(profile: bytes) -> bytes:
    red = Image.new("RGB", (40, 40), (255, 0, 0))
    return encoded(red, icc_profile=profile)


def test_colours_of_another_profile_are_taken_over() -> None:
    """In a space whose red and blue colorants (ICC.1:2022, 9.2.35) are exchanged."""
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    other = (
        profile.replace(b"rXYZ", b"----")
        .replace(b"bXYZ", b"rXYZ")
        .replace(b"----", b"bXYZ")
    )
    for kept_of, colour in ((profile, (255, 0, 0)), (other, (0, 0, 255))):
        kept = open_image(normalise_image(_with_profile(kept_of)).full)
        assert alike(kept.getpixel((20, 20)), colour)  # type: ignore[arg-type]
        assert "icc_profile" not in kept.info


def test_a_broken_profile_does_not_cost_the_picture() -> None:
    kept = open_image(normalise_image(_with_profile(b"no profile at all")).full)
    assert alike(kept.getpixel((20, 20)), (255, 0, 0))  # type: ignore[arg-type]


def test_the_first_picture_of_a_phones_two_is_the_one() -> None:
    both = encoded(drawn(), "MPO", save_all=True, append_images=[drawn(60, 40)])
    assert open_image(both).format == "MPO"
    assert normalise_image(both).width == 120


@pytest.mark.parametrize("brand", [b"heic", b"mif1"])
def test_heic_is_refused_with_what_to_do(brand: bytes) -> None:
    heic = struct.pack(">I", 24) + b"ftyp" + brand + bytes(4) + b"mif1heic" + bytes(99)
    with pytest.raises(ImageError, match="Set the camera to JPEG"):
        normalise_image(heic)


@pytest.mark.parametrize(
    ("content", "told"),
    [
        (b"", "is empty"),
        (b"GIF89a nothing of ours", "Send a JPEG, PNG or WebP"),
        (b"<svg xmlns='http://www.w3.org/2000/svg'/>", "Send a JPEG, PNG or WebP"),
        (b"%PDF-1.7", "Send a JPEG, PNG or WebP"),
        (photo(600, 400)[:4000], "damaged"),
        (encoded(drawn(), "GIF"), "Send a JPEG, PNG or WebP"),
        (encoded(drawn(), "WEBP")[:60], "JPEG, PNG or WebP|damaged"),
        (huge_png(8000, 7000), "56 million pixels"),
        (huge_png(10_000, 10_000), "more than 89 million pixels"),
        (huge_png(60_000, 60_000), "more than 89 million pixels"),
        (bytes(20_000_001), "at most 20 MB"),
        (
            encoded(drawn(), "PNG", save_all=True, append_images=[drawn()]),
            "several images",
        ),
    ],
    ids=[
        *("empty", "not a picture", "SVG", "PDF", "broken off", "GIF", "half a WebP"),
        *("large", "larger", "a bomb", "too many bytes", "animated"),
    ],
)
def test_what_cannot_be_kept_is_refused_with_the_reason(
    content: bytes, told: str
) -> None:
    with pytest.raises(ImageError, match=told):
        normalise_image(content)


def test_the_same_picture_is_written_the_same() -> None:
    digests = {
        hashlib.sha256(normalise_image(photo()).full).hexdigest() for _ in range(2)
    }
    assert len(digests) == 1


def test_the_limits_are_above_what_is_kept() -> None:
    assert image_normalisation.MAX_EDGE_PX**2 < image_normalisation.MAX_IMAGE_PIXELS
