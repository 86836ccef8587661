"""Import of a plan from a DXF drawing: outline, positions and their rod patterns.

The outline is a closed polyline and rods are circles. Rods near each other are one
position, and positions with the same rod pattern share a detail. A position near a wall
is on it, with its reference line through the middle of its rods; any other is at a
point. A position that is a block is where its block is inserted.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import count
from typing import Any

from core.units import MM_PER_UNIT, LengthUnit, UnitError, parse_length
from jobs.exchange.dxf.drawing_shapes import (
    Circle,
    ClosedPolyline,
    DrawingShapes,
    TextLabel,
)
from jobs.exchange.dxf.rod_groups import (
    PositionPlacement,
    RodCircle,
    RodGroup,
    doubled_area,
    group_rods,
    match_labels,
    name_corners,
    place_group,
)
from jobs.exchange.dxf.rod_patterns import DetailCatalogue, drawing_length_writer
from jobs.exchange.imported_file import ImportedFile
from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import (
    DocumentIssue,
    IssueCode,
    file_error,
    file_issue,
    join_pointer,
)
from jobs.exchange.vocabulary import BUILDING_FORMAT, MAX_NAME_LENGTH

MAX_ROD_DIAMETER_MM = 102.0
"""A larger circle is no rod: no anchor rod is over 4 in thick. Common practice."""

ROD_GROUP_DISTANCE_MM = 460.0
"""Rods no further apart than this belong to one position. Project choice."""

MAX_POSITIONS = 2000
"""The largest metal buildings have some hundreds. Project choice."""

MAX_MARK_DISTANCE_MM = 3000.0
"""Furthest that a mark is from its position. Project choice."""

MAX_CORNER_LABEL_RATIO = 0.05
"""Furthest that a corner's name is from it, of the outline's longer side."""

MAX_PLAN_COORDINATE_MM = 9_000_000.0
"""An outline beyond this is moved to the origin: lengths are read up to 10 km."""

MIN_BUILDING_MM, MAX_BUILDING_MM = 2000.0, 1_000_000.0
"""A building outside these is probably in another unit. Project choice."""

MAX_LISTED_ERRORS = 20

PlanPoints = Sequence[tuple[float, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingOptions:
    """How to read a drawing; what is empty is detected.

    Attributes
    ----------
    name : of the building.
    unit : of the drawing, if its header names none or a wrong one.
    outline, rods, marks : layers.
    group_distance_mm : largest distance between neighbouring rods of one position. [mm]
    """

    name: str = ""
    unit: LengthUnit | None = None
    outline: str = ""
    rods: str = ""
    marks: str = ""
    group_distance_mm: float = ROD_GROUP_DISTANCE_MM


def import_plan_drawing(
    shapes: DrawingShapes,
    options: DrawingOptions,
    base: Mapping[str, Any] | None = None,
) -> ImportedFile:
    """Build a document from a drawing.

    Parameters
    ----------
    shapes : of the drawing.
    options : how to read it.
    base : document of the current plan. It supplies what a drawing does not show, and
        the details whose rod patterns are those drawn.

    Raises
    ------
    DocumentError
        If the drawing has no outline or no unit.
    """
    unit = options.unit or shapes.unit
    if unit is None:
        msg = "The drawing does not name its unit: choose one."
        raise file_error(msg, "the header")
    scale = float(MM_PER_UNIT[unit])
    drawing = _DrawingImport(shapes, replace(options, unit=unit), unit, scale)
    return drawing.build_document(base or {})


def guess_rod_layer(shapes: DrawingShapes) -> str:
    """Guess the layer of the rods by its name; empty if no name suggests one."""
    inserted = (circle for insert in shapes.inserts for circle in insert.circles)
    counts = Counter(
        circle.layer
        for circle in (*shapes.circles, *inserted)
        if any(word in circle.layer.lower() for word in ("rod", "bolt", "anchor"))
        and "built" not in circle.layer.lower()
    )
    return counts.most_common(1)[0][0] if counts else ""


@dataclass
class _DrawingImport:
    """The import of one drawing; found shapes are converted to mm on plan axes."""

    shapes: DrawingShapes
    options: DrawingOptions
    unit: LengthUnit
    scale: float  # mm per drawing unit
    origin: tuple[float, float] = (0.0, 0.0)  # becomes 0, 0 [drawing units]
    locations: dict[str, str] = field(default_factory=lambda: {"": "the drawing"})
    ignored: list[DocumentIssue] = field(default_factory=list)
    assumptions: list[DocumentIssue] = field(default_factory=list)
    used_labels: set[int] = field(default_factory=set)  # by id()
    ignored_circles: Counter[tuple[str, str]] = field(default_factory=Counter)

    def __post_init__(self) -> None:
        self.write = drawing_length_writer(self.unit)

    def build_document(self, base: Mapping[str, Any]) -> ImportedFile:
        polyline = self._find_outline()
        self._move_to_origin(polyline)
        points = [self.to_plan(point) for point in polyline.points]
        # Drawings run either way; a plan runs counter-clockwise.
        if doubled_area(points) < 0:
            points.reverse()
        corners = self._name_corners(points)
        self.locations["/outline"] = polyline.location
        self.locations["/name"] = "the field Name"
        details = DetailCatalogue(
            self.write, base, parse_building(base).plan if base else None
        )
        positions = self._build_positions(corners, points, details)
        for name in details.document:
            location = details.source_locations[name]
            self.locations[join_pointer("/details", name)] = location
        self._report_ignored(with_base=bool(base))
        document = {
            "length_unit": self.unit,
            **base,
            "format": BUILDING_FORMAT,
            "name": self.options.name or base.get("name", ""),
            "outline": [
                {"corner": name, "x": self.write(x), "y": self.write(y)}
                for name, (x, y) in zip(corners, points, strict=True)
            ],
            "details": details.document,
            "positions": positions,
        }
        # Diagonals of the current plan name corners that the drawing may not have.
        if "diagonals" in document and not _has_same_corners(base, corners):
            del document["diagonals"]
        return ImportedFile(
            document=document,
            source_locations=self.locations,
            ignored=tuple(self.ignored),
            assumptions=tuple(self.assumptions),
        )

    def to_plan(self, point: tuple[float, float]) -> tuple[float, float]:
        """Convert a point of the drawing to plan axes. [mm]"""
        x, y = point[0] - self.origin[0], point[1] - self.origin[1]
        return x * self.scale, y * self.scale

    def add_ignored(self, location: str, message: str) -> None:
        self.ignored.append(file_issue(location, message, IssueCode.IGNORED))

    def add_assumption(self, location: str, message: str) -> None:
        self.assumptions.append(file_issue(location, message, IssueCode.ASSUMED))

    # ---- the outline ----------------------------------------------------------------

    def _find_outline(self) -> ClosedPolyline:
        """Find the outline: by layer, by name of a layer, else the largest polyline."""
        chosen = self.options.outline
        polylines = [
            each for each in self.shapes.polylines if not chosen or each.layer == chosen
        ]
        straight = [each for each in polylines if not each.has_arcs]
        if not straight:
            where = f"on the layer {chosen}" if chosen else "in the drawing"
            curved = " with straight edges only" if polylines else ""
            msg = (
                f"There is no closed polyline {where}{curved}: draw the steel line as "
                "one."
            )
            location = polylines[0].location if polylines else "the drawing"
            raise file_error(msg, location)
        named = [each for each in straight if "steel" in each.layer.lower()]
        candidates = named if named and not chosen else straight
        outline = max(candidates, key=lambda each: abs(doubled_area(each.points)))
        others = Counter(e.layer for e in self.shapes.polylines if e is not outline)
        for layer, number in sorted(others.items()):
            msg = f"{_count_of(number, 'other closed polyline')} ignored."
            self.add_ignored(f"layer {layer}", msg)
        self._check_size(outline)
        return outline

    def _check_size(self, outline: ClosedPolyline) -> None:
        size = self.scale * max(
            max(values) - min(values) for values in zip(*outline.points, strict=True)
        )
        if not MIN_BUILDING_MM <= size <= MAX_BUILDING_MM:
            msg = (
                f"The outline is {size / 1000:.4g} m long in {self.unit}: check the "
                "drawing's unit."
            )
            self.add_assumption(outline.location, msg)

    def _move_to_origin(self, outline: ClosedPolyline) -> None:
        """Move an outline to the origin if lengths on a plan do not reach that far."""
        furthest = max(abs(each) for point in outline.points for each in point)
        if furthest * self.scale > MAX_PLAN_COORDINATE_MM:
            xs, ys = zip(*outline.points, strict=True)
            self.origin = min(xs), min(ys)
            msg = (
                f"Coordinates this large are moved: {self.origin[0]:.6g}, "
                f"{self.origin[1]:.6g} becomes 0, 0."
            )
            self.add_assumption(outline.location, msg)

    def _name_corners(self, points: PlanPoints) -> list[str]:
        labels = [each for each in self.shapes.labels if "corner" in each.layer.lower()]
        self.used_labels |= {id(each) for each in labels}
        side = max(max(axis) - min(axis) for axis in zip(*points, strict=True))
        within = max(MAX_MARK_DISTANCE_MM, MAX_CORNER_LABEL_RATIO * side)
        return name_corners(points, match_labels(points, self._place(labels), within))

    def _place(
        self, labels: Iterable[TextLabel]
    ) -> list[tuple[str, tuple[float, float]]]:
        return [(each.text, self.to_plan((each.x, each.y))) for each in labels]

    # ---- positions ------------------------------------------------------------------

    def _build_positions(
        self, corners: Sequence[str], points: PlanPoints, details: DetailCatalogue
    ) -> list[dict[str, Any]]:
        groups = self._group_rods()
        marks = self._choose_marks(groups)
        positions = []
        for index, (group, mark) in enumerate(zip(groups, marks, strict=True)):
            self.locations[f"/positions/{index}"] = group.location
            placement = place_group(group, corners, points)
            positions.append(self._build_position(group, placement, mark, details))
        return positions

    def _group_rods(self) -> list[RodGroup]:
        """Group the rods into positions: blocks as inserted, others by distance."""
        layer = self.options.rods or guess_rod_layer(self.shapes)
        groups = []
        for insert in self.shapes.inserts:
            rods = self._select_rods(insert.circles, layer)
            if rods:
                at = self.to_plan((insert.x, insert.y))
                groups.append(RodGroup(rods, insert.location, insert, at))
        loose = self._select_rods(self.shapes.circles, layer)
        groups += [
            RodGroup(rods, rods[0][1].location)
            for rods in group_rods(loose, self.options.group_distance_mm)
        ]
        if len(groups) > MAX_POSITIONS:
            msg = (
                f"These circles make {len(groups)} positions; at most {MAX_POSITIONS} "
                "are allowed. Choose the rods' layer."
            )
            raise file_error(msg, "the drawing")
        if not groups:
            where = f"on the layer {layer}" if layer else "in the drawing"
            msg = f"There are no rods {where}: no circles of a rod's size."
            self.add_ignored("the drawing", msg)
        return groups

    def _select_rods(self, circles: Sequence[Circle], layer: str) -> list[RodCircle]:
        rods = []
        for circle in circles:
            diameter = circle.diameter * self.scale
            if layer and circle.layer != layer:
                self.ignored_circles[circle.layer, "not on the layer of the rods"] += 1
            elif not 0 < diameter <= MAX_ROD_DIAMETER_MM:
                self.ignored_circles[circle.layer, "too large for a rod"] += 1
            else:
                at = self.to_plan((circle.x, circle.y))
                rods.append(((*at, diameter), circle))
        return rods

    def _choose_marks(self, groups: Sequence[RodGroup]) -> list[str]:
        """Choose each position's mark: of its block, of the nearest label, or new."""
        marks = [g.insert.attribute("MARK") if g.insert else "" for g in groups]
        unmarked = [index for index, mark in enumerate(marks) if not mark]
        labels = [each for each in self.shapes.labels if self._may_be_mark(each)]
        centres = [groups[index].centre for index in unmarked]
        nearest = match_labels(centres, self._place(labels), MAX_MARK_DISTANCE_MM)
        taken = {name for name in (*marks, *nearest) if name}
        self.used_labels |= {id(each) for each in labels if each.text in taken}
        new = (f"P{number}" for number in count(1) if f"P{number}" not in taken)
        for index, mark in zip(unmarked, nearest, strict=True):
            marks[index] = mark or next(new)
            if not mark:
                msg = (
                    f"No mark is near these rods; the position is named {marks[index]}."
                )
                self.add_assumption(groups[index].location, msg)
        return marks

    def _may_be_mark(self, label: TextLabel) -> bool:
        layer = self.options.marks
        on_layer = label.layer == layer if layer else id(label) not in self.used_labels
        fits = len(label.text) <= MAX_NAME_LENGTH
        return on_layer and fits and not _is_dimension(label.text)

    def _build_position(
        self,
        group: RodGroup,
        placement: PositionPlacement,
        mark: str,
        details: DetailCatalogue,
    ) -> dict[str, Any]:
        """Build a position; its detail is shared with equal rod patterns."""
        name, rotation_deg = details.find_or_add(group, placement)
        if placement.wall is not None:
            along = self.write(max(placement.along, 0.0))
            return {
                "mark": mark,
                "wall": placement.wall,
                "along": along,
                "detail": name,
            }
        turn_deg = round((placement.rotation_deg + rotation_deg) % 360.0, 9)
        return {
            "mark": mark,
            "x": self.write(placement.x),
            "y": self.write(placement.y),
            "turn": f"{turn_deg:g} deg",
            "detail": name,
        }

    # ---- what was left out ----------------------------------------------------------

    def _report_ignored(self, *, with_base: bool) -> None:
        for (layer, reason), number in sorted(self.ignored_circles.items()):
            msg = f"{_count_of(number, 'circle')} ignored: {reason}."
            self.add_ignored(f"layer {layer}", msg)
        unused = Counter(
            each.layer
            for each in self.shapes.labels
            if id(each) not in self.used_labels
        )
        for layer, number in sorted(unused.items()):
            self.add_ignored(f"layer {layer}", f"{_count_of(number, 'text')} ignored.")
        by_layer: dict[str, list[str]] = defaultdict(list)
        for (kind, layer), number in sorted(self.shapes.unsupported.items()):
            by_layer[layer].append(f"{number} {kind}")
        for layer, kinds in by_layer.items():
            self.add_ignored(f"layer {layer}", f"Ignored: {', '.join(kinds)}.")
        for message in self.shapes.structure_errors[:MAX_LISTED_ERRORS]:
            self.add_ignored("the drawing", message)
        if not with_base:
            msg = (
                "A drawing shows no projections, plates, shims or strength: add them "
                "in a revision, with a workbook."
            )
            self.add_assumption("the drawing", msg)


def _count_of(number: int, noun: str) -> str:
    return f"{number} {noun}{'s' if number > 1 else ''}"


def _is_dimension(text: str) -> bool:
    """Return True if a text is a length, so that it is no mark."""
    try:
        parse_length(text)
    except UnitError:
        return False
    return True


def _has_same_corners(base: Mapping[str, Any], names: Sequence[str]) -> bool:
    corners = base.get("outline")
    known = [e.get("corner") for e in corners] if isinstance(corners, list) else []
    return known == list(names)
