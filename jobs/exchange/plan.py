"""The plan of an exchange document: everything but its readings."""

from collections.abc import Mapping

from core.quantities import parse_angle
from core.units import Length, LengthUnit, format_length
from jobs.exchange import vocabulary as words
from jobs.exchange.concrete import read_concrete
from jobs.exchange.corners import Corners, listed, read_corners, read_diagonals
from jobs.exchange.instruments import read_instruments
from jobs.exchange.reader import Cursor
from jobs.exchange.sketch import Sketch, sketch_of, stand_in_rod
from jobs.plan.model import (
    Detail,
    Instrument,
    Notch,
    Plan,
    Plate,
    Position,
    Rod,
    Tolerances,
)

REQUIRED = ("format", "name", "length_unit", "outline")
OPTIONAL = (
    "diagonals",
    "notch",
    "tolerances",
    "shim_thicknesses",
    "details",
    "positions",
    "concrete",
    "instruments",
    "readings",
)
ON_THE_WALL = 1e-6
"""How far past a wall's end a position may stand for rounding. [mm]"""

_SAME_PLACE = 1e-6  # mm, between two rods of a detail


def read_unit(cursor: Cursor) -> LengthUnit | None:
    """Read what bare numbers are in; None where it is missing or refused."""
    value = cursor.value.get("length_unit") if isinstance(cursor.value, dict) else None
    units: tuple[LengthUnit, ...] = ("in", "ft", "mm", "cm", "m")
    return next((each for each in units if each == value), None)


def read_plan(root: Cursor) -> Sketch:
    """Read a plan; with stand-ins where anything of it was refused."""
    before = root.refusals.count
    members = root.members(REQUIRED, OPTIONAL)
    if "format" in members:
        members["format"].word((words.BUILDING_FORMAT,))
    if "length_unit" in members:
        members["length_unit"].word(words.LENGTH_UNITS)
    name = members["name"].name(120) if "name" in members else ""
    corners = read_corners(members["outline"]) if "outline" in members else Corners()
    details = _details(members["details"]) if "details" in members else {}
    diagonals = read_diagonals(members.get("diagonals"), corners)
    plan = Plan(
        name=name,
        length_unit=root.refusals.length_unit or "mm",
        outline=corners.outline or (),
        diagonals=diagonals,
        details=details,
        positions=_positions(members.get("positions"), corners, details),
        notch=_notch(members["notch"]) if "notch" in members else None,
        tolerances=_tolerances(members.get("tolerances")),
        shim_thicknesses=_shims(members.get("shim_thicknesses")),
        concrete=read_concrete(members.get("concrete")),
        instruments=_instruments(members.get("instruments")),
    )
    if root.refusals.count == before:
        return Sketch(plan)
    return sketch_of(
        plan,
        notch=_is(members.get("notch"), dict),
        marks=_is(members.get("positions"), list),
        instruments=_is(members.get("instruments"), dict),
    )


def _is(cursor: Cursor | None, kind: type) -> bool:
    return cursor is None or isinstance(cursor.value, kind)


# ---- details and positions --------------------------------------------------


def _details(cursor: Cursor) -> dict[str, Detail]:
    return {name: _detail(name, child) for name, child in cursor.named("detail")}


def _detail(name: str, cursor: Cursor) -> Detail:
    members = cursor.members(("reference", "rods"), ("plate",))
    reference = (
        members["reference"].word(words.REFERENCES)
        if "reference" in members
        else words.REFERENCES[0]
    )
    rods = members["rods"].items(1, words.MOST_RODS) if "rods" in members else []
    read = [_rod(number, rod) for number, rod in enumerate(rods, start=1)]
    for later, rod in enumerate(read):
        for earlier in read[:later]:
            if rod is None or earlier is None:
                continue
            gap = abs(rod.along - earlier.along) + abs(rod.inward - earlier.inward)
            if gap < _SAME_PLACE:
                rods[later].refuse(f"This rod stands where rod {earlier.number} does.")
    plate = _plate(members["plate"]) if "plate" in members else None
    whole = (
        rod or stand_in_rod(number, projecting=rods[number - 1].has("projection"))
        for number, rod in enumerate(read, start=1)
    )
    return Detail(name=name, reference=reference, rods=tuple(whole), plate=plate)


def _rod(number: int, cursor: Cursor) -> Rod | None:
    before = cursor.refusals.count
    members = cursor.members(("in", "along", "diameter"), ("projection",))
    read = {
        name: child.mm(above=0.0 if name in ("diameter", "projection") else None)
        for name, child in members.items()
    }
    if cursor.refusals.count > before or len(read) < 3:
        return None
    return Rod(
        number=number,
        along=read["along"],
        inward=read["in"],
        diameter=read["diameter"],
        projection=read.get("projection"),
    )


