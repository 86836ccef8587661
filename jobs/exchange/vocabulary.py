"""The words of the exchange document that are not lengths, marks or names."""

from typing import Literal

from core.units import LengthUnit
from jobs.plan.model import Reference

BUILDING_FORMAT = "padstone.building/1"
RESULT_FORMAT = "padstone.result/1"

BASES = (
    "metal-building-practice",
    "aisc-303-2010",
    "aisc-303-2016",
    "aci-117-2010",
    "en-1090-2-2008",
)
DEFAULT_BASIS = BASES[0]

OVERRIDE_LENGTHS = (
    "diagonals",
    "wall",
    "wall_floor",
    "line",
    "rod_location",
    "re_anchor_beyond",
    "projection",
    "pad_level",
    "shim_up_to",
    "notch",
    "level_misclosure",
    "within_group",
    "adjacent_groups",
    "accumulated",
    "group_to_line",
    "group_centre",
    "rod_from_group_centre",
)
"""Limits a building may set as a length.

For `diagonals` and `wall` it is one flat limit in place of the rate.
"""

OVERRIDE_RATIOS = ("strength_ratio", "plumb")
"""Limits a building may set as a plain number, such as 0.002 or "1/500"."""

MAY_BE_ZERO = frozenset({"wall_floor", "re_anchor_beyond", "shim_up_to"})

LENGTH_UNITS: tuple[LengthUnit, ...] = ("in", "ft", "mm", "cm", "m")
REFERENCES: tuple[Reference, ...] = ("centreline", "web")
ACCURACY_CLASSES: tuple[Literal["I", "II", "III"], ...] = ("I", "II", "III")

LONGEST_NAME = 40
LONGEST_ID = 64
LONGEST_NOTE = 2000
MOST_CORNERS = 400
MOST_RODS = 60
