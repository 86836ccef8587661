"""Spaces between frame lines and columns, and exact texts of lengths."""

import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from fractions import Fraction

from core.units import (
    MM_PER_UNIT,
    Length,
    LengthUnit,
    UnitError,
    format_length,
    parse_length,
)

LengthInput = str | int | float | Decimal | Length
SpacingInput = str | Sequence[LengthInput]

MAX_SPACES = 200

_REPEATED = re.compile(r"(?P<times>[0-9]{1,3}) *@ *(?P<each>.+)")
_TYPEWRITER_MARKS = str.maketrans("\u2032\u2033\u2044\u2212", "'\"/-")


def parse_spacing(
    text: SpacingInput, unit: LengthUnit | None = None
) -> tuple[Length, ...]:
    """Parse spaces in order, from a list of lengths or from text: `20', 3 @ 25'`.

    Raises
    ------
    UnitError
        Names the space, what is wrong, and what would be right.
    """
    parts: list[LengthInput]
    if isinstance(text, str):
        parts = [part.strip() for part in re.split(r"[,;\n]", text) if part.strip()]
    else:
        parts = list(text)
    spaces: list[Length] = []
    for number, part in enumerate(parts, start=1):
        found = _REPEATED.fullmatch(part) if isinstance(part, str) else None
        times = int(found["times"]) if found else 1
        try:
            space = parse_length_input(found["each"] if found else part, unit)
        except UnitError as error:
            raise UnitError(f"Space {number}: {error}") from None
        if space.mm <= 0:
            raise UnitError(f"Space {number} must be greater than zero.")
        if times < 1 or len(spaces) + times > MAX_SPACES:
            raise UnitError(f"Space {number}: 1 to {MAX_SPACES} spaces are allowed.")
        spaces.extend([space] * times)
    if not spaces:
        raise UnitError("This is empty; enter the spaces, such as 20', 3 @ 25'.")
    return tuple(spaces)


def parse_length_input(value: LengthInput, unit: LengthUnit | None) -> Length:
    """Parse a length, unless it is parsed already. [mm]"""
    return value if isinstance(value, Length) else parse_length(value, unit)


def exact_length_writer(unit: LengthUnit) -> Callable[[Decimal], str]:
    """Return a function that writes lengths exactly, in feet and inches if possible."""

    def write(mm: Decimal) -> str:
        sixty_fourths = Fraction(mm) / MM_PER_UNIT["in"] * 64
        if unit in ("in", "ft") and sixty_fourths.denominator == 1:
            text = format_length(mm, "imperial", 64)
            return text.translate(_TYPEWRITER_MARKS)
        return f"{mm.normalize():f} mm"

    return write