def _plate(cursor: Cursor) -> Plate:
    members = cursor.members(("hole_diameter",), ("thickness", "edge_distance"))
    read = {name: child.mm(above=0.0) for name, child in members.items()}
    return Plate(
        hole_diameter=read.get("hole_diameter", 0.0),
        thickness=read.get("thickness"),
        edge_distance=read.get("edge_distance"),
    )


def _positions(
    cursor: Cursor | None, corners: Corners, details: Mapping[str, Detail]
) -> tuple[Position, ...]:
    if cursor is None:
        return ()
    read: dict[str, Position] = {}
    for item in cursor.items():
        position = _position(item, corners)
        if position.detail and position.detail not in details:
            item.at("detail").refuse(
                f"There is no detail {position.detail}; "
                f"{_there_are('details', list(details))}"
            )
        if position.mark and position.mark in read:
            item.at("mark").refuse(
                f"The mark {position.mark} is taken by an earlier position; marks "
                f"are unique."
            )
        read[position.mark] = position
    return tuple(read.values())


def _position(cursor: Cursor, corners: Corners) -> Position:
    members = cursor.members(("mark", "detail"), ("wall", "along", "x", "y", "turn"))
    mark = members["mark"].name() if "mark" in members else ""
    detail = members["detail"].name() if "detail" in members else ""
    nowhere = Position(mark=mark, detail=detail)
    given = [name for name in ("wall", "along", "x", "y", "turn") if name in members]
    stands = given in (["wall", "along"], ["x", "y", "turn"])
    if isinstance(cursor.value, dict) and not stands:
        cursor.refuse(
            "A position stands either on a wall, with “wall” and “along”, or at a "
            f"point, with “x”, “y” and “turn”; here are "
            f"{listed(given) or 'none of them'}."
        )
    along = members["along"].mm(at_least=0.0) if "along" in members else 0.0
    x, y = (members[name].mm() if name in members else 0.0 for name in ("x", "y"))
    turn = members["turn"].quantity(parse_angle) if "turn" in members else 0.0
    wall = _on_wall(members, along, corners) if "wall" in members else None
    if not stands:
        return nowhere
    if "wall" not in members:
        return Position(mark=mark, detail=detail, x=x, y=y, turn=turn)
    if wall is None:
        return nowhere
    return Position(mark=mark, detail=detail, wall=wall, along=along)


def _on_wall(
    members: Mapping[str, Cursor], along: float, corners: Corners
) -> tuple[str, str] | None:
    """Find the wall a position is on, and whether it reaches that far."""
    named = members["wall"].name(2 * words.LONGEST_NAME + 1)
    if named and (why := corners.why_no_wall(named)):
        members["wall"].refuse(why)
    wall = corners.walls.get(named)
    if wall is None:
        return None
    length = corners.length_of(wall)
    if "along" in members and along > length + ON_THE_WALL:
        members["along"].refuse(
            f"This is past the end of the wall {named}, which is "
            f"{format_length(length)} ({format_length(length, 'metric')}) long."
        )
    return wall


# ---- the rest ---------------------------------------------------------------


def _notch(cursor: Cursor) -> Notch:
    members = cursor.members(("width", "depth"))
    read = {name: child.mm(above=0.0) for name, child in members.items()}
    return Notch(width=read.get("width", 0.0), depth=read.get("depth", 0.0))


def _tolerances(cursor: Cursor | None) -> Tolerances:
    if cursor is None:
        return Tolerances()
    members = cursor.members((), ("basis", "overrides", "guarded"))
    basis = (
        members["basis"].word(words.BASES)
        if "basis" in members
        else words.DEFAULT_BASIS
    )
    overrides: dict[str, float] = {}
    if "overrides" in members:
        known = (*words.OVERRIDE_LENGTHS, *words.OVERRIDE_RATIOS)
        for name, child in members["overrides"].members((), known).items():
            if name in words.OVERRIDE_RATIOS:
                overrides[name] = child.ratio()
            elif name in words.MAY_BE_ZERO:
                overrides[name] = child.mm(at_least=0.0)
            else:
                overrides[name] = child.mm(above=0.0)
    guarded = members["guarded"].flag() if "guarded" in members else False
    return Tolerances(basis=basis, overrides=overrides, guarded=guarded)


def _instruments(cursor: Cursor | None) -> dict[str, Instrument]:
    return {} if cursor is None else read_instruments(cursor)


def _shims(cursor: Cursor | None) -> tuple[Length, ...]:
    if cursor is None:
        return ()
    read: dict[float, Length] = {}
    for item in cursor.items(0, 40):
        length = item.length(above=0.0)
        if length.text and float(length.mm) in read:
            item.refuse(f"The shim thickness {length.text} is there twice.")
        read[float(length.mm)] = length
    return tuple(read.values())


def _there_are(what: str, names: list[str]) -> str:
    return f"the {what} are {listed(names)}." if names else f"there are no {what}."
