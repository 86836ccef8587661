"""Lengths, strengths, angles, forces and dates as text: the one place that writes them.

Pages, PDF, drawings, e-mail and the API use these functions, so that one quantity is
written one way everywhere. `core.units` writes a length in one notation; here the
notation follows the reader's choice. Django is not imported.
"""

import math
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Literal

from core.units import (
    PSI_PER_MPA,
    LengthUnit,
    format_against_limit,
    format_length,
    is_beyond,
)

DisplayStyle = Literal["imperial", "decimal", "metric"]
DISPLAY_STYLES: tuple[DisplayStyle, ...] = ("imperial", "decimal", "metric")
FINE_DENOMINATOR = 32  # deviations and parts are written to 1/32 in
MM_PER_FOOT = 304.8
MM_PER_INCH = 25.4
NEWTONS_PER_KIP = 4448.2216  # 1 lbf = 4.4482216 N: NIST SP 811 (2008), B.8
QuantityUnit = Literal["mm", "MPa", "N", "°C", "rad", "d", "days", ""]
EM_DASH = "\N{EM DASH}"  # stands where a value is not known
MINUS = "\N{MINUS SIGN}"
TIMES = "\N{MULTIPLICATION SIGN}"


# ---- lengths ----------------------------------------------------------------


def get_default_style(unit: LengthUnit) -> DisplayStyle:
    """Return the notation that goes with the unit a plan is drawn in."""
    return "imperial" if unit in {"in", "ft"} else "metric"


def format_display_length(
    mm: float | Decimal,
    style: DisplayStyle,
    *,
    denominator: int = 16,
    signed: bool = False,
    fine: bool = False,
    limit_mm: float | None = None,
) -> str:
    """Write a length in one of the three notations a person can choose.

    Parameters
    ----------
    mm : float or Decimal
        The length. [mm]
    style : {"imperial", "decimal", "metric"}
        Feet-inches-fractions; decimal feet (decimal inches below a foot); metric.
    denominator : int
        Finest fraction of an inch in the imperial notation. [-]
    signed : bool
        Write a plus sign before a positive length, as before a deviation.
    fine : bool
        Write decimals of an inch or of a millimetre in every notation, for amounts
        finer than a tape is read.
    limit_mm : float or None
        The largest size allowed: an amount beyond it never reads as equal to it. [mm]
    """
    value = float(mm)
    if fine:
        inches = f"{value / MM_PER_INCH:z.4f} in"
        text = _use_minus(f"{value:z.3f} mm" if style == "metric" else inches)
    elif style != "decimal":
        text = format_against_limit(value, limit_mm, style, denominator)
    else:
        text = _format_decimal(value)
        if is_beyond(value, limit_mm) and text == _format_decimal(
            math.copysign(limit_mm or 0.0, value)
        ):
            text = f"just over {text}"
    if text.startswith("just over"):
        return text
    is_zero = not any(digit in text for digit in "123456789")
    return f"+{text}" if signed and value > 0 and not is_zero else text


def _format_decimal(mm: float) -> str:
    """Write decimal feet, or decimal inches below a foot."""
    if abs(mm) >= MM_PER_FOOT:
        return format_length(mm, "decimal_feet")
    return _use_minus(f"{mm / MM_PER_INCH:.3f} in")


# ---- strengths, angles, forces, shares --------------------------------------


def format_psi(mpa: float, *, signed: bool = False) -> str:
    """Write a strength in psi, such as `3,000 psi`. [MPa]"""
    return _sign(mpa, f"{mpa * PSI_PER_MPA:z,.0f} psi", signed=signed)


def format_mpa(mpa: float, *, decimals: int = 1, signed: bool = False) -> str:
    """Write a strength in MPa, such as `20.7 MPa`. [MPa]"""
    return _sign(mpa, f"{mpa:z.{decimals}f} MPa", signed=signed)


def format_strength(
    mpa: float, style: DisplayStyle = "imperial", *, signed: bool = False
) -> str:
    """Write a strength as `3,000 psi`, or as `20.7 MPa` in metric. [MPa]"""
    if style == "metric":
        return format_mpa(mpa, signed=signed)
    return format_psi(mpa, signed=signed)


def format_rotation(rad: float) -> str:
    """Write a small rotation, such as `0.07° clockwise`, seen from above. [rad]"""
    size = f"{abs(math.degrees(rad)):.2f}"
    if not any(digit in size for digit in "123456789"):
        return "0.00°"
    return f"{size}° {'counter-clockwise' if rad > 0 else 'clockwise'}"


