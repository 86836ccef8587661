"""Document of a rectangular building from its main dimensions.

Frame lines are numbered along the length, from 1 at the left end; column lines are
lettered across the width, from A at the bottom (without I and O, which look like 1 and
0: common practice). A column's mark is its letter and its number::

    NW D1---D2---D3---D4 NE     D2, D3 and A2, A3: frame columns
       C1              C4       B1, C1 and B4, C4: endwall columns
       B1              B4       A1, A4, D1, D4: corner columns
    SW A1---A2---A3---A4 SE

Corners are named by compass, with north at the top of the drawing.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from itertools import accumulate
from typing import Any

from core.units import Length, LengthStyle, LengthUnit, UnitError, format_length
from jobs.anchor_plan.spacing import (
    LengthInput,
    SpacingInput,
    exact_length_writer,
    parse_length_input,
    parse_spacing,
)

SPACING_TOLERANCE_MM = Decimal("0.01")
"""Spaces may add up to the whole within this: decimals of sixty-fourths are cut."""

MAX_ROWS = 10

_LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ"


@dataclass(frozen=True, slots=True)
class FieldIssue:
    """An issue of one field, such as `bays` or `frame.gage`."""

    field: str
    message: str


class RectangleError(ValueError):
    """A rectangle that cannot be built, with every issue."""

    def __init__(self, errors: Sequence[FieldIssue]) -> None:
        self.issues = tuple(errors)
        super().__init__("; ".join(f"{e.field}: {e.message}" for e in self.issues))


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternSpec:
    """Rows of two rods, symmetrical about the reference line. [lengths]

    Attributes
    ----------
    gage : between the two rods of a row, along the wall.
    first_row : from the steel line in to the first row.
    row_spacing : from row to row, inward.
    rod, hole : diameters of the rod and of the hole in the plate.
    projection, thickness, edge : of the rod; of the plate; from a hole's centre to the
        plate's edge.
    rows : how many rows there are.
    reference : what the reference line is.
    """

    gage: LengthInput
    first_row: LengthInput
    row_spacing: LengthInput
    rod: LengthInput
    hole: LengthInput
    projection: LengthInput | None = None
    thickness: LengthInput | None = None
    edge: LengthInput | None = None
    rows: int = 2
    reference: str = "centreline"


Pattern = PatternSpec | Mapping[str, Any]
"""Dimensions of a pattern, or a whole detail as a building document has it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RectangleSpec:
    """A rectangular building. [lengths; strengths with their units]

    Attributes
    ----------
    length, width : of the steel line, along the sidewalls and along the endwalls.
    bays : along the length, end to end: a list of lengths, or text: `20', 3 @ 25'`.
    endwall_spacing : across the width, between endwall columns, corner to corner.
    frame : of the frame columns, at every inner frame line on both sidewalls.
    endwall, corner : of the endwall columns, and of the columns next to the four
        corners.
    corner_inset : from the endwall's steel line to a corner column's reference line.
    """

    name: str
    length_unit: LengthUnit
    width: LengthInput
    length: LengthInput
    bays: SpacingInput
    frame: Pattern
    endwall_spacing: SpacingInput | None = None
    endwall: Pattern | None = None
    corner: Pattern | None = None
    corner_inset: LengthInput | None = None
    notch_width: LengthInput | None = None
    notch_depth: LengthInput | None = None
    specified_strength: str | None = None
    placed_on: str | None = None
    basis: str = "metal-building-practice"
    shim_thicknesses: Sequence[LengthInput] = ()


