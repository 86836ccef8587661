"""The plan of an exchange document: everything but its readings."""

from collections.abc import Mapping

from core.quantities import parse_angle
from core.units import Length, LengthUnit, format_length
from jobs.anchor_plan.values import (
    Detail,
    InstrumentSpec,
    Notch,
    Plan,
    Plate,
    Position,
    Rod,
    ToleranceSpec,
)
from jobs.exchange import vocabulary as words
from jobs.exchange.input.concrete import parse_concrete
from jobs.exchange.input.corners import (
    OutlineInput,
    list_names,
    parse_diagonals,
    parse_outline,
)
from jobs.exchange.input.instruments import parse_instruments
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.partial_plan import (
    PartialPlan,
    build_partial_plan,
    placeholder_rod,
)

REQUIRED_MEMBERS = ("format", "name", "length_unit", "outline")
OPTIONAL_MEMBERS = (
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
WALL_END_TOLERANCE_MM = 1e-6
"""How far past a wall's end a position may stand for rounding. [mm]"""

_COINCIDENT_RODS_MM = 1e-6  # mm, between two rods of a detail


def peek_length_unit(cursor: JsonReader) -> LengthUnit | None:
    """Read what bare numbers are in; None where it is missing or refused."""
    value = cursor.value.get("length_unit") if isinstance(cursor.value, dict) else None
    units: tuple[LengthUnit, ...] = ("in", "ft", "mm", "cm", "m")
    return next((each for each in units if each == value), None)


def parse_plan(root: JsonReader) -> PartialPlan:
    """Read a plan; with stand-ins where anything of it was refused."""
    before = root.collector.count
    members = root.read_object(REQUIRED_MEMBERS, OPTIONAL_MEMBERS)
    if "format" in members:
        members["format"].read_choice((words.BUILDING_FORMAT,))
    if "length_unit" in members:
        members["length_unit"].read_choice(words.LENGTH_UNITS)
    name = members["name"].read_name(120) if "name" in members else ""
    corners = (
        parse_outline(members["outline"]) if "outline" in members else OutlineInput()
    )
    details = _parse_details(members["details"]) if "details" in members else {}
    diagonals = parse_diagonals(members.get("diagonals"), corners)
    plan = Plan(
        name=name,
        length_unit=root.collector.length_unit or "mm",
        outline=corners.outline or (),
        diagonals=diagonals,
        details=details,
        positions=_parse_positions(members.get("positions"), corners, details),
        notch=_parse_notch(members["notch"]) if "notch" in members else None,
        tolerances=_parse_tolerances(members.get("tolerances")),
        shim_thicknesses=_parse_shims(members.get("shim_thicknesses")),
        concrete=parse_concrete(members.get("concrete")),
        instruments=_parse_instruments(members.get("instruments")),
    )
    if root.collector.count == before:
        return PartialPlan(plan)
    return build_partial_plan(
        plan,
        notch=_is_absent_or(members.get("notch"), dict),
        marks=_is_absent_or(members.get("positions"), list),
        instruments=_is_absent_or(members.get("instruments"), dict),
    )


def _is_absent_or(cursor: JsonReader | None, kind: type) -> bool:
    return cursor is None or isinstance(cursor.value, kind)


# ---- details and positions --------------------------------------------------


def _parse_details(cursor: JsonReader) -> dict[str, Detail]:
    return {
        name: _parse_detail(name, child)
        for name, child in cursor.read_mapping("detail")
    }


def _parse_detail(name: str, cursor: JsonReader) -> Detail:
    members = cursor.read_object(("reference", "rods"), ("plate",))
    reference = (
        members["reference"].read_choice(words.REFERENCES)
        if "reference" in members
        else words.REFERENCES[0]
    )
    rods = (
        members["rods"].read_list(1, words.MAX_RODS_PER_DETAIL)
        if "rods" in members
        else []
    )
    read = [_parse_rod(number, rod) for number, rod in enumerate(rods, start=1)]
    for later, rod in enumerate(read):
        for earlier in read[:later]:
            if rod is None or earlier is None:
                continue
            gap = abs(rod.along - earlier.along) + abs(rod.inward - earlier.inward)
            if gap < _COINCIDENT_RODS_MM:
                rods[later].add_issue(
                    f"This rod stands where rod {earlier.number} does."
                )
    plate = _parse_plate(members["plate"]) if "plate" in members else None
    whole = (
        rod
        or placeholder_rod(number, projecting=rods[number - 1].has_member("projection"))
        for number, rod in enumerate(read, start=1)
    )
    return Detail(name=name, reference=reference, rods=tuple(whole), plate=plate)


def _parse_rod(number: int, cursor: JsonReader) -> Rod | None:
    before = cursor.collector.count
    members = cursor.read_object(("in", "along", "diameter"), ("projection",))
    read = {
        name: child.read_mm(above=0.0 if name in ("diameter", "projection") else None)
        for name, child in members.items()
    }
    if cursor.collector.count > before or len(read) < 3:
        return None
    return Rod(
        number=number,
        along=read["along"],
        inward=read["in"],
        diameter=read["diameter"],
        projection=read.get("projection"),
    )


def _parse_plate(cursor: JsonReader) -> Plate:
    members = cursor.read_object(("hole_diameter",), ("thickness", "edge_distance"))
    read = {name: child.read_mm(above=0.0) for name, child in members.items()}
    return Plate(
        hole_diameter=read.get("hole_diameter", 0.0),
        thickness=read.get("thickness"),
        edge_distance=read.get("edge_distance"),
    )


def _parse_positions(
    cursor: JsonReader | None, corners: OutlineInput, details: Mapping[str, Detail]
) -> tuple[Position, ...]:
    if cursor is None:
        return ()
    read: dict[str, Position] = {}
    for item in cursor.read_list():
        position = _parse_position(item, corners)
        if position.detail and position.detail not in details:
            item.child("detail").add_issue(
                f"There is no detail {position.detail}; "
                f"{_describe_names('details', list(details))}"
            )
        if position.mark and position.mark in read:
            item.child("mark").add_issue(
                f"The mark {position.mark} is taken by an earlier position; marks "
                f"are unique."
            )
        read[position.mark] = position
    return tuple(read.values())


def _parse_position(cursor: JsonReader, corners: OutlineInput) -> Position:
    members = cursor.read_object(
        ("mark", "detail"), ("wall", "along", "x", "y", "turn")
    )
    mark = members["mark"].read_name() if "mark" in members else ""
    detail = members["detail"].read_name() if "detail" in members else ""
    nowhere = Position(mark=mark, detail=detail)
    given = [name for name in ("wall", "along", "x", "y", "turn") if name in members]
    stands = given in (["wall", "along"], ["x", "y", "turn"])
    if isinstance(cursor.value, dict) and not stands:
        cursor.add_issue(
            "A position stands either on a wall, with “wall” and “along”, or at a "
            f"point, with “x”, “y” and “turn”; here are "
            f"{list_names(given) or 'none of them'}."
        )
    along = members["along"].read_mm(at_least=0.0) if "along" in members else 0.0
    x, y = (members[name].read_mm() if name in members else 0.0 for name in ("x", "y"))
    turn = members["turn"].read_quantity(parse_angle) if "turn" in members else 0.0
    wall = _parse_wall(members, along, corners) if "wall" in members else None
    if not stands:
        return nowhere
    if "wall" not in members:
        return Position(mark=mark, detail=detail, x=x, y=y, turn=turn)
    if wall is None:
        return nowhere
    return Position(mark=mark, detail=detail, wall=wall, along=along)


def _parse_wall(
    members: Mapping[str, JsonReader], along: float, corners: OutlineInput
) -> tuple[str, str] | None:
    """Find the wall a position is on, and whether it reaches that far."""
    named = members["wall"].read_name(2 * words.MAX_NAME_LENGTH + 1)
    if named and (why := corners.describe_unknown_wall(named)):
        members["wall"].add_issue(why)
    wall = corners.walls.get(named)
    if wall is None:
        return None
    length = corners.wall_length(wall)
    if "along" in members and along > length + WALL_END_TOLERANCE_MM:
        members["along"].add_issue(
            f"This is past the end of the wall {named}, which is "
            f"{format_length(length)} ({format_length(length, 'metric')}) long."
        )
    return wall


# ---- the rest ---------------------------------------------------------------


def _parse_notch(cursor: JsonReader) -> Notch:
    members = cursor.read_object(("width", "depth"))
    read = {name: child.read_mm(above=0.0) for name, child in members.items()}
    return Notch(width=read.get("width", 0.0), depth=read.get("depth", 0.0))


def _parse_tolerances(cursor: JsonReader | None) -> ToleranceSpec:
    if cursor is None:
        return ToleranceSpec()
    members = cursor.read_object((), ("basis", "overrides", "guarded"))
    basis = (
        members["basis"].read_choice(words.TOLERANCE_BASES)
        if "basis" in members
        else words.DEFAULT_BASIS
    )
    overrides: dict[str, float] = {}
    if "overrides" in members:
        known = (*words.OVERRIDE_LENGTHS, *words.OVERRIDE_RATIOS)
        for name, child in members["overrides"].read_object((), known).items():
            if name in words.OVERRIDE_RATIOS:
                overrides[name] = child.read_ratio()
            elif name in words.ZERO_ALLOWED_OVERRIDES:
                overrides[name] = child.read_mm(at_least=0.0)
            else:
                overrides[name] = child.read_mm(above=0.0)
    guarded = members["guarded"].read_bool() if "guarded" in members else False
    return ToleranceSpec(basis=basis, overrides=overrides, guarded=guarded)


def _parse_instruments(cursor: JsonReader | None) -> dict[str, InstrumentSpec]:
    return {} if cursor is None else parse_instruments(cursor)


def _parse_shims(cursor: JsonReader | None) -> tuple[Length, ...]:
    if cursor is None:
        return ()
    read: dict[float, Length] = {}
    for item in cursor.read_list(0, 40):
        length = item.read_length(above=0.0)
        if length.text and float(length.mm) in read:
            item.add_issue(f"The shim thickness {length.text} is there twice.")
        read[float(length.mm)] = length
    return tuple(read.values())


def _describe_names(what: str, names: list[str]) -> str:
    return f"the {what} are {list_names(names)}." if names else f"there are no {what}."
