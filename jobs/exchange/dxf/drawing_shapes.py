"""What of a DXF drawing a plan can be made of: loops, circles, blocks and words.

Only the model space is read. Blocks are taken apart as far as it takes to find the
circles in them; a block of circles that is inserted once for each position stays
together, for whoever drew it meant them to.
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
"""Of a drawing. [byte] Ours: a plan of a thousand columns is a tenth of it."""

MAX_ENTITIES = 60_000
MAX_BLOCK_DEPTH = 6  # blocks inside blocks
MAX_PATTERN_SPAN_MM = 3000.0
"""A block whose circles lie further apart is a drawing, not a pattern. Ours. [mm]"""

UNIT_BY_INSUNITS: dict[int, LengthUnit] = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
"""`$INSUNITS` by its number (DXF Reference, HEADER section)."""

MAX_COORDINATE = 1e12  # drawing units
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
    """Text at a point. [drawing units]"""

    text: str
    x: float
    y: float
    layer: str
    location: str


@dataclass(frozen=True, slots=True)
class BlockInsert:
    """A block of circles where it is inserted. [drawing units, rad]"""

    name: str
    x: float
    y: float
    rotation: float
    circles: tuple[Circle, ...]
    layer: str
    location: str
    attributes: tuple[tuple[str, str], ...] = ()

    def attribute(self, tag: str) -> str:
        """Give the text of an attribute; empty where it has none."""
        return dict(self.attributes).get(tag, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawingShapes:
    """A drawing, as far as a plan can be made of it.

    Attributes
    ----------
    unit : of the header; None where it names none, or one that is none of ours.
    other : how many entities of another kind there are, by kind and layer.
    broken : what the drawing's own structure has wrong with it.
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
        """Every layer something was found on, by name."""
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
        If it is none, is damaged, or is too large.
    """
    if len(content) > MAX_DRAWING_BYTES:
        most = MAX_DRAWING_BYTES // 1_000_000
        msg = f"A drawing has at most {most} MB here; take out what is no plan."
        raise file_error(msg)
    library = load_ezdxf()
    try:
        drawing, auditor = library.recover.read(io.BytesIO(content))
    except Exception as error:  # a damaged file breaks it anywhere
        msg = "This is no DXF drawing, or a damaged one: save it anew as DXF."
        raise file_error(msg) from error
    _reject_guessed_numbers(auditor)
    try:
        reader = _EntityReader(
            min(MAX_PATTERN_SPAN_MM / _mm_per_unit(drawing.units), 1e9)
        )
        reader.take(drawing.modelspace())
    except DocumentError:
        raise
    except Exception as error:  # as above
        msg = "An entity of this drawing is damaged: save it anew as DXF."
        raise file_error(msg) from error
    return DrawingShapes(
        unit=UNIT_BY_INSUNITS.get(drawing.units),
        polylines=tuple(reader.loops),
        circles=tuple(reader.circles),
        inserts=tuple(reader.patterns),
        labels=tuple(reader.words),
        unsupported=dict(reader.other),
        structure_errors=tuple(str(each.message) for each in auditor.errors),
    )


def _reject_guessed_numbers(auditor: Any) -> None:
    """Refuse a drawing with a number in it that cannot be read as it stands.

    The library takes what it can of such a number; a rod must not stand on a guess.
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
            "anew as DXF.",
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
    """Load the library: half a second, spared where no drawing comes or goes."""
    import ezdxf
    from ezdxf import recover  # noqa: F401 - a part of it that has to be named

    logging.getLogger("ezdxf").setLevel(logging.ERROR)  # told on the page
    return ezdxf


def _mm_per_unit(units: int) -> float:
    return (
        float(MM_PER_UNIT[UNIT_BY_INSUNITS[units]])
        if units in UNIT_BY_INSUNITS
        else 25.4
    )


