"""Lengths: parsing of the text that people type into millimetres, and formatting.

Units are converted here and in `core/quantities.py` only. Parsing is exact: rational
arithmetic, rounded once to six decimals of a millimetre.

Feet and inches are the international ones, 1 in = 25.4 mm exactly (NIST SP 811
(2008), B.6).
"""

import math
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache
from typing import Literal, get_args

LengthUnit = Literal["in", "ft", "mm", "cm", "m"]
LengthStyle = Literal["imperial", "decimal_feet", "inches", "metric"]

MM_PER_UNIT: dict[str, Fraction] = {
    "in": Fraction("25.4"),
    "ft": Fraction("304.8"),
    "mm": Fraction(1),
    "cm": Fraction(10),
    "m": Fraction(1000),
}
MM_PER_SURVEY_FOOT = Fraction(1_200_000, 3937)
"""The U.S. survey foot, 1200/3937 m exactly (NIST SP 811 (2008), B.6); used only by
survey points. [mm]"""

PSI_PER_MPA = 145.037738  # 1 psi = 6894.757 Pa: NIST SP 811 (2008), B.8
MAX_LENGTH_MM = Fraction(10_000_000)
COARSEST_RESOLUTION_MM = Fraction("3.175")
FINEST_RESOLUTION_MM = Fraction("0.000001")
MAX_TEXT_LENGTH = 60
LIMIT_SLACK_MM = 1e-6  # an excess over a limit that still counts as on it
FINEST_DENOMINATOR = 64

LENGTH_EXAMPLES = '31\'-7 1/2", 4 1/2", 5/8 in, 31 ft 7.5 in, 7.125 m or 7125 mm'


class UnitError(ValueError):
    """A quantity that cannot be parsed; says what is wrong and how to fix it."""


@dataclass(frozen=True, slots=True)
class Length:
    """A length as typed, in millimetres, with its resolution.

    Attributes
    ----------
    text : str
        As typed; a bare number with its unit.
    mm : Decimal
        Rounded once to six decimals. [mm]
    resolution_mm : Decimal
        The last fraction or decimal as typed, but at most 1/8 in: a half read on a
        tape with sixteenths is 8/16. [mm]
    """

    text: str
    mm: Decimal
    resolution_mm: Decimal


# ---- lengths ----------------------------------------------------------------

_FRACTION_TEXTS = {
    "¼": "1/4", "½": "1/2", "¾": "3/4", "⅐": "1/7", "⅑": "1/9", "⅒": "1/10",
    "⅓": "1/3", "⅔": "2/3", "⅕": "1/5", "⅖": "2/5", "⅗": "3/5", "⅘": "4/5",
    "⅙": "1/6", "⅚": "5/6", "⅛": "1/8", "⅜": "3/8", "⅝": "5/8", "⅞": "7/8",
}  # fmt: skip
_PLAIN_CHARACTERS = str.maketrans(
    {
        "\u2032": "'",  # prime
        "\u2019": "'",  # right single quotation mark
        "\u2033": '"',  # double prime
        "\u201d": '"',  # right double quotation mark
        "\u2044": "/",  # fraction slash
        "\u2212": "-",  # minus
        "\u2010": "-",  # hyphen
        "\u2011": "-",  # non-breaking hyphen
        "\u00a0": " ",  # no-break space
        "\u2007": " ",  # figure space
        "\u202f": " ",  # narrow no-break space
    }
)
_VULGAR_FRACTIONS = str.maketrans(_FRACTION_TEXTS)
_VULGAR_CLASS = f"[{''.join(_FRACTION_TEXTS)}]"
_VULGAR_BOUNDARY = re.compile(
    f"(?<=[0-9])(?={_VULGAR_CLASS})|(?<={_VULGAR_CLASS})(?=[0-9])"
)

