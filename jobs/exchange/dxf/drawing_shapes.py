"""Extract closed polylines, circles, block inserts and texts from a DXF file.

Only the model space is read. Blocks are exploded to find the circles in them, except a
block of circles that is inserted once per position: its circles belong together.
"""

import io
import logging
import re
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from math import hypot, isfinite, radians
from typing import Any

from core.units import MM_PER_UNIT, LengthUnit
from jobs.exchange.issues import DocumentError, file_error, file_issue

MAX_DRAWING_BYTES = 12_000_000
"""A plan of a thousand columns is a tenth of it. [byte] Project choice."""

MAX_ENTITIES = 60_000
MAX_BLOCK_DEPTH = 6  # blocks inside blocks
MAX_PATTERN_SPAN_MM = 3000.0
"""A block with circles further apart is no rod pattern. [mm] Project choice."""

UNIT_BY_INSUNITS: dict[int, LengthUnit] = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
"""`$INSUNITS` by its number (DXF Reference, HEADER section)."""

MAX_DRAWING_COORDINATE = 1e12  # drawing units
MAX_LISTED_ISSUES = 20  # of one kind of damage
DrawingPoint = tuple[float, float]

_GUESSED = re.compile(
    r'recovered invalid floating point value "(?P<text>.*)" near line (?P<line>\d+) as '
    r'"(?P<value>.*)"',
    re.DOTALL,
)


