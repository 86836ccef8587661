"""The sheets of a plan in the trade's words, and the members they fill."""

from jobs.exchange.tables.columns import Column, Kind, Means

_IN_DETAIL = ("details", "pattern", "base plate")

FACTS = (
    Column("/name", "Name", also=("Building", "Building name")),
    Column("/length_unit", "Length unit", also=("Unit", "Units")),
    Column("/notch/width", "Notch width", Means.LENGTH, ("Sheeting notch width",)),
    Column("/notch/depth", "Notch depth", Means.LENGTH, ("Sheeting notch depth",)),
    Column("/tolerances/basis", "Tolerance basis", also=("Tolerances", "Basis")),
    Column("/tolerances/guarded", "Guarded acceptance", Means.FLAG),
    Column("/concrete/specified_strength", "Specified strength", Means.QUANTITY),
    Column("/concrete/sufficient_strength", "Sufficient strength", Means.QUANTITY),
    Column("/concrete/placed_on", "Concrete placed on", Means.DATE, ("Placed on",)),
    Column("/concrete/maturity/datum", "Datum temperature", Means.QUANTITY),
    Column("/concrete/maturity/activation", "Activation [K]", Means.NUMBER),
    Column("/concrete/maturity/reference", "Reference temperature", Means.QUANTITY),
    Column("/concrete/maturity/expected/low", "Expected low", Means.QUANTITY),
    Column("/concrete/maturity/expected/likely", "Expected likely", Means.QUANTITY),
    Column("/concrete/maturity/expected/high", "Expected high", Means.QUANTITY),
)
"""The facts of a building, one to a row: a pointer stands for the member."""