def build_rectangle_document(spec: RectangleSpec) -> dict[str, Any]:
    """Build the document of a rectangular building.

    Names, strengths, dates and whole details are copied as they are: the parser of
    the document validates them.

    Raises
    ------
    RectangleError
        With an issue for each field that cannot be used.
    """
    fields = _FieldReader(spec.length_unit)
    width = fields.read_length("width", spec.width)
    length = fields.read_length("length", spec.length)
    bays = fields.read_spaces("bays", spec.bays, "length", length)
    spaces = _read_endwall_spaces(spec, fields, width)
    inset = _read_corner_inset(spec, fields, bays)
    details = {
        name: fields.write_detail(name, pattern)
        for name, pattern in _given_patterns(spec).items()
    }
    notch = _read_notch(spec, fields)
    shims = _read_shims(spec, fields)
    if fields.issues:
        raise RectangleError(fields.issues)

    write = exact_length_writer(spec.length_unit)
    document: dict[str, Any] = {
        "format": "padstone.building/1",
        "name": spec.name,
        "length_unit": spec.length_unit,
        "outline": [
            {"corner": "SW", "x": 0, "y": 0},
            {"corner": "SE", "x": write(length), "y": 0},
            {"corner": "NE", "x": write(length), "y": write(width)},
            {"corner": "NW", "x": 0, "y": write(width)},
        ],
        "diagonals": [["SW", "NE"], ["SE", "NW"]],
        "tolerances": {"basis": spec.basis},
        "details": details,
        "positions": [
            {"mark": mark, "wall": wall, "along": write(along), "detail": detail}
            for mark, wall, along, detail in _place_columns(
                length, width, bays, spaces, inset, details
            )
        ],
    }
    concrete = _write_concrete(spec)
    optional = {"notch": notch, "shim_thicknesses": shims, "concrete": concrete}
    return document | {name: value for name, value in optional.items() if value}


class _FieldReader:
    """Reads fields and collects their issues."""

    def __init__(self, unit: LengthUnit) -> None:
        self.unit: LengthUnit = unit
        self.issues: list[FieldIssue] = []

    def add_issue(self, field: str, message: str) -> None:
        self.issues.append(FieldIssue(field, message))

    def read_length(self, field: str, value: LengthInput) -> Decimal:
        """Read a length greater than zero [mm]; return zero if it is refused."""
        try:
            mm = parse_length_input(value, self.unit).mm
        except UnitError as error:
            self.add_issue(field, str(error))
            return Decimal(0)
        if mm <= 0:
            self.add_issue(field, "This must be greater than zero.")
            return Decimal(0)
        return mm

    def read_length_text(self, field: str, value: LengthInput) -> str:
        """Read a length and return it as it was typed."""
        mm = self.read_length(field, value)
        if isinstance(value, Length):
            return value.text
        return value if isinstance(value, str) else exact_length_writer(self.unit)(mm)

    def read_spaces(
        self, field: str, value: SpacingInput, whole_field: str, whole: Decimal
    ) -> list[Decimal]:
        """Read spaces that must add up to a whole [mm]."""
        try:
            spaces = [space.mm for space in parse_spacing(value, self.unit)]
        except UnitError as error:
            self.add_issue(field, str(error))
            return []
        total = sum(spaces, Decimal(0))
        over = total - whole
        if whole and abs(over) > SPACING_TOLERANCE_MM:
            style: LengthStyle = "imperial" if self.unit in ("in", "ft") else "metric"
            self.add_issue(
                field,
                f"These add up to {format_length(total, style)}, "
                f"{format_length(abs(over), style)} {'more' if over > 0 else 'less'} "
                f"than the {whole_field} of {format_length(whole, style)}.",
            )
        return spaces

    def write_detail(self, field: str, pattern: Pattern) -> dict[str, Any]:
        """Write a pattern as a detail of the building document."""
        if not isinstance(pattern, PatternSpec):
            return dict(pattern)
        if not 1 <= pattern.rows <= MAX_ROWS:
            self.add_issue(f"{field}.rows", f"There must be 1 to {MAX_ROWS} rows.")
        gage, first_row, row_spacing, rod, hole = (
            self.read_length(f"{field}.{name}", getattr(pattern, name))
            for name in ("gage", "first_row", "row_spacing", "rod", "hole")
        )
        if rod and hole and hole < rod:
            self.add_issue(f"{field}.hole", "The hole is smaller than the rod.")
        optional = {
            name: self.read_length_text(f"{field}.{name}", getattr(pattern, name))
            for name in ("projection", "thickness", "edge")
            if getattr(pattern, name) is not None
        }
        write = exact_length_writer(self.unit)
        rods = [
            {
                "in": write(first_row + row * row_spacing),
                "along": write(side * gage / 2),
                "diameter": write(rod),
            }
            | {k: v for k, v in optional.items() if k == "projection"}
            for row in range(pattern.rows)
            for side in (-1, 1)
        ]
        plate = {"hole_diameter": write(hole)}
        if "thickness" in optional:
            plate["thickness"] = optional["thickness"]
        if "edge" in optional:
            plate["edge_distance"] = optional["edge"]
        return {"reference": pattern.reference, "plate": plate, "rods": rods}


