"""Rotations of a plate as remedies write them."""

from math import degrees


def _is_visible_rotation(rotation_rad: float) -> bool:
    """Check that a rotation is not zero when written to a tenth of a degree."""
    return abs(degrees(rotation_rad)) >= 0.05


def describe_rotation(rotation_rad: float, decimals: int = 1) -> str:
    """Describe a rotation, seen from above."""
    way = "counter-clockwise" if rotation_rad > 0.0 else "clockwise"
    return f"turned {abs(degrees(rotation_rad)):.{decimals}f}° {way}"


def describe_seat(rotation_rad: float) -> str:
    """Describe the rotation of a plate, if visible: the column rotates with it."""
    return (
        f", {describe_rotation(rotation_rad)}"
        if _is_visible_rotation(rotation_rad)
        else ""
    )
