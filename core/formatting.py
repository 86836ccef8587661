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

from core.units import PSI_PER_MPA, LengthUnit, format_length

DisplayStyle = Literal["imperial", "decimal", "metric"]
DISPLAY_STYLES: tuple[DisplayStyle, ...] = ("imperial", "decimal", "metric")
FINE_DENOMINATOR = 32  # deviations and parts are written to 1/32 in
MM_PER_FOOT = 304.8
MM_PER_INCH = 25.4
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
    """
    value = float(mm)
    if fine:
        inches = f"{value / MM_PER_INCH:z.4f} in"
        text = _use_minus(f"{value:z.3f} mm" if style == "metric" else inches)
    elif style != "decimal":
        text = format_length(value, style, denominator)
    elif abs(value) >= MM_PER_FOOT:
        text = format_length(value, "decimal_feet")
    else:
        text = _use_minus(f"{value / MM_PER_INCH:.3f} in")
    is_zero = not any(digit in text for digit in "123456789")
    return f"+{text}" if signed and value > 0 and not is_zero else text


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
    """Write a strength as `3,000 psi (20.7 MPa)`, or as `20.7 MPa` in metric. [MPa]"""
    metric = format_mpa(mpa, signed=signed)
    if style == "metric":
        return metric
    return f"{format_psi(mpa, signed=signed)} ({metric})"


def format_rotation(rad: float) -> str:
    """Write a small rotation in milliradians, such as `1.25 mrad`. [rad]"""
    return _use_minus(f"{rad * 1000:z.2f} mrad")


def format_direction(rad: float) -> str:
    """Write a direction in whole degrees, such as `45°`. [rad]"""
    return _use_minus(f"{math.degrees(rad):z.0f}°")


def format_force(newtons: float) -> str:
    """Write a force in kilonewtons, such as `41.3 kN`. [N]"""
    return _use_minus(f"{newtons / 1000:z.1f} kN")


def format_percent(ratio: float, decimals: int = 0) -> str:
    """Write a share in percent, such as `75%`. [-]"""
    return f"{ratio:.{decimals}%}"


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

    def format_deviation(self, mm: float | None) -> str:
        """Write a deviation with its sign; without one where it rounds to zero. [mm]"""
        if mm is None:
            return EM_DASH
        zero = self.format_fine(0.0)
        if self.format_fine(abs(mm)) == zero:
            return zero
        return format_display_length(
            mm, self.style, denominator=FINE_DENOMINATOR, signed=True
        )

    def format_strength(self, mpa: float | None, *, signed: bool = False) -> str:
        """Write a strength. [MPa]"""
        return (
            EM_DASH if mpa is None else format_strength(mpa, self.style, signed=signed)
        )