_NUMBER = r"(?:[0-9]+ +[0-9]+/[0-9]+|[0-9]+/[0-9]+|[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_ONE_UNIT = re.compile(rf"(?P<number>{_NUMBER}) *(?P<unit>'|\"|ft|in|mm|cm|m)")
_FEET_INCHES = re.compile(
    rf"(?P<feet>{_NUMBER}) *(?:'|ft)(?P<gap>-? *)(?P<inches>{_NUMBER}) *(?:\"|in)"
)


def parse_length(
    value: str | int | float | Decimal, unit: LengthUnit | None = None
) -> Length:
    """Parse a length, as typed or as a bare number in a unit.

    Parameters
    ----------
    value : str, int, float or Decimal
        Text that carries its own unit, or a number in `unit`.
    unit : {"in", "ft", "mm", "cm", "m"}, optional
        Unit of a bare number. It does not apply to text.

    Returns
    -------
    Length
        [mm], exact but for one rounding to six decimals, half to even.

    Raises
    ------
    UnitError
        Says what is wrong and how to fix it.
    """
    if isinstance(value, str):
        return _parse_length_text(value)
    return _make_length(*_parse_number(value, unit))


@lru_cache(maxsize=8192)
def _parse_length_text(text: str) -> Length:
    """Parse a text, cached: a building repeats the same lengths."""
    return _make_length(*_parse_text(text), text.strip())


def _make_length(exact: Fraction, resolution: Fraction, text: str) -> Length:
    if abs(exact) > MAX_LENGTH_MM:
        raise UnitError(f"{quote(text)} is longer than 10 km.")
    resolution = min(max(resolution, FINEST_RESOLUTION_MM), COARSEST_RESOLUTION_MM)
    return Length(
        text=text,
        mm=_round_to_decimal(exact),
        resolution_mm=_round_to_decimal(resolution),
    )


def _round_to_decimal(exact: Fraction) -> Decimal:
    return Decimal(round(exact * 1_000_000)).scaleb(-6)


def quote(text: str) -> str:
    """Quote a text for a message, truncated if it is long."""
    shown = text if len(text) <= MAX_TEXT_LENGTH else text[:MAX_TEXT_LENGTH] + "…"
    return f"“{shown}”"


def _parse_number(
    value: object, unit: LengthUnit | None
) -> tuple[Fraction, Fraction, str]:
    if isinstance(value, bool) or not isinstance(value, int | float | Decimal):
        raise UnitError(
            f"A length is a number, or text with a unit such as {LENGTH_EXAMPLES}; "
            f"this is {name_json_type(value)}."
        )
    if unit is None:
        raise UnitError(f"The number {value} has no unit; write {LENGTH_EXAMPLES}.")
    if unit not in MM_PER_UNIT:
        raise UnitError(f"A length unit is in, ft, mm, cm or m, not {unit!r}.")
    number = Decimal(float.__repr__(value) if isinstance(value, float) else value)
    if not number.is_finite():
        raise UnitError(f"A length is a finite number; this is {number}.")
    if number and number.adjusted() > 12:
        raise UnitError("This number is longer than 10 km in any unit.")
    if number.adjusted() < -20:
        number = Decimal(0)  # far below the last decimal that is stored
    if number == number.to_integral_value():
        number = number.quantize(Decimal(1))  # 7.0 and 7 are one number in JSON
    scale = MM_PER_UNIT[unit]
    exponent = int(number.as_tuple().exponent)
    step = Fraction(10) ** exponent
    return Fraction(number) * scale, step * scale, f"{number} {unit}"


def name_json_type(value: object) -> str:
    """Name the type of a JSON value for a message."""
    if value is None:
        return "null"
    if isinstance(value, bool):
        return "true or false"
    if isinstance(value, str):
        return "text"
    if isinstance(value, int | float | Decimal):
        return "a number"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, dict):
        return "an object"
    return f"a {type(value).__name__}"


def _parse_text(text: str) -> tuple[Fraction, Fraction]:
    if len(text) > MAX_TEXT_LENGTH:
        raise UnitError(
            f"{quote(text)} is too long for a length; write {LENGTH_EXAMPLES}, "
            f"in at most {MAX_TEXT_LENGTH} characters."
        )
    plain = _VULGAR_BOUNDARY.sub(
        " ", text.translate(_PLAIN_CHARACTERS).strip()
    ).translate(_VULGAR_FRACTIONS)
    sign = -1 if plain.startswith("-") else 1
    body = plain[1:] if plain[:1] in ("-", "+") else plain
    if found := _ONE_UNIT.fullmatch(body):
        unit = {"'": "ft", '"': "in"}.get(found["unit"], found["unit"])
        number, step = _parse_amount(found["number"], text)
        if "/" in found["number"] and unit in ("mm", "cm", "m"):
            raise UnitError(
                f"{quote(text)}: metric lengths are written as decimals, "
                f"such as 7.125 m."
            )
        scale = MM_PER_UNIT[unit]
    elif found := _FEET_INCHES.fullmatch(body):
        number, step = _parse_feet_inches(found["feet"], found["inches"], text)
        scale = MM_PER_UNIT["in"]
    else:
        raise UnitError(_explain_syntax_error(text, body))
    return sign * number * scale, step * scale


def _parse_amount(number: str, text: str) -> tuple[Fraction, Fraction]:
    """Parse a whole, decimal, fraction or mixed number; also return its last step."""
    whole, _, fraction = number.rpartition(" ")
    if "/" not in fraction:
        decimals = len(fraction.partition(".")[2])
        return Fraction(fraction), Fraction(1, 10**decimals)
    numerator, denominator = (int(part) for part in fraction.split("/"))
    if denominator == 0:
        raise UnitError(f"{quote(text)}: the denominator is zero.")
    if numerator >= denominator:
        raise UnitError(
            f"{quote(text)}: the fraction {fraction} is not less than 1; "
            f'write the whole inches separately, such as 4 1/8".'
        )
    value = Fraction(numerator, denominator) + int(whole.strip() or 0)
    return value, Fraction(1, denominator)


def _parse_feet_inches(feet: str, inches: str, text: str) -> tuple[Fraction, Fraction]:
    if not feet.isdecimal():
        raise UnitError(
            f"{quote(text)}: before inches, feet must be a whole number, "
            f"such as 31'-7 1/2\"."
        )
    number, step = _parse_amount(inches, text)
    if number >= 12:
        raise UnitError(
            f"{quote(text)}: after feet, inches must be under 12: "
            f'{inches}" is {format_length(float(number * MM_PER_UNIT["in"]))}.'
        )
    return int(feet) * 12 + number, step


