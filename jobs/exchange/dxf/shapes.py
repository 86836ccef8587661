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
from jobs.exchange.reader import DocumentError, Refusal

LARGEST = 12_000_000
"""Of a drawing. [byte] Ours: a plan of a thousand columns is a tenth of it."""

MOST_SHAPES = 60_000
DEEPEST = 6  # blocks inside blocks
PATTERN_SPAN_MM = 3000.0
"""A block whose circles lie further apart is a drawing, not a pattern. Ours. [mm]"""

UNITS: dict[int, LengthUnit] = {1: "in", 2: "ft", 4: "mm", 5: "cm", 6: "m"}
"""`$INSUNITS` by its number (DXF Reference, HEADER section)."""

FARTHEST = 1e12  # drawing units
MOST_TOLD = 20  # of one kind of damage
Point = tuple[float, float]

_GUESSED = re.compile(
    r'recovered invalid floating point value "(?P<text>.*)" near line (?P<line>\d+) as '
    r'"(?P<value>.*)"',
    re.DOTALL,
)


@dataclass(frozen=True, slots=True)
class Loop:
    """A closed polyline. [drawing units]"""

    points: tuple[Point, ...]
    layer: str
    place: str
    bent: bool = False  # an edge of it is an arc


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle. [drawing units]"""

    x: float
    y: float
    diameter: float
    layer: str
    place: str


@dataclass(frozen=True, slots=True)
class Words:
    """Text at a point. [drawing units]"""

    text: str
    x: float
    y: float
    layer: str
    place: str


@dataclass(frozen=True, slots=True)
class Pattern:
    """A block of circles where it is inserted. [drawing units, rad]"""

    name: str
    x: float
    y: float
    turn: float
    circles: tuple[Circle, ...]
    layer: str
    place: str
    attributes: tuple[tuple[str, str], ...] = ()

    def attribute(self, tag: str) -> str:
        """Give the text of an attribute; empty where it has none."""
        return dict(self.attributes).get(tag, "")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shapes:
    """A drawing, as far as a plan can be made of it.

    Attributes
    ----------
    unit : of the header; None where it names none, or one that is none of ours.
    other : how many entities of another kind there are, by kind and layer.
    broken : what the drawing's own structure has wrong with it.
    """

    unit: LengthUnit | None
    loops: tuple[Loop, ...]
    circles: tuple[Circle, ...]
    patterns: tuple[Pattern, ...]
    words: tuple[Words, ...]
    other: dict[tuple[str, str], int]
    broken: tuple[str, ...] = ()

    @property
    def layers(self) -> list[str]:
        """Every layer something was found on, by name."""
        found = {each.layer for each in self.loops}
        found |= {each.layer for each in self.circles}
        found |= {each.layer for each in self.words}
        found |= {each.layer for each in self.patterns}
        found |= {c.layer for each in self.patterns for c in each.circles}
        return sorted(found)


def read_shapes(content: bytes) -> Shapes:
    """Read a DXF drawing, in text or binary form.

    Raises
    ------
    DocumentError
        If it is none, is damaged, or is too large.
    """
    if len(content) > LARGEST:
        most = LARGEST // 1_000_000
        msg = f"A drawing has at most {most} MB here; take out what is no plan."
        raise DocumentError([Refusal("", msg)])
    library = ezdxf()
    try:
        drawing, auditor = library.recover.read(io.BytesIO(content))
    except Exception as error:  # a damaged file breaks it anywhere
        msg = "This is no DXF drawing, or a damaged one: save it anew as DXF."
        raise DocumentError([Refusal("", msg)]) from error
    _refuse_guesses(auditor)
    try:
        reader = _Reader(min(PATTERN_SPAN_MM / _mm(drawing.units), 1e9))
        reader.take(drawing.modelspace())
    except DocumentError:
        raise
    except Exception as error:  # as above
        msg = "An entity of this drawing is damaged: save it anew as DXF."
        raise DocumentError([Refusal("", msg)]) from error
    return Shapes(
        unit=UNITS.get(drawing.units),
        loops=tuple(reader.loops),
        circles=tuple(reader.circles),
        patterns=tuple(reader.patterns),
        words=tuple(reader.words),
        other=dict(reader.other),
        broken=tuple(str(each.message) for each in auditor.errors),
    )


def _refuse_guesses(auditor: Any) -> None:
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
        Refusal(
            f"near line {found['line']}",
            f"“{found['text'][:40]}” is no number: the drawing is damaged; save it "
            "anew as DXF.",
        )
        for found in map(_GUESSED.fullmatch, guesses)
        if found is not None and not _same_number(found["text"], found["value"])
    ]
    if refused:
        raise DocumentError(refused[:MOST_TOLD])


def _same_number(text: str, value: str) -> bool:
    try:
        return float(text) == float(value) and isfinite(float(value))
    except ValueError:
        return False


def ezdxf() -> Any:
    """Load the library: half a second, spared where no drawing comes or goes."""
    import ezdxf
    from ezdxf import recover  # noqa: F401 - a part of it that has to be named

    logging.getLogger("ezdxf").setLevel(logging.ERROR)  # told on the page
    return ezdxf


def _mm(units: int) -> float:
    return float(MM_PER_UNIT[UNITS[units]]) if units in UNITS else 25.4


@dataclass
class _Reader:
    """Takes entities one by one, and blocks apart."""

    span: float  # of a pattern [drawing units]
    loops: list[Loop] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    patterns: list[Pattern] = field(default_factory=list)
    words: list[Words] = field(default_factory=list)
    other: Counter[tuple[str, str]] = field(default_factory=Counter)
    seen: int = 0

    def take(self, entities: Iterable[Any], inside: str = "", deep: int = 0) -> None:
        """Sort entities; `inside` names the insert they come from."""
        for entity in entities:
            self.seen += 1
            if self.seen > MOST_SHAPES:
                msg = (
                    f"There are more than {MOST_SHAPES} entities in this drawing, "
                    "blocks taken apart: save the plan alone."
                )
                raise DocumentError([Refusal("", msg)])
            place = inside or _place(entity)
            kind = entity.dxftype()
            if kind == "CIRCLE":
                self.circles.append(_circle(entity, place))
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
        points = [_at(each, place) for each in corners]
        ends = len(points) > 3 and hypot(
            points[0][0] - points[-1][0], points[0][1] - points[-1][1]
        ) < 1e-6 * (1 + abs(points[0][0]) + abs(points[0][1]))
        if ends:
            points.pop()
        if len(points) >= 3 and (closed or ends):
            layer = str(entity.dxf.layer)
            self.loops.append(Loop(tuple(points), layer, place, bent))
        else:
            self._leave(entity)

    def _words(self, entity: Any, place: str) -> None:
        at = entity.dxf.insert
        if entity.dxftype() == "TEXT":
            at = entity.ocs().to_wcs(entity.get_placement()[1])
        text = str(entity.dxf.get("text", "")) if _raw(entity) else entity.plain_text()
        text = " ".join(str(text).split())
        if text:
            layer = str(entity.dxf.layer)
            self.words.append(Words(text, *_at(at, place), layer, place))

    def _insert(self, entity: Any, place: str, deep: int) -> None:
        block = entity.block()
        if block is None or deep >= DEEPEST or entity.mcount > 1:
            self._leave(entity)
            return
        parts = list(_parts(entity, MOST_SHAPES - self.seen))
        circles = [_circle(each, place) for each in parts if each.dxftype() == "CIRCLE"]
        kinds = {each.dxftype() for each in parts}
        leaf = circles and not kinds & {"INSERT", "LWPOLYLINE", "POLYLINE"}
        own = tuple(
            (str(each.dxf.tag).upper(), str(each.dxf.text).strip())
            for each in entity.attribs
        )
        together = "DETAIL" in dict(own) or 0 < _spread(circles) <= self.span
        if not leaf or not together or _mirrored(entity):
            self.take(parts, place, deep + 1)
            return
        self.seen += len(parts)
        x, y = _at(entity.ocs().to_wcs(entity.dxf.insert), place)
        self.patterns.append(
            Pattern(
                name=str(entity.dxf.name),
                x=x,
                y=y,
                turn=radians(float(entity.dxf.rotation)),
                circles=tuple(circles),
                layer=str(entity.dxf.layer),
                place=place,
                attributes=own,
            )
        )


def _spread(circles: list[Circle]) -> float:
    """Measure how far circles lie apart, across all of them. [drawing units]"""
    xs, ys = [c.x for c in circles] or [0.0], [c.y for c in circles] or [0.0]
    return hypot(max(xs) - min(xs), max(ys) - min(ys))


def _parts(insert: Any, most: int) -> Iterator[Any]:
    for number, each in enumerate(insert.virtual_entities()):
        if number > most:
            return
        yield each


def _mirrored(insert: Any) -> bool:
    scales = (insert.dxf.xscale, insert.dxf.yscale)
    upright = float(insert.dxf.extrusion.z) > 0
    return min(scales) <= 0 or abs(scales[0] - scales[1]) > 1e-9 or not upright


def _raw(entity: Any) -> bool:
    """Whether text holds no codes, so that it means what it says."""
    text = str(entity.dxf.get("text", ""))
    return entity.dxftype() == "TEXT" and "%%" not in text and "^" not in text


def _circle(entity: Any, place: str) -> Circle:
    centre = entity.ocs().to_wcs(entity.dxf.center)
    size = 2.0 * float(entity.dxf.radius)
    layer = str(entity.dxf.layer)
    return Circle(*_at(centre, place), size, layer, place)


def _at(point: Any, place: str) -> Point:
    """Take a point's plan coordinates, and refuse such as no drawing has."""
    x, y = float(point.x), float(point.y)
    if not max(abs(x), abs(y)) < FARTHEST:  # nor is what is no number
        msg = f"It stands at {x:g}, {y:g}, where no drawing reaches."
        raise DocumentError([Refusal(place, msg)])
    return x, y


def _place(entity: Any) -> str:
    handle = entity.dxf.get("handle") or "?"
    return f"{entity.dxftype()} {handle} on layer {entity.dxf.layer}"