def _given_patterns(spec: RectangleSpec) -> dict[str, Pattern]:
    present = {"frame": spec.frame, "endwall": spec.endwall, "corner": spec.corner}
    return {name: pattern for name, pattern in present.items() if pattern is not None}


def _read_endwall_spaces(
    spec: RectangleSpec, fields: _FieldReader, width: Decimal
) -> list[Decimal]:
    if (spec.endwall_spacing is None) != (spec.endwall is None):
        missing = "endwall_spacing" if spec.endwall_spacing is None else "endwall"
        fields.add_issue(
            missing,
            "Endwall columns need both a spacing and a pattern; without such columns, "
            "leave both out.",
        )
    if spec.endwall_spacing is None:
        return [width]
    return fields.read_spaces("endwall_spacing", spec.endwall_spacing, "width", width)


def _read_corner_inset(
    spec: RectangleSpec, fields: _FieldReader, bays: Sequence[Decimal]
) -> Decimal:
    if (spec.corner is None) != (spec.corner_inset is None):
        missing = "corner" if spec.corner is None else "corner_inset"
        fields.add_issue(
            missing,
            "Corner columns need both a pattern and the distance of their reference "
            "line from the endwall; without such columns, leave both out.",
        )
    if spec.corner_inset is None:
        return Decimal(0)
    inset = fields.read_length("corner_inset", spec.corner_inset)
    if bays and inset >= min(bays[0], bays[-1]):
        fields.add_issue("corner_inset", "This must be less than the end bays.")
    return inset


def _read_notch(spec: RectangleSpec, fields: _FieldReader) -> dict[str, str] | None:
    sizes = {"width": spec.notch_width, "depth": spec.notch_depth}
    present = {name: value for name, value in sizes.items() if value is not None}
    if len(present) == 1:
        missing = next(name for name in sizes if name not in present)
        fields.add_issue(f"notch_{missing}", "A notch needs its width and its depth.")
    return {
        name: fields.read_length_text(f"notch_{name}", value)
        for name, value in present.items()
    } or None


def _read_shims(spec: RectangleSpec, fields: _FieldReader) -> list[str]:
    return [
        fields.read_length_text(f"shim_thicknesses.{number}", each)
        for number, each in enumerate(spec.shim_thicknesses, start=1)
    ]


def _write_concrete(spec: RectangleSpec) -> dict[str, str]:
    present = {
        "specified_strength": spec.specified_strength,
        "placed_on": spec.placed_on,
    }
    return {name: value for name, value in present.items() if value}


def line_letters(number: int) -> str:
    """Letter a column line, from 0: A to Z without I and O, then AA, AB and so on."""
    text = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, len(_LETTERS))
        text = _LETTERS[rest] + text
    return text


def _place_columns(
    length: Decimal,
    width: Decimal,
    bays: Sequence[Decimal],
    spaces: Sequence[Decimal],
    inset: Decimal,
    details: Mapping[str, Any],
) -> Iterator[tuple[str, str, Decimal, str]]:
    """Place the columns wall by wall, counter-clockwise [mm]: mark, wall, along."""
    last_number, last_letter = len(bays) + 1, line_letters(len(spaces))
    frames = [
        (number, x, "frame") for number, x in enumerate(list(accumulate(bays))[:-1], 2)
    ]
    if "corner" in details:
        ends = (1, inset, "corner"), (last_number, length - inset, "corner")
        frames = [ends[0], *frames, ends[1]]
    across = [
        (line_letters(number), y)
        for number, y in enumerate(list(accumulate(spaces))[:-1], 1)
    ]
    for number, x, detail in frames:
        yield f"A{number}", "SW-SE", x, detail
    for name, y in across:
        yield f"{name}{last_number}", "SE-NE", y, "endwall"
    for number, x, detail in reversed(frames):
        yield f"{last_letter}{number}", "NE-NW", length - x, detail
    for name, y in reversed(across):
        yield f"{name}1", "NW-SW", width - y, "endwall"
