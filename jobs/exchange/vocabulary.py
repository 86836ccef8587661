"""Allowed words and size limits of the exchange documents."""

from typing import get_args

from core.units import LengthUnit
from core.vocabulary import SteelState
from jobs.anchor_plan.values import AccuracyClass, Reference

BUILDING_FORMAT = "padstone.building/1"
RESULT_FORMAT = "padstone.result/1"

# ---- words --------------------------------------------------------------------------

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
    "bay",
    "span",
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

OVERRIDE_ANGLES = ("column_turn",)
"""Limits a building may set as an angle with its unit, such as "0.5 deg"."""

MAX_OVERRIDE_ANGLE_DEG = 10.0
"""Largest limit of an angle; a larger one is a typing error. Project choice."""

ZERO_ALLOWED_OVERRIDES = frozenset({"wall_floor", "re_anchor_beyond", "shim_up_to"})

STEEL_STATES = tuple(SteelState.values())
DEFAULT_STEEL_STATE = SteelState.FABRICATED
LENGTH_UNITS: tuple[LengthUnit, ...] = get_args(LengthUnit)
REFERENCES: tuple[Reference, ...] = get_args(Reference)
ACCURACY_CLASSES: tuple[AccuracyClass, ...] = get_args(AccuracyClass)
DEFAULT_SETUP = "1"

# ---- sizes --------------------------------------------------------------------------

MAX_NAME_LENGTH = 40
MAX_BUILDING_NAME_LENGTH = 120
MAX_BY_LENGTH = 60
MAX_ID_LENGTH = 64
MAX_NOTE_LENGTH = 2000

MIN_CORNERS = 3
MAX_CORNERS = 400
MAX_RODS_PER_DETAIL = 60
MAX_SHIM_THICKNESSES = 40

# ---- concrete -----------------------------------------------------------------------

MAX_STRENGTH_TESTS = 500
MAX_CYLINDERS = 200
MAX_INTERVALS = 5000
MAX_MATURITY_H = 1e6
"""Largest maturity or equivalent age; four years at 30 °C. [°C h or h]"""

MAX_ELAPSED_H = 1e5
"""Longest interval and age; eleven years. [h]"""

MAX_ACTIVATION_K = 2e4
"""Three times the activation temperature of any cement. [K] Project choice."""

MIN_CONCRETE_DEGC, MAX_CONCRETE_DEGC = -60.0, 100.0
"""Concrete is not placed or kept beyond these. [°C] Project choice."""