@dataclass(frozen=True, slots=True)
class ClosedPolyline:
    """A closed polyline. [drawing units]"""

    points: tuple[DrawingPoint, ...]
    layer: str
    location: str
    has_arcs: bool = False  # an edge of it is an arc


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle. [drawing units]"""

    x: float
    y: float
    diameter: float
    layer: str
    location: str


@dataclass(frozen=True, slots=True)
class TextLabel:
    """A text at a point. [drawing units]"""

    text: str
    x: float
    y: float
    layer: str
    location: str


@dataclass(frozen=True, slots=True)
class BlockInsert:
    """A block of circles at the point it is inserted. [drawing units, rad]"""

    name: str
    x: float
    y: float
    rotation: float
    circles: tuple[Circle, ...]
    layer: str
    location: str
    attributes: tuple[tuple[str, str], ...] = ()

    def attribute(self, tag: str) -> str:
        """Return the text of an attribute; empty if there is none."""
        return dict(self.attributes).get(tag, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingShapes:
    """The shapes of a drawing that can make a plan.

    Attributes
    ----------
    unit : of the header; None if it names none, or one that plans cannot have.
    unsupported : count of other entities, by kind and layer.
    structure_errors : what is wrong with the drawing's own structure.
    """

    unit: LengthUnit | None
    polylines: tuple[ClosedPolyline, ...]
    circles: tuple[Circle, ...]
    inserts: tuple[BlockInsert, ...]
    labels: tuple[TextLabel, ...]
    unsupported: dict[tuple[str, str], int]
    structure_errors: tuple[str, ...] = ()

    @property
    def layers(self) -> list[str]:
        """The layers with shapes, sorted by name."""
        found = {each.layer for each in self.polylines}
        found |= {each.layer for each in self.circles}
        found |= {each.layer for each in self.labels}
        found |= {each.layer for each in self.inserts}
        found |= {c.layer for each in self.inserts for c in each.circles}
        return sorted(found)


def read_drawing(content: bytes) -> DrawingShapes:
    """Read a DXF drawing, in text or binary form.

    Raises
    ------
    DocumentError
        If it is no drawing, damaged, or too large.
    """
    if len(content) > MAX_DRAWING_BYTES:
        most = MAX_DRAWING_BYTES // 1_000_000
        msg = f"A drawing can have at most {most} MB; remove what is not the plan."
        raise file_error(msg)
    library = load_ezdxf()
    try:
        drawing, auditor = library.recover.read(io.BytesIO(content))
    except Exception as error:  # a damaged file fails anywhere in the library
        msg = "This is no DXF drawing, or it is damaged: save it again as DXF."
        raise file_error(msg) from error
    _reject_guessed_numbers(auditor)
    try:
        reader = _EntityReader(
            min(MAX_PATTERN_SPAN_MM / _mm_per_unit(drawing.units), 1e9)
        )
        reader.read_entities(drawing.modelspace())
    except DocumentError:
        raise
    except Exception as error:  # as above
        msg = "An entity of this drawing is damaged: save it again as DXF."
        raise file_error(msg) from error
    return DrawingShapes(
        unit=UNIT_BY_INSUNITS.get(drawing.units),
        polylines=tuple(reader.polylines),
        circles=tuple(reader.circles),
        inserts=tuple(reader.inserts),
        labels=tuple(reader.labels),
        unsupported=dict(reader.unsupported),
        structure_errors=tuple(str(each.message) for each in auditor.errors),
    )


def _reject_guessed_numbers(auditor: Any) -> None:
    """Refuse a drawing with a number that cannot be read as written.

    The library would read the part of it that makes sense, and a rod must not be
    placed by a guess.
    """
    from ezdxf.audit import AuditError

    guesses = [
        str(each.message)
        for each in (*auditor.errors, *auditor.fixes)
        if each.code == AuditError.INVALID_FLOATING_POINT_VALUE
    ]
    refused = [
        file_issue(
            f"near line {found['line']}",
            f"“{found['text'][:40]}” is no number: the drawing is damaged; save it "
            "again as DXF.",
        )
        for found in map(_GUESSED.fullmatch, guesses)
        if found is not None and not _same_number(found["text"], found["value"])
    ]
    if refused:
        raise DocumentError(refused[:MAX_LISTED_ISSUES])


def _same_number(text: str, value: str) -> bool:
    try:
        return float(text) == float(value) and isfinite(float(value))
    except ValueError:
        return False


def load_ezdxf() -> Any:
    """Load the library: it takes half a second, so only when a drawing is used."""
    import ezdxf
    from ezdxf import recover  # noqa: F401 - a submodule that is not loaded by itself

    logging.getLogger("ezdxf").setLevel(logging.ERROR)  # reported on the page
    return ezdxf


def _mm_per_unit(units: int) -> float:
    return (
        float(MM_PER_UNIT[UNIT_BY_INSUNITS[units]])
        if units in UNIT_BY_INSUNITS
        else 25.4
    )


@dataclass
class _EntityReader:
    """Sorts entities by kind, and explodes blocks."""

    max_span: float  # of a pattern [drawing units]
    polylines: list[ClosedPolyline] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    inserts: list[BlockInsert] = field(default_factory=list)
    labels: list[TextLabel] = field(default_factory=list)
    unsupported: Counter[tuple[str, str]] = field(default_factory=Counter)
    entity_count: int = 0

    def read_entities(
        self, entities: Iterable[Any], inside: str = "", depth: int = 0
    ) -> None:
        """Sort entities; `inside` is the location of the insert they come from."""
        for entity in entities:
            self.entity_count += 1
            if self.entity_count > MAX_ENTITIES:
                msg = (
                    f"This drawing has more than {MAX_ENTITIES} entities, with its "
                    "blocks exploded: save the plan alone."
                )
                raise file_error(msg)
            location = inside or _entity_location(entity)
            kind = entity.dxftype()
            if kind == "CIRCLE":
                self.circles.append(_read_circle(entity, location))
            elif kind in ("LWPOLYLINE", "POLYLINE"):
                self._add_polyline(entity, location)
            elif kind in ("TEXT", "MTEXT"):
                self._add_text(entity, location)
            elif kind == "INSERT":
                self._add_insert(entity, location, depth)
            else:
                self._add_unsupported(entity)

    def _add_unsupported(self, entity: Any) -> None:
        self.unsupported[entity.dxftype(), str(entity.dxf.layer)] += 1

    def _add_polyline(self, entity: Any, location: str) -> None:
        if entity.dxftype() == "LWPOLYLINE":
            corners = list(entity.vertices_in_wcs())
            has_arcs = any(abs(bulge) > 1e-9 for *_, bulge in entity.get_points("xyb"))
            closed = bool(entity.closed)
        elif entity.is_2d_polyline or entity.is_3d_polyline:
            corners = list(entity.points_in_wcs())
            has_arcs = any(abs(v.dxf.get("bulge", 0.0)) > 1e-9 for v in entity.vertices)
            closed = bool(entity.is_closed)
        else:
            self._add_unsupported(entity)
            return
        points = [_read_point(each, location) for each in corners]
        ends = len(points) > 3 and hypot(
            points[0][0] - points[-1][0], points[0][1] - points[-1][1]
        ) < 1e-6 * (1 + abs(points[0][0]) + abs(points[0][1]))
        if ends:
            points.pop()
        if len(points) >= 3 and (closed or ends):
            layer = str(entity.dxf.layer)
            self.polylines.append(
                ClosedPolyline(tuple(points), layer, location, has_arcs)
            )
        else:
            self._add_unsupported(entity)

    def _add_text(self, entity: Any, location: str) -> None:
        at = entity.dxf.insert
        if entity.dxftype() == "TEXT":
            at = entity.ocs().to_wcs(entity.get_placement()[1])
        text = (
            str(entity.dxf.get("text", ""))
            if _has_no_codes(entity)
            else entity.plain_text()
        )
        text = " ".join(str(text).split())
        if text:
            layer = str(entity.dxf.layer)
            self.labels.append(
                TextLabel(text, *_read_point(at, location), layer, location)
            )

    def _add_insert(self, entity: Any, location: str, depth: int) -> None:
        block = entity.block()
        if block is None or depth >= MAX_BLOCK_DEPTH or entity.mcount > 1:
            self._add_unsupported(entity)
            return
        parts = list(_explode_insert(entity, MAX_ENTITIES - self.entity_count))
        circles = [
            _read_circle(each, location) for each in parts if each.dxftype() == "CIRCLE"
        ]
        kinds = {each.dxftype() for each in parts}
        is_pattern = circles and not kinds & {"INSERT", "LWPOLYLINE", "POLYLINE"}
        attributes = tuple(
            (str(each.dxf.tag).upper(), str(each.dxf.text).strip())
            for each in entity.attribs
        )
        together = (
            "DETAIL" in dict(attributes) or 0 < _circle_spread(circles) <= self.max_span
        )
        if not is_pattern or not together or _is_mirrored(entity):
            # Not one rod pattern: explode the block and sort what is in it.
            self.read_entities(parts, location, depth + 1)
            return
        self.entity_count += len(parts)
        x, y = _read_point(entity.ocs().to_wcs(entity.dxf.insert), location)
        self.inserts.append(
            BlockInsert(
                name=str(entity.dxf.name),
                x=x,
                y=y,
                rotation=radians(float(entity.dxf.rotation)),
                circles=tuple(circles),
                layer=str(entity.dxf.layer),
                location=location,
                attributes=attributes,
            )
        )


def _circle_spread(circles: list[Circle]) -> float:
    """Return the diagonal of the circles' bounding box. [drawing units]"""
    xs, ys = [c.x for c in circles] or [0.0], [c.y for c in circles] or [0.0]
    return hypot(max(xs) - min(xs), max(ys) - min(ys))