def _explain_syntax_error(text: str, body: str) -> str:
    """Explain why a text is not a length, by the most specific reason."""
    reason = "this is not a length"
    if not body.strip():
        reason = "the text is empty"
    elif re.search(r"['\"a-z] +[-+]|['\"a-z]- *[-+]", body):
        reason = (
            "a sign goes at the very front, and a hyphen only directly "
            "after the foot mark"
        )
    elif re.search(r"[0-9] *[-+]|^ *[-+]|^ ", body):
        reason = (
            "a hyphen only separates feet from inches, directly after the "
            "foot mark; a sign goes at the very front, before the first digit"
        )
    elif re.search(r"[0-9],[0-9]", body):
        reason = "use a decimal point, and no thousands separator"
    elif re.fullmatch(_NUMBER, body):
        reason = "it has no unit"
    elif re.fullmatch(rf"{_NUMBER} *(?:'|ft)-? *{_NUMBER}", body):
        reason = "the inches have no inch mark"
    elif re.search(r"nan|inf", body, re.IGNORECASE):
        reason = "a length is a finite number"
    return f"{quote(text)}: {reason}; write {LENGTH_EXAMPLES}."


# ---- formatting -------------------------------------------------------------


def format_length(
    mm: float | Decimal, style: LengthStyle = "imperial", denominator: int = 16
) -> str:
    """Format a length as people write it.

    Parameters
    ----------
    mm : float or Decimal
        The length. [mm]
    style : {"imperial", "decimal_feet", "inches", "metric"}
        Feet, inches and fractions in typographic marks; `31.625 ft`; inches and
        fractions; `9639.3 mm`.
    denominator : int
        The finest fraction of an inch, for `imperial` and `inches`.

    Returns
    -------
    str
        Rounded to the nearest, halves away from zero. `parse_length` reads it back.
    """
    number = Decimal(float.__repr__(mm) if isinstance(mm, float) else mm)
    if not number.is_finite():
        raise UnitError(f"A length is a finite number; this is {number}.")
    if style == "metric":
        steps = _round_to_parts(number, "mm", 10)
        shown = f"{steps // 10}.{steps % 10} mm"
    elif style == "decimal_feet":
        steps = _round_to_parts(number, "ft", 1000)
        shown = f"{steps // 1000}.{steps % 1000:03d} ft"
    elif style in ("imperial", "inches"):
        steps = _round_to_parts(number, "in", denominator)
        shown = _format_feet_inches(steps, denominator, feet=style == "imperial")
    else:
        raise ValueError(f"{style!r} is not one of {', '.join(get_args(LengthStyle))}.")
    return f"\u2212{shown}" if number < 0 and steps else shown


def is_beyond(mm: float, limit_mm: float | None) -> bool:
    """Return True where an amount, either sign, is larger than its limit. [mm]"""
    if limit_mm is None or not math.isfinite(limit_mm):
        return False
    return abs(mm) > abs(limit_mm) + LIMIT_SLACK_MM


def format_against_limit(
    mm: float,
    limit_mm: float | None,
    style: LengthStyle = "imperial",
    denominator: int = 16,
) -> str:
    """Format an amount beside its limit; beyond it, it never reads as equal to it.

    A finer fraction is taken where the usual one would hide the excess, down to
    1/64 in; after that the limit is named with "just over" in front.

    Parameters
    ----------
    mm : float
        The amount, either sign. [mm]
    limit_mm : float or None
        Its largest size; None and infinities for no limit. [mm]
    style, denominator
        As for `format_length`.
    """
    text = format_length(mm, style, denominator)
    if limit_mm is None or not is_beyond(mm, limit_mm):
        return text
    limit = math.copysign(limit_mm, mm)
    while text == format_length(limit, style, denominator):
        if style not in ("imperial", "inches") or denominator >= FINEST_DENOMINATOR:
            return f"just over {text}"
        denominator *= 2
        text = format_length(mm, style, denominator)
    return text


def _round_to_parts(mm: Decimal, unit: LengthUnit, parts: int) -> int:
    """Return a length in parts of a unit, rounded to whole parts, halves up."""
    above, below = abs(mm).as_integer_ratio()
    size = MM_PER_UNIT[unit]
    above *= 2 * parts * size.denominator
    below *= size.numerator
    return (above + below) // (2 * below)


def _format_feet_inches(steps: int, denominator: int, *, feet: bool) -> str:
    whole, rest = divmod(steps, denominator)
    fraction = Fraction(rest, denominator)
    ahead, inches = divmod(whole, 12) if feet else (0, whole)
    parts = [str(inches)] if inches or ahead or not rest else []
    if rest:
        parts.append(f"{fraction.numerator}\u2044{fraction.denominator}")
    text = " ".join(parts) + "\u2033"
    return f"{ahead}\u2032-{text}" if ahead else text
