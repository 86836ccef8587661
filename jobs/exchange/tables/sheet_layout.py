"""The sheets of a plan and of readings: their columns, and the members these fill."""

from jobs.exchange.tables.columns import CellType, SheetColumn, SheetKind

_IN_DETAIL = ("details", "pattern", "base plate")

BUILDING_FACTS = (
    SheetColumn("/name", "Name", aliases=("Building", "Building name")),
    SheetColumn("/length_unit", "Length unit", aliases=("Unit", "Units")),
    SheetColumn("/steel", "Steel", aliases=("State of the steel", "Steel state")),
    SheetColumn(
        "/notch/width", "Notch width", CellType.LENGTH, ("Sheeting notch width",)
    ),
    SheetColumn(
        "/notch/depth", "Notch depth", CellType.LENGTH, ("Sheeting notch depth",)
    ),
    SheetColumn(
        "/tolerances/basis", "Tolerance basis", aliases=("Tolerances", "Basis")
    ),
    SheetColumn("/tolerances/guarded", "Guarded acceptance", CellType.FLAG),
    SheetColumn(
        "/concrete/specified_strength", "Specified strength", CellType.QUANTITY
    ),
    SheetColumn(
        "/concrete/sufficient_strength", "Sufficient strength", CellType.QUANTITY
    ),
    SheetColumn(
        "/concrete/placed_on", "Concrete placed on", CellType.DATE, ("Placed on",)
    ),
    SheetColumn("/concrete/maturity/datum", "Datum temperature", CellType.QUANTITY),
    SheetColumn("/concrete/maturity/activation", "Activation [K]", CellType.NUMBER),
    SheetColumn(
        "/concrete/maturity/reference", "Reference temperature", CellType.QUANTITY
    ),
    SheetColumn("/concrete/maturity/expected/low", "Expected low", CellType.QUANTITY),
    SheetColumn(
        "/concrete/maturity/expected/likely", "Expected likely", CellType.QUANTITY
    ),
    SheetColumn("/concrete/maturity/expected/high", "Expected high", CellType.QUANTITY),
)
"""The facts of a building, one per row, each with its JSON Pointer."""