def format_direction(rad: float) -> str:
    """Write a direction in whole degrees, such as `45°`. [rad]"""
    return _use_minus(f"{math.degrees(rad):z.0f}°")


def format_force(newtons: float, style: DisplayStyle = "imperial") -> str:
    """Write a force as `9.3 kips`, or as `41.3 kN` in metric. [N]"""
    if style == "metric":
        return _use_minus(f"{newtons / 1000:z.1f} kN")
    return _use_minus(f"{newtons / NEWTONS_PER_KIP:z.1f} kips")


def format_temperature(celsius: float, style: DisplayStyle = "imperial") -> str:
    """Write a temperature as `50 °F`, or as `10 °C` in metric. [°C]"""
    if style == "metric":
        return _use_minus(f"{celsius:z.0f} °C")
    return _use_minus(f"{celsius * 1.8 + 32.0:z.0f} °F")


def format_quantity(
    value: float, unit: QuantityUnit, style: DisplayStyle = "imperial"
) -> str:
    """Write a quantity of the engine in the units of a notation.

    Parameters
    ----------
    value : float
        The amount, in `unit`.
    unit : {"mm", "MPa", "N", "°C", "rad", "d", "days", ""}
        `d` counts rod diameters; the empty one is a plain number.
    style : {"imperial", "decimal", "metric"}
        The reader's notation.
    """
    match unit:
        case "mm":
            return format_display_length(value, style, denominator=FINE_DENOMINATOR)
        case "MPa":
            return format_strength(value, style)
        case "N":
            return format_force(value, style)
        case "°C":
            return format_temperature(value, style)
        case "rad":
            return format_rotation(value)
    return f"{value:.3g} {unit}".strip()


def format_percent(ratio: float, decimals: int = 0) -> str:
    """Write a share in percent, such as `75%`. [-]"""
    return f"{ratio:.{decimals}%}"


def format_probability(probability: float) -> str:
    """Write a probability to a tenth of a percent; only a certain one as 0% or 100%."""
    if probability in (0.0, 1.0):
        return format_percent(probability)
    if probability < 0.001:
        return "<0.1%"
    if probability > 0.999:
        return ">99.9%"
    return format_percent(probability, 1)


# ---- dates and counts -------------------------------------------------------


def format_date(day: date) -> str:
    """Write a date as 9 Mar 2026."""
    return f"{day.day} {day:%b %Y}"


def format_time(at: datetime) -> str:
    """Write a time as 9 Mar 2026, 14:05, in the time zone it carries."""
    return f"{at.day} {at:%b %Y, %H:%M}"


def format_count(number: int, singular: str, plural: str = "") -> str:
    """Write a number of things: 1 finding, 2 findings."""
    return f"{number} {singular if number == 1 else plural or f'{singular}s'}"


def _sign(value: float, text: str, *, signed: bool) -> str:
    return _use_minus(f"+{text}" if signed and value > 0 else text)


def _use_minus(text: str) -> str:
    """Replace the hyphen by the minus sign, which has the width of a digit."""
    return text.replace("-", MINUS)


@dataclass(frozen=True, slots=True)
class QuantityFormatter:
    """Writer of quantities in one notation; an unknown value is an em dash."""

    style: DisplayStyle

    def format_length(self, mm: float | None) -> str:
        """Write a dimension. [mm]"""
        return EM_DASH if mm is None else format_display_length(mm, self.style)

    def format_fine(self, mm: float | None) -> str:
        """Write a dimension of a part, or an amount, to 1/32 in. [mm]"""
        if mm is None:
            return EM_DASH
        return format_display_length(mm, self.style, denominator=FINE_DENOMINATOR)

    def format_deviation(self, mm: float | None, limit_mm: float | None = None) -> str:
        """Write a deviation with its sign; without one where it rounds to zero. [mm]

        Beyond its limit it never reads as equal to it.
        """
        if mm is None:
            return EM_DASH
        zero = self.format_fine(0.0)
        if self.format_fine(abs(mm)) == zero:
            return zero
        return format_display_length(
            mm,
            self.style,
            denominator=FINE_DENOMINATOR,
            signed=True,
            limit_mm=limit_mm,
        )

    def format_strength(self, mpa: float | None, *, signed: bool = False) -> str:
        """Write a strength. [MPa]"""
        return (
            EM_DASH if mpa is None else format_strength(mpa, self.style, signed=signed)
        )

    def format_quantity(self, value: float | None, unit: QuantityUnit) -> str:
        """Write a quantity of the engine, given in `unit`."""
        return EM_DASH if value is None else format_quantity(value, unit, self.style)