@dataclass
class _EntityReader:
    """Takes entities one by one, and blocks apart."""

    span: float  # of a pattern [drawing units]
    loops: list[ClosedPolyline] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    patterns: list[BlockInsert] = field(default_factory=list)
    words: list[TextLabel] = field(default_factory=list)
    other: Counter[tuple[str, str]] = field(default_factory=Counter)
    seen: int = 0

    def take(self, entities: Iterable[Any], inside: str = "", deep: int = 0) -> None:
        """Sort entities; `inside` names the insert they come from."""
        for entity in entities:
            self.seen += 1
            if self.seen > MAX_ENTITIES:
                msg = (
                    f"There are more than {MAX_ENTITIES} entities in this drawing, "
                    "blocks taken apart: save the plan alone."
                )
                raise file_error(msg)
            place = inside or _entity_location(entity)
            kind = entity.dxftype()
            if kind == "CIRCLE":
                self.circles.append(_read_circle(entity, place))
            elif kind in ("LWPOLYLINE", "POLYLINE"):
                self._polyline(entity, place)
            elif kind in ("TEXT", "MTEXT"):
                self._words(entity, place)
            elif kind == "INSERT":
                self._insert(entity, place, deep)
            else:
                self._leave(entity)

    def _leave(self, entity: Any) -> None:
        self.other[entity.dxftype(), str(entity.dxf.layer)] += 1

    def _polyline(self, entity: Any, place: str) -> None:
        if entity.dxftype() == "LWPOLYLINE":
            corners = list(entity.vertices_in_wcs())
            bent = any(abs(bulge) > 1e-9 for *_, bulge in entity.get_points("xyb"))
            closed = bool(entity.closed)
        elif entity.is_2d_polyline or entity.is_3d_polyline:
            corners = list(entity.points_in_wcs())
            bent = any(abs(v.dxf.get("bulge", 0.0)) > 1e-9 for v in entity.vertices)
            closed = bool(entity.is_closed)
        else:
            self._leave(entity)
            return
        points = [_read_point(each, place) for each in corners]
        ends = len(points) > 3 and hypot(
            points[0][0] - points[-1][0], points[0][1] - points[-1][1]
        ) < 1e-6 * (1 + abs(points[0][0]) + abs(points[0][1]))
        if ends:
            points.pop()
        if len(points) >= 3 and (closed or ends):
            layer = str(entity.dxf.layer)
            self.loops.append(ClosedPolyline(tuple(points), layer, place, bent))
        else:
            self._leave(entity)

    def _words(self, entity: Any, place: str) -> None:
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
            self.words.append(TextLabel(text, *_read_point(at, place), layer, place))

    def _insert(self, entity: Any, place: str, deep: int) -> None:
        block = entity.block()
        if block is None or deep >= MAX_BLOCK_DEPTH or entity.mcount > 1:
            self._leave(entity)
            return
        parts = list(_explode_insert(entity, MAX_ENTITIES - self.seen))
        circles = [
            _read_circle(each, place) for each in parts if each.dxftype() == "CIRCLE"
        ]
        kinds = {each.dxftype() for each in parts}
        leaf = circles and not kinds & {"INSERT", "LWPOLYLINE", "POLYLINE"}
        own = tuple(
            (str(each.dxf.tag).upper(), str(each.dxf.text).strip())
            for each in entity.attribs
        )
        together = "DETAIL" in dict(own) or 0 < _circle_spread(circles) <= self.span
        if not leaf or not together or _is_mirrored(entity):
            self.take(parts, place, deep + 1)
            return
        self.seen += len(parts)
        x, y = _read_point(entity.ocs().to_wcs(entity.dxf.insert), place)
        self.patterns.append(
            BlockInsert(
                name=str(entity.dxf.name),
                x=x,
                y=y,
                rotation=radians(float(entity.dxf.rotation)),
                circles=tuple(circles),
                layer=str(entity.dxf.layer),
                location=place,
                attributes=own,
            )
        )


def _circle_spread(circles: list[Circle]) -> float:
    """Measure how far circles lie apart, across all of them. [drawing units]"""
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
    """Whether text holds no codes, so that it means what it says."""
    text = str(entity.dxf.get("text", ""))
    return entity.dxftype() == "TEXT" and "%%" not in text and "^" not in text


def _read_circle(entity: Any, place: str) -> Circle:
    centre = entity.ocs().to_wcs(entity.dxf.center)
    size = 2.0 * float(entity.dxf.radius)
    layer = str(entity.dxf.layer)
    return Circle(*_read_point(centre, place), size, layer, place)


def _read_point(point: Any, place: str) -> DrawingPoint:
    """Take a point's plan coordinates, and refuse such as no drawing has."""
    x, y = float(point.x), float(point.y)
    if not max(abs(x), abs(y)) < MAX_COORDINATE:  # nor is what is no number
        msg = f"It stands at {x:g}, {y:g}, where no drawing reaches."
        raise file_error(msg, place)
    return x, y


def _entity_location(entity: Any) -> str:
    handle = entity.dxf.get("handle") or "?"
    return f"{entity.dxftype()} {handle} on layer {entity.dxf.layer}"