BUILDING_SHEET = SheetKind(
    "Building",
    (
        SheetColumn("what", "What", required=True),
        SheetColumn("value", "Value", required=True),
    ),
    ("Building facts", "Facts"),
)
OUTLINE_SHEET = SheetKind(
    "Outline",
    (
        SheetColumn("corner", "Corner", required=True),
        SheetColumn("x", "x", CellType.LENGTH, required=True),
        SheetColumn("y", "y", CellType.LENGTH, required=True),
    ),
    ("Steel line", "Corners"),
)
DIAGONALS_SHEET = SheetKind(
    "Diagonals",
    (SheetColumn("0", "From", required=True), SheetColumn("1", "To", required=True)),
)
DETAILS_SHEET = SheetKind(
    "Details",
    (
        SheetColumn("detail", "Detail", aliases=_IN_DETAIL, required=True),
        SheetColumn(
            "reference", "Reference line", aliases=("Reference",), required=True
        ),
        SheetColumn("hole_diameter", "Hole diameter", CellType.LENGTH, ("Hole",)),
        SheetColumn("thickness", "Plate thickness", CellType.LENGTH, ("Thickness",)),
        SheetColumn("edge_distance", "Edge distance", CellType.LENGTH, ("Edge",)),
    ),
    ("Plates", "Base plates"),
)
RODS_SHEET = SheetKind(
    "Rods",
    (
        SheetColumn("detail", "Detail", aliases=_IN_DETAIL, required=True),
        SheetColumn("rod", "Rod", CellType.NUMBER, ("No.", "Rod number")),
        SheetColumn("in", "In", CellType.LENGTH, ("Setback",), required=True),
        SheetColumn("along", "Along", CellType.LENGTH, ("Offset",), required=True),
        SheetColumn(
            "diameter", "Diameter", CellType.LENGTH, ("Rod diameter",), required=True
        ),
        SheetColumn("projection", "Projection", CellType.LENGTH),
    ),
    ("Anchor rods", "Anchor bolts", "Rod patterns"),
)
POSITIONS_SHEET = SheetKind(
    "Positions",
    (
        SheetColumn("mark", "Mark", aliases=("Position",), required=True),
        SheetColumn("wall", "Wall"),
        SheetColumn("along", "Along", CellType.LENGTH, ("Along wall",)),
        SheetColumn("x", "x", CellType.LENGTH),
        SheetColumn("y", "y", CellType.LENGTH),
        SheetColumn("turn", "Turn", CellType.QUANTITY),
        SheetColumn("detail", "Detail", aliases=_IN_DETAIL, required=True),
    ),
    ("Columns", "Anchor plan", "Marks"),
)
SHIMS_SHEET = SheetKind(
    "Shims",
    (
        SheetColumn(
            "thickness", "Shim thickness", CellType.LENGTH, ("Shim",), required=True
        ),
    ),
    ("Shim thicknesses",),
)
LIMITS_SHEET = SheetKind(
    "Limits",
    (
        SheetColumn("limit", "Limit", required=True),
        SheetColumn("value", "Value", CellType.LENGTH, required=True),
    ),
    ("Overrides",),
)
STRENGTH_TESTS_SHEET = SheetKind(
    "Strength tests",
    (
        SheetColumn(
            "strength", "Standard-cured strength", CellType.QUANTITY, required=True
        ),
    ),
)
CYLINDERS_SHEET = SheetKind(
    "Cylinders",
    (
        SheetColumn("maturity", "Maturity [degC h]", CellType.NUMBER, ("Maturity",)),
        SheetColumn(
            "age", "Equivalent age [h]", CellType.NUMBER, ("Age", "Equivalent age")
        ),
        SheetColumn("strength", "Strength", CellType.QUANTITY, required=True),
    ),
)
TEMPERATURES_SHEET = SheetKind(
    "Temperatures",
    (
        SheetColumn("hours", "Hours", CellType.NUMBER, required=True),
        SheetColumn("temperature", "Temperature", CellType.QUANTITY, required=True),
    ),
)
INSTRUMENTS_SHEET = SheetKind(
    "Instruments",
    (
        SheetColumn("instrument", "Instrument", aliases=("Name",), required=True),
        SheetColumn("kind", "Kind", required=True),
        SheetColumn("class", "Accuracy class", aliases=("Class",)),
        SheetColumn("standard_temperature", "Standard temperature", CellType.QUANTITY),
        SheetColumn("nominal_length", "Nominal length", CellType.LENGTH),
        SheetColumn("actual_length", "Actual length", CellType.LENGTH),
        SheetColumn("standard_tension", "Standard tension", CellType.QUANTITY),
        SheetColumn("cross_section", "Cross-section", CellType.QUANTITY),
        SheetColumn("elastic_modulus", "Elastic modulus", CellType.QUANTITY),
        SheetColumn("weight", "Weight per length", CellType.QUANTITY, ("Weight",)),
        SheetColumn("standard_uncertainty", "Standard uncertainty", CellType.LENGTH),
        SheetColumn("collimation", "Collimation", CellType.QUANTITY),
    ),
    ("Tapes and levels",),
)
READINGS_SHEET = SheetKind(
    "Readings",
    (
        SheetColumn("what", "What"),
        SheetColumn("plan", "Plan"),
        SheetColumn("check", "Check", aliases=("Key",)),
        SheetColumn("kind", "Kind"),
        SheetColumn("position", "Position", aliases=("Mark", "Of")),
        SheetColumn("rod", "Rod"),
        SheetColumn("value", "Value", CellType.LENGTH, ("Reading",), required=True),
        SheetColumn("again", "Again", CellType.LENGTH),
        SheetColumn("by", "By", aliases=("Measured by",)),
        SheetColumn("at", "At", CellType.MOMENT, ("Taken at",)),
        SheetColumn("instrument", "Instrument"),
        SheetColumn("temperature", "Temperature", CellType.QUANTITY),
        SheetColumn("tension", "Tension", CellType.QUANTITY),
        SheetColumn("from", "From"),
        SheetColumn("setup", "Set-up", aliases=("Setup",)),
        SheetColumn("height", "Height", CellType.LENGTH),
        SheetColumn("slope_rise", "Slope rise", CellType.LENGTH),
        SheetColumn("span", "Span", CellType.LENGTH),
        SheetColumn("sight", "Sight", CellType.LENGTH),
        SheetColumn("supersedes", "Supersedes"),
        SheetColumn("note", "Note", CellType.NOTE),
        SheetColumn("id", "Id"),
        SheetColumn("recorded_by", "Recorded by"),
        SheetColumn("recorded_at", "Recorded at"),
    ),
)
DISPLAY_ONLY_COLUMNS = frozenset({"what", "plan", "recorded_by", "recorded_at"})
"""Columns of a sheet of readings that are written for people and not imported."""

SHARED_READING_FACTS = (
    SheetColumn("by", "Measured by", aliases=("By",)),
    SheetColumn("at", "Taken at", CellType.MOMENT, ("Date", "At")),
    SheetColumn("tape", "Tape"),
    SheetColumn("level", "Level"),
    SheetColumn("temperature", "Temperature", CellType.QUANTITY),
    SheetColumn("setup", "Set-up", aliases=("Setup",)),
)
"""Facts above the headings of a sheet of readings that all of them share."""


PLAN_SHEETS = (
    BUILDING_SHEET,
    OUTLINE_SHEET,
    DIAGONALS_SHEET,
    DETAILS_SHEET,
    RODS_SHEET,
    POSITIONS_SHEET,
    SHIMS_SHEET,
    LIMITS_SHEET,
    STRENGTH_TESTS_SHEET,
    CYLINDERS_SHEET,
    TEMPERATURES_SHEET,
    INSTRUMENTS_SHEET,
)
ALL_SHEETS = (*PLAN_SHEETS, READINGS_SHEET)


def find_sheet_kind(name: str) -> SheetKind | None:
    """Find the kind of sheet with a name."""
    return next((kind for kind in ALL_SHEETS if kind.matches_name(name)), None)