def _explode_insert(insert: Any, most: int) -> Iterator[Any]:
    for number, each in enumerate(insert.virtual_entities()):
        if number > most:
            return
        yield each


def _is_mirrored(insert: Any) -> bool:
    scales = (insert.dxf.xscale, insert.dxf.yscale)
    upright = float(insert.dxf.extrusion.z) > 0
    return min(scales) <= 0 or abs(scales[0] - scales[1]) > 1e-9 or not upright


def _has_no_codes(entity: Any) -> bool:
    """Return True if a text has no formatting codes."""
    text = str(entity.dxf.get("text", ""))
    return entity.dxftype() == "TEXT" and "%%" not in text and "^" not in text


def _read_circle(entity: Any, location: str) -> Circle:
    centre = entity.ocs().to_wcs(entity.dxf.center)
    size = 2.0 * float(entity.dxf.radius)
    layer = str(entity.dxf.layer)
    return Circle(*_read_point(centre, location), size, layer, location)


def _read_point(point: Any, location: str) -> DrawingPoint:
    """Return a point's plan coordinates; refuse those no drawing has."""
    x, y = float(point.x), float(point.y)
    if not max(abs(x), abs(y)) < MAX_DRAWING_COORDINATE:  # also refuses NaN
        msg = f"This is at {x:g}, {y:g}, far outside any drawing."
        raise file_error(msg, location)
    return x, y


def _entity_location(entity: Any) -> str:
    handle = entity.dxf.get("handle") or "?"
    return f"{entity.dxftype()} {handle} on layer {entity.dxf.layer}"
