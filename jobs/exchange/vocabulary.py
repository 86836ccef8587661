"""The words of the exchange document that are not lengths, marks or names."""

from typing import Literal

from core.units import LengthUnit
from jobs.anchor_plan.values import Reference

BUILDING_FORMAT = "padstone.building/1"
RESULT_FORMAT = "padstone.result/1"

TOLERANCE_BASES = (
    "metal-building-practice",
    "aisc-303-2010",
    "aisc-303-2016",
    "aci-117-2010",
    "en-1090-2-2008",
)
DEFAULT_BASIS = TOLERANCE_BASES[0]

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

ZERO_ALLOWED_OVERRIDES = frozenset({"wall_floor", "re_anchor_beyond", "shim_up_to"})

LENGTH_UNITS: tuple[LengthUnit, ...] = ("in", "ft", "mm", "cm", "m")
REFERENCES: tuple[Reference, ...] = ("centreline", "web")
ACCURACY_CLASSES: tuple[Literal["I", "II", "III"], ...] = ("I", "II", "III")

MAX_NAME_LENGTH = 40
MAX_ID_LENGTH = 64
MAX_NOTE_LENGTH = 2000
MAX_CORNERS = 400
MAX_RODS_PER_DETAIL = 60
