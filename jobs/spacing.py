"""Lengths and spacings as people type them into a form."""

import re
from collections.abc import Sequence
from decimal import Decimal
from itertools import chain

from core.units import Length, LengthUnit, UnitError, format_length, parse_length

MOST_SPACES = 400
SAME = Decimal("0.01")  # mm: sixty-fourths written as decimals may miss by a hair

_BARE = re.compile(r"\s*[-+]?[0-9][0-9 ./]*\s*|\s*\.[0-9]+\s*")
_REPEATED = re.compile(r"\s*(?P<times>[0-9]{1,4})\s*@\s*(?P<each>.+)", re.DOTALL)


def typed_length(text: str, unit: LengthUnit) -> Length:
    """Read a length; one without a unit is in `unit`.

    Raises
    ------
    core.units.UnitError
        What is wrong and what would be right.
    """
    return parse_length(f"{text.strip()} {unit}" if _BARE.fullmatch(text) else text)


def typed_spacing(text: str, unit: LengthUnit) -> tuple[Length, ...]:
    """Read spaces in their order, such as `20', 3 @ 25', 20'`.

    Raises
    ------
    core.units.UnitError
        Which space is wrong and what would be right.
    """
    parts = [part for part in re.split(r"[,;\n]", text) if part.strip()]
    spaces = tuple(
        chain.from_iterable(
            _repeated(number, part, unit) for number, part in enumerate(parts, start=1)
        )
    )
    if not spaces:
        raise UnitError("Nothing is written; write the spaces, such as 20', 3 @ 25'.")
    if len(spaces) > MOST_SPACES:
        raise UnitError(
            f"These are {len(spaces)} spaces; at most {MOST_SPACES} can be drawn."
        )
    return spaces


def must_fill(
    spaces: Sequence[Length], length: Length, unit: LengthUnit, what: str
) -> None:
    """Refuse spaces that do not add up to a length.

    Raises
    ------
    core.units.UnitError
        By how much they miss.
    """
    total = sum((space.mm for space in spaces), Decimal(0))
    over = total - length.mm
    if abs(over) <= SAME:
        return
    style = "imperial" if unit in ("in", "ft") else "metric"
    raise UnitError(
        f"These add up to {format_length(total, style)}, "
        f"{format_length(abs(over), style)} {'more' if over > 0 else 'less'} than the "
        f"{what} of {format_length(length.mm, style)}."
    )


def _repeated(number: int, part: str, unit: LengthUnit) -> list[Length]:
    found = _REPEATED.fullmatch(part)
    times, text = (int(found["times"]), found["each"]) if found else (1, part)
    try:
        space = typed_length(text, unit)
    except UnitError as error:
        raise UnitError(f"Space {number}: {error}") from None
    if space.mm <= 0:
        raise UnitError(f"Space {number} has to be longer than zero.")
    if times == 0:
        raise UnitError(f"Space {number} is there 0 times; leave it out.")
    return [space] * times