BUILDING = Kind(
    "Building",
    (Column("what", "What", needed=True), Column("value", "Value", needed=True)),
    ("Building facts", "Facts"),
)
OUTLINE = Kind(
    "Outline",
    (
        Column("corner", "Corner", needed=True),
        Column("x", "x", Means.LENGTH, needed=True),
        Column("y", "y", Means.LENGTH, needed=True),
    ),
    ("Steel line", "Corners"),
)
DIAGONALS = Kind(
    "Diagonals", (Column("0", "From", needed=True), Column("1", "To", needed=True))
)
DETAILS = Kind(
    "Details",
    (
        Column("detail", "Detail", also=_IN_DETAIL, needed=True),
        Column("reference", "Reference line", also=("Reference",), needed=True),
        Column("hole_diameter", "Hole diameter", Means.LENGTH, ("Hole",)),
        Column("thickness", "Plate thickness", Means.LENGTH, ("Thickness",)),
        Column("edge_distance", "Edge distance", Means.LENGTH, ("Edge",)),
    ),
    ("Plates", "Base plates"),
)
RODS = Kind(
    "Rods",
    (
        Column("detail", "Detail", also=_IN_DETAIL, needed=True),
        Column("rod", "Rod", Means.NUMBER, ("No.", "Rod number")),
        Column("in", "In", Means.LENGTH, ("Setback",), needed=True),
        Column("along", "Along", Means.LENGTH, ("Offset",), needed=True),
        Column("diameter", "Diameter", Means.LENGTH, ("Rod diameter",), needed=True),
        Column("projection", "Projection", Means.LENGTH),
    ),
    ("Anchor rods", "Anchor bolts", "Rod patterns"),
)
POSITIONS = Kind(
    "Positions",
    (
        Column("mark", "Mark", also=("Position",), needed=True),
        Column("wall", "Wall"),
        Column("along", "Along", Means.LENGTH, ("Along wall",)),
        Column("x", "x", Means.LENGTH),
        Column("y", "y", Means.LENGTH),
        Column("turn", "Turn", Means.QUANTITY),
        Column("detail", "Detail", also=_IN_DETAIL, needed=True),
    ),
    ("Columns", "Anchor plan", "Marks"),
)
SHIMS = Kind(
    "Shims",
    (Column("thickness", "Shim thickness", Means.LENGTH, ("Shim",), needed=True),),
    ("Shim thicknesses",),
)
LIMITS = Kind(
    "Limits",
    (
        Column("limit", "Limit", needed=True),
        Column("value", "Value", Means.LENGTH, needed=True),
    ),
    ("Overrides",),
)
TESTS = Kind(
    "Strength tests",
    (Column("strength", "Standard-cured strength", Means.QUANTITY, needed=True),),
)
CYLINDERS = Kind(
    "Cylinders",
    (
        Column("maturity", "Maturity [degC h]", Means.NUMBER, ("Maturity",)),
        Column("age", "Equivalent age [h]", Means.NUMBER, ("Age", "Equivalent age")),
        Column("strength", "Strength", Means.QUANTITY, needed=True),
    ),
)
TEMPERATURES = Kind(
    "Temperatures",
    (
        Column("hours", "Hours", Means.NUMBER, needed=True),
        Column("temperature", "Temperature", Means.QUANTITY, needed=True),
    ),
)
INSTRUMENTS = Kind(
    "Instruments",
    (
        Column("instrument", "Instrument", also=("Name",), needed=True),
        Column("kind", "Kind", needed=True),
        Column("class", "Accuracy class", also=("Class",)),
        Column("standard_temperature", "Standard temperature", Means.QUANTITY),
        Column("nominal_length", "Nominal length", Means.LENGTH),
        Column("actual_length", "Actual length", Means.LENGTH),
        Column("standard_tension", "Standard tension", Means.QUANTITY),
        Column("cross_section", "Cross-section", Means.QUANTITY),
        Column("elastic_modulus", "Elastic modulus", Means.QUANTITY),
        Column("weight", "Weight per length", Means.QUANTITY, ("Weight",)),
        Column("standard_uncertainty", "Standard uncertainty", Means.LENGTH),
        Column("collimation", "Collimation", Means.QUANTITY),
    ),
    ("Tapes and levels",),
)
READINGS = Kind(
    "Readings",
    (
        Column("what", "What"),
        Column("plan", "Plan"),
        Column("check", "Check", also=("Key",)),
        Column("kind", "Kind"),
        Column("position", "Position", also=("Mark", "Of")),
        Column("rod", "Rod"),
        Column("value", "Value", Means.LENGTH, ("Reading",), needed=True),
        Column("again", "Again", Means.LENGTH),
        Column("by", "By", also=("Measured by",)),
        Column("at", "At", Means.MOMENT, ("Taken at",)),
        Column("instrument", "Instrument"),
        Column("temperature", "Temperature", Means.QUANTITY),
        Column("tension", "Tension", Means.QUANTITY),
        Column("from", "From"),
        Column("setup", "Set-up", also=("Setup",)),
        Column("height", "Height", Means.LENGTH),
        Column("slope_rise", "Slope rise", Means.LENGTH),
        Column("span", "Span", Means.LENGTH),
        Column("sight", "Sight", Means.LENGTH),
        Column("supersedes", "Supersedes"),
        Column("note", "Note", Means.NOTE),
        Column("id", "Id"),
        Column("recorded_by", "Recorded by"),
        Column("recorded_at", "Recorded at"),
    ),
)
FOR_PEOPLE = frozenset({"what", "plan", "recorded_by", "recorded_at"})
"""Columns of a sheet of readings that are for people to read, and are not read."""

SHARED_FACTS = (
    Column("by", "Measured by", also=("By",)),
    Column("at", "Taken at", Means.MOMENT, ("Date", "At")),
    Column("tape", "Tape"),
    Column("level", "Level"),
    Column("temperature", "Temperature", Means.QUANTITY),
    Column("setup", "Set-up", also=("Setup",)),
)
"""What may stand above the headings of a sheet of readings, for all of them."""


PLAN_KINDS = (
    BUILDING, OUTLINE, DIAGONALS, DETAILS, RODS, POSITIONS, SHIMS, LIMITS, TESTS,
    CYLINDERS, TEMPERATURES, INSTRUMENTS,
)  # fmt: skip
KINDS = (*PLAN_KINDS, READINGS)


def kind_named(name: str) -> Kind | None:
    """Find the kind of sheet a name means."""
    return next((kind for kind in KINDS if kind.named(name)), None)
