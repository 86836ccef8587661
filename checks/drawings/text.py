"""Lengths as they are written on a drawing."""

from dataclasses import dataclass
from typing import Literal

from core.templatetags.formatting import format_display_length
from core.units import LengthUnit

Units = Literal["imperial", "decimal", "metric"]
FINE_DENOMINATOR = 32  # deviations and parts are written to 1/32 in


def get_default_units(unit: LengthUnit) -> Units:
    """How lengths are written for a plan drawn in this unit."""
    return "imperial" if unit in {"in", "ft"} else "metric"


@dataclass(frozen=True, slots=True)
class LengthFormatter:
    """Writes lengths in one of the reader's units; deviations with their sign."""

    units: Units

    def format_length(self, mm: float) -> str:
        """A dimension. [mm]"""
        return format_display_length(mm, self.units)

    def format_fine(self, mm: float) -> str:
        """A dimension of a part. [mm]"""
        return format_display_length(mm, self.units, denominator=FINE_DENOMINATOR)

    def format_deviation(self, mm: float) -> str:
        """A deviation with its sign, none where it rounds to nothing. [mm]"""
        nothing = self.format_fine(0.0)
        if self.format_fine(abs(mm)) == nothing:
            return nothing
        return format_display_length(
            mm, self.units, denominator=FINE_DENOMINATOR, signed=True
        )
