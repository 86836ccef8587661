"""A DXF drawing to an exchange document: outline, positions and their patterns.

The outline is a closed polyline; rods are circles; rods near one another are a
position; positions whose rods stand alike share a detail. A position near a wall
stands on it, its reference line through the middle of its rods; any other stands at a
point. Where positions are blocks, they stand where their block is inserted.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
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
    file_error,
    file_issue,
    join_pointer,
)
from jobs.exchange.vocabulary import BUILDING_FORMAT, MAX_NAME_LENGTH

MAX_ROD_DIAMETER_MM = 102.0
"""A larger circle is no rod: no anchor rod is over 4 in thick. Common practice."""

ROD_GROUP_DISTANCE_MM = 460.0
"""Rods no further apart than this are of one position, unless said otherwise. Ours."""

MAX_POSITIONS = 2000
"""Of a drawing; the largest metal buildings have some hundreds. Ours."""

MAX_MARK_DISTANCE_MM = 3000.0
MAX_PLAN_COORDINATE_MM = 9_000_000.0  # from the origin; lengths are read to 10 km
MIN_BUILDING_MM, MAX_BUILDING_MM = (
    2000.0,
    1_000_000.0,
)  # of a building: beyond, look again


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingOptions:
    """How a drawing is to be read; empty means: find out.

    Attributes
    ----------
    name : of the building.
    unit : of the drawing, where its header names none or a wrong one.
    outline, rods, marks : layers.
    near_mm : how far apart rods of one position may be. [mm]
    """

    name: str = ""
    unit: LengthUnit | None = None
    outline: str = ""
    rods: str = ""
    marks: str = ""
    group_distance_mm: float = ROD_GROUP_DISTANCE_MM


def import_plan_drawing(
    shapes: DrawingShapes,
    choices: DrawingOptions,
    base: Mapping[str, Any] | None = None,
) -> ImportedFile:
    """Make an exchange document of a drawing.

    Parameters
    ----------
    shapes : the drawing.
    choices : how it is to be read.
    base : the document of the plan in force: it gives all that a drawing does not
        show, and the details whose rods stand as drawn.

    Raises
    ------
    DocumentError
        If there is no outline or no unit in it.
    """
    unit = choices.unit or shapes.unit
    if unit is None:
        msg = "The drawing does not say which unit it is in: choose one."
        raise file_error(msg, "the header")
    drawing = _DrawingImport(
        shapes, replace(choices, unit=unit), float(MM_PER_UNIT[unit])
    )
    return drawing.read(base or {})


def guess_rod_layer(shapes: DrawingShapes) -> str:
    """Choose the layer rods are most likely on; empty where they may be on any."""
    counts = Counter(
        circle.layer
        for circle in (
            *shapes.circles,
            *(c for p in shapes.inserts for c in p.circles),
        )
        if any(word in circle.layer.lower() for word in ("rod", "bolt", "anchor"))
        and "built" not in circle.layer.lower()
    )
    return counts.most_common(1)[0][0] if counts else ""


@dataclass
class _DrawingImport:
    """A drawing being read; what is found is in mm, what is left is told."""

    shapes: DrawingShapes
    choices: DrawingOptions
    scale: float  # mm per drawing unit
    origin: tuple[float, float] = (0.0, 0.0)  # moved to 0, 0 [drawing units]
    places: dict[str, str] = field(default_factory=lambda: {"": "the drawing"})
    left: list[DocumentIssue] = field(default_factory=list)
    used: set[int] = field(default_factory=set)  # words that name something, by id
    unread: Counter[tuple[str, str]] = field(default_factory=Counter)  # circles

    def read(self, base: Mapping[str, Any]) -> ImportedFile:
        unit = self.choices.unit or "mm"
        self.write = drawing_length_writer(unit)
        loop = self._outline()
        self._move(loop)
        points = [self.at(point) for point in loop.points]
        if doubled_area(points) < 0:
            points.reverse()
        names = self._corners(points)
        outline = [
            {"corner": name, "x": self.write(x), "y": self.write(y)}
            for name, (x, y) in zip(names, points, strict=True)
        ]
        self.places["/outline"] = loop.location
        groups = self._groups()
        found = [place_group(group, names, points) for group in groups]
        marks = self._marks(groups)
        plan = parse_building(base).plan if base else None
        details = DetailCatalogue(self.write, base, plan)
        positions = []
        for index, (group, place, mark) in enumerate(
            zip(groups, found, marks, strict=True)
        ):
            self.places[f"/positions/{index}"] = group.location
            positions.append(self._position(group, place, mark, details))
        for name in details.document:
            self.places[join_pointer("/details", name)] = details.source_locations[name]
        self._tell_rest(bool(base))
        document = dict(base) | {
            "format": BUILDING_FORMAT,
            "name": self.choices.name or base.get("name", ""),
            "outline": outline,
            "details": details.document,
            "positions": positions,
        }
        document.setdefault("length_unit", unit)
        self.places["/name"] = "the field Name"
        if "diagonals" in document and not _has_same_corners(base, names):
            del document["diagonals"]
        return ImportedFile(
            document=document, source_locations=self.places, ignored=tuple(self.left)
        )

    def at(self, point: tuple[float, float]) -> tuple[float, float]:
        """Carry a point of the drawing onto plan axes. [mm]"""
        x, y = point[0] - self.origin[0], point[1] - self.origin[1]
        return x * self.scale, y * self.scale

    def leave(self, place: str, message: str) -> None:
        self.left.append(file_issue(place, message))

    # ---- the outline --------------------------------------------------------

    def _outline(self) -> ClosedPolyline:
        chosen = self.choices.outline
        loops = [e for e in self.shapes.polylines if not chosen or e.layer == chosen]
        straight = [each for each in loops if not each.has_arcs]
        named = (
            [e for e in straight if "steel" in e.layer.lower()] if not chosen else []
        )
        if not straight:
            where = f"on the layer {chosen}" if chosen else "in the drawing"
            curved = " with straight edges only" if loops else ""
            msg = (
                f"There is no closed polyline {where}{curved}: draw the steel line as "
                "one."
            )
            place = loops[0].location if loops else "the drawing"
            raise file_error(msg, place)
        loop = max(named or straight, key=lambda each: abs(doubled_area(each.points)))
        rest = Counter(each.layer for each in self.shapes.polylines if each is not loop)
        for layer, count in sorted(rest.items()):
            msg = f"{count} other closed polyline{'s' * (count > 1)} not read."
            self.leave(f"layer {layer}", msg)
        size = self.scale * max(
            max(p[axis] for p in loop.points) - min(p[axis] for p in loop.points)
            for axis in (0, 1)
        )
        if not MIN_BUILDING_MM <= size <= MAX_BUILDING_MM:
            msg = (
                f"The outline is {size / 1000:.4g} m long in {self.choices.unit}: is "
                "that the drawing's unit?"
            )
            self.leave(loop.location, msg)
        return loop

    def _move(self, loop: ClosedPolyline) -> None:
        """Bring what lies too far out for lengths on a plan to the origin."""
        most = max(abs(each) for point in loop.points for each in point) * self.scale
        if most > MAX_PLAN_COORDINATE_MM:
            xs, ys = zip(*loop.points, strict=True)
            self.origin = min(xs), min(ys)
            msg = (
                f"Coordinates this large are moved: {self.origin[0]:.6g}, "
                f"{self.origin[1]:.6g} becomes 0, 0."
            )
            self.leave(loop.location, msg)

    def _corners(self, points: Sequence[tuple[float, float]]) -> list[str]:
        words = [w for w in self.shapes.labels if "corner" in w.layer.lower()]
        self.used |= {id(each) for each in words}
        side = max(max(axis) - min(axis) for axis in zip(*points, strict=True))
        found = match_labels(
            points, self._named(words), max(MAX_MARK_DISTANCE_MM, 0.05 * side)
        )
        return name_corners(points, found)

    def _named(
        self, words: Iterable[TextLabel]
    ) -> list[tuple[str, tuple[float, float]]]:
        return [(each.text, self.at((each.x, each.y))) for each in words]

    # ---- rods ---------------------------------------------------------------

    def _groups(self) -> list[RodGroup]:
        """Gather the rods into positions: blocks as they are, the rest by nearness."""
        chosen = self.choices.rods or guess_rod_layer(self.shapes)
        groups = []
        for pattern in self.shapes.inserts:
            circles = self._rods(pattern.circles, chosen)
            if circles:
                at = self.at((pattern.x, pattern.y))
                groups.append(RodGroup(circles, pattern.location, pattern, at))
        loose = self._rods(self.shapes.circles, chosen)
        groups += [
            RodGroup(circles, circles[0][1].location)
            for circles in group_rods(loose, self.choices.group_distance_mm)
        ]
        if len(groups) > MAX_POSITIONS:
            msg = (
                f"These circles are {len(groups)} positions; {MAX_POSITIONS} are the "
                "most. Choose the rods' layer."
            )
            raise file_error(msg, "the drawing")
        if not groups:
            where = f"on the layer {chosen}" if chosen else "in the drawing"
            self.leave(
                "the drawing", f"There are no rods {where}: no circles of a rod's size."
            )
        return groups

    def _rods(self, circles: Sequence[Circle], layer: str) -> list[RodCircle]:
        taken = []
        for circle in circles:
            size = circle.diameter * self.scale
            if layer and circle.layer != layer:
                self.unread[circle.layer, "on another layer than the rods"] += 1
            elif not 0 < size <= MAX_ROD_DIAMETER_MM:
                self.unread[circle.layer, "too large for a rod"] += 1
            else:
                taken.append(((*self.at((circle.x, circle.y)), size), circle))
        return taken

    def _marks(self, groups: Sequence[RodGroup]) -> list[str]:
        """Name each position by its block, or by the words nearest to it."""
        own = [g.insert.attribute("MARK") if g.insert else "" for g in groups]
        free = [i for i, mark in enumerate(own) if not mark]
        layer = self.choices.marks
        words = [
            each
            for each in self.shapes.labels
            if (each.layer == layer if layer else id(each) not in self.used)
            and len(each.text) <= MAX_NAME_LENGTH
            and not _is_dimension(each.text)
        ]
        middles = [groups[i].centre for i in free]
        found = match_labels(middles, self._named(words), MAX_MARK_DISTANCE_MM)
        taken = {name for name in (*own, *found) if name}
        self.used |= {id(each) for each in words if each.text in taken}
        made = (f"P{n}" for n in range(1, 10**6) if f"P{n}" not in taken)
        for i, mark in zip(free, found, strict=True):
            own[i] = mark or next(made)
            if not mark:
                msg = f"No mark stands near these rods; they are called {own[i]}."
                self.leave(groups[i].location, msg)
        return own

    def _position(
        self,
        group: RodGroup,
        place: PositionPlacement,
        mark: str,
        details: DetailCatalogue,
    ) -> dict[str, Any]:
        """Write a position, and its detail unless another has the same pattern."""
        name, turned = details.find_or_add(group, place)
        if place.wall is not None:
            along = self.write(max(place.along, 0.0))
            return {"mark": mark, "wall": place.wall, "along": along, "detail": name}
        turn = f"{round((place.rotation_deg + turned) % 360.0, 9):g} deg"
        return {
            "mark": mark,
            "x": self.write(place.x),
            "y": self.write(place.y),
            "turn": turn,
            "detail": name,
        }

    # ---- the rest -----------------------------------------------------------

    def _tell_rest(self, over_base: bool) -> None:
        for (where, why), count in sorted(self.unread.items()):
            msg = f"{count} circle{'s' * (count > 1)} not read: {why}."
            self.leave(f"layer {where}", msg)
        unread = Counter(w.layer for w in self.shapes.labels if id(w) not in self.used)
        for layer, count in sorted(unread.items()):
            msg = f"{count} text{'s' * (count > 1)} not read."
            self.leave(f"layer {layer}", msg)
        by_layer: dict[str, list[str]] = defaultdict(list)
        for (kind, layer), count in sorted(self.shapes.unsupported.items()):
            by_layer[layer].append(f"{count} {kind}")
        for layer, kinds in by_layer.items():
            self.leave(f"layer {layer}", f"Not read: {', '.join(kinds)}.")
        for message in self.shapes.structure_errors[:20]:
            self.leave("the drawing", message)
        if not over_base:
            msg = (
                "A drawing shows no projections, plates, shims or strength: add them "
                "in a revision, as a workbook."
            )
            self.leave("the drawing", msg)


def _is_dimension(text: str) -> bool:
    """Whether words are a dimension, not a name."""
    try:
        parse_length(text)
    except UnitError:
        return False
    return True


def _has_same_corners(base: Mapping[str, Any], names: Sequence[str]) -> bool:
    corners = base.get("outline")
    known = [e.get("corner") for e in corners] if isinstance(corners, list) else []
    return known == list(names)
