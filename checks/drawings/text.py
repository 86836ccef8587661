"""Lengths as they are written on a drawing."""

from dataclasses import dataclass
from typing import Literal

from core.templatetags.book import length_in
from core.units import LengthUnit

Units = Literal["imperial", "decimal", "metric"]
FINE = 32  # deviations and parts are written to 1/32 in


def units_of(unit: LengthUnit) -> Units:
    """How lengths are written for a plan drawn in this unit."""
    return "imperial" if unit in {"in", "ft"} else "metric"


@dataclass(frozen=True, slots=True)
class Writer:
    """Writes lengths in one of the reader's units; deviations with their sign."""

    units: Units

    def length(self, mm: float) -> str:
        """A dimension. [mm]"""
        return length_in(mm, self.units)

    def small(self, mm: float) -> str:
        """A dimension of a part. [mm]"""
        return length_in(mm, self.units, denominator=FINE)

    def deviation(self, mm: float) -> str:
        """A deviation with its sign, none where it rounds to nothing. [mm]"""
        nothing = self.small(0.0)
        if self.small(abs(mm)) == nothing:
            return nothing
        return length_in(mm, self.units, denominator=FINE, signed=True)
