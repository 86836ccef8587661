"""The plan of a building document: everything but its readings."""

from collections.abc import Collection, Sequence

from core.units import Length, LengthUnit, format_length
from core.vocabulary import SteelState
from jobs.anchor_plan.values import (
    Detail,
    Notch,
    Plan,
    Plate,
    Position,
    Rod,
    ToleranceSpec,
)
from jobs.exchange import vocabulary
from jobs.exchange.input.building_format import (
    AT_POINT,
    ON_WALL,
    BuildingMembers,
    DetailMembers,
    NotchMembers,
    PlateMembers,
    PositionMembers,
    RodMembers,
    TolerancesMembers,
)
from jobs.exchange.input.concrete import parse_concrete
from jobs.exchange.input.corners import (
    OutlineInput,
    list_names,
    parse_diagonals,
    parse_outline,
)
from jobs.exchange.input.instruments import parse_instrument
from jobs.exchange.input.json_reader import JsonReader
from jobs.exchange.input.members import read_members
from jobs.exchange.input.partial_plan import (
    PartialPlan,
    build_partial_plan,
    placeholder_rod,
)
from jobs.exchange.issues import IssueCode

WALL_END_TOLERANCE_MM = 1e-6
"""How far rounding may put a position past its wall's end."""

COINCIDENT_RODS_MM = 1e-6
"""Two rods of a detail nearer than this are one rod entered twice."""


def peek_length_unit(reader: JsonReader) -> LengthUnit | None:
    """Return the unit of bare numbers before the rest is read; None if refused."""
    unit = reader.value.get("length_unit") if isinstance(reader.value, dict) else None
    return next((each for each in vocabulary.LENGTH_UNITS if each == unit), None)


def parse_plan(root: JsonReader) -> tuple[PartialPlan, list[JsonReader]]:
    """Parse a plan, with placeholders where anything of it was refused.

    Returns
    -------
    PartialPlan
        The plan, and what of it is not known.
    list of JsonReader
        The document's readings, still to be parsed.
    """
    before = root.collector.count
    members = read_members(root, BuildingMembers)
    corners = parse_outline(root.child("outline"), members.get("outline", ()))
    details = {
        name: _parse_detail(name, reader) for name, reader in members.get("details", ())
    }
    positions = _parse_positions(members.get("positions", ()), corners, details)
    instruments = {
        name: parse_instrument(name, reader)
        for name, reader in members.get("instruments", ())
    }
    plan = Plan(
        name=members.get("name", ""),
        length_unit=root.collector.length_unit or "mm",
        outline=corners.outline or (),
        diagonals=parse_diagonals(members.get("diagonals"), corners),
        details=details,
        positions=positions,
        notch=_parse_notch(members.get("notch")),
        tolerances=_parse_tolerances(members.get("tolerances")),
        shim_thicknesses=_parse_shims(members.get("shim_thicknesses", ())),
        concrete=parse_concrete(members.get("concrete")),
        instruments=instruments,
        steel=SteelState(members.get("steel") or vocabulary.DEFAULT_STEEL_STATE),
    )
    readings = members.get("readings", [])
    # A complete plan needs no placeholders, and its readings are validated in full.
    if root.collector.count == before:
        return PartialPlan(plan), readings
    partial = build_partial_plan(
        plan,
        notch_known=_is_absent_or(root, "notch", dict),
        marks_known=_is_absent_or(root, "positions", list),
        instruments_known=_is_absent_or(root, "instruments", dict),
    )
    return partial, readings


def _is_absent_or(root: JsonReader, name: str, kind: type) -> bool:
    return not root.has_member(name) or isinstance(root.child(name).value, kind)


# ---- details ------------------------------------------------------------------------


def _parse_detail(name: str, reader: JsonReader) -> Detail:
    members = read_members(reader, DetailMembers)
    readers = members.get("rods", [])
    rods = [_parse_rod(number, rod) for number, rod in enumerate(readers, start=1)]
    _check_coincident_rods(readers, rods)
    return Detail(
        name=name,
        reference=members.get("reference", vocabulary.REFERENCES[0]),
        rods=tuple(
            rod or placeholder_rod(number, projecting=reader.has_member("projection"))
            for number, (rod, reader) in enumerate(
                zip(rods, readers, strict=True), start=1
            )
        ),
        plate=_parse_plate(members["plate"]) if "plate" in members else None,
    )


def _check_coincident_rods(
    readers: Sequence[JsonReader], rods: Sequence[Rod | None]
) -> None:
    for later, rod in enumerate(rods):
        for earlier in rods[:later]:
            if rod is None or earlier is None:
                continue
            gap = abs(rod.along - earlier.along) + abs(rod.inward - earlier.inward)
            if gap < COINCIDENT_RODS_MM:
                readers[later].add_issue(
                    f"This rod is at the same point as rod {earlier.number}.",
                    IssueCode.DUPLICATE,
                )


def _parse_rod(number: int, reader: JsonReader) -> Rod | None:
    before = reader.collector.count
    members = read_members(reader, RodMembers)
    if reader.collector.count > before:
        return None
    return Rod(
        number=number,
        along=members["along"],
        inward=members["in"],
        diameter=members["diameter"],
        projection=members.get("projection"),
    )


def _parse_plate(reader: JsonReader) -> Plate:
    members = read_members(reader, PlateMembers)
    return Plate(
        hole_diameter=members.get("hole_diameter", 0.0),
        thickness=members.get("thickness"),
        edge_distance=members.get("edge_distance"),
    )


# ---- positions ----------------------------------------------------------------------


def _parse_positions(
    readers: Sequence[JsonReader], corners: OutlineInput, details: Collection[str]
) -> tuple[Position, ...]:
    read: dict[str, Position] = {}
    for reader in readers:
        position = _parse_position(reader, corners)
        if position.detail and position.detail not in details:
            existing = (
                f"the details are {list_names(list(details))}."
                if details
                else "there are no details."
            )
            reader.child("detail").add_issue(
                f"There is no detail {position.detail}; {existing}",
                IssueCode.UNKNOWN_NAME,
            )
        if position.mark and position.mark in read:
            reader.child("mark").add_issue(
                f"The mark {position.mark} is taken by an earlier position; marks are "
                "unique.",
                IssueCode.DUPLICATE,
            )
        # A repeated mark is an issue already; the later one stands in for both.
        read[position.mark] = position
    return tuple(read.values())


def _parse_position(reader: JsonReader, corners: OutlineInput) -> Position:
    members = read_members(reader, PositionMembers)
    mark, detail = members.get("mark", ""), members.get("detail", "")
    unplaced = Position(mark=mark, detail=detail)
    given = [name for name in (*ON_WALL, *AT_POINT) if name in members]
    wall = _parse_wall(reader, members, corners)
    # All members are read above, so that their issues are listed in either case.
    if given == list(AT_POINT):
        return Position(
            mark=mark,
            detail=detail,
            x=members["x"],
            y=members["y"],
            turn=members["turn"],
        )
    if given != list(ON_WALL):
        if isinstance(reader.value, dict):
            reader.add_issue(
                "A position is either on a wall, with “wall” and “along”, or at a "
                "point, with “x”, “y” and “turn”; here are "
                f"{list_names(given) or 'none of them'}.",
                IssueCode.CONFLICT,
            )
        return unplaced
    if wall is None:
        return unplaced
    return Position(mark=mark, detail=detail, wall=wall, along=members["along"])


def _parse_wall(
    reader: JsonReader, members: PositionMembers, corners: OutlineInput
) -> tuple[str, str] | None:
    """Find the wall a position is on, and check that the wall reaches that far."""
    named = members.get("wall")
    if not named:
        return None
    if reason := corners.describe_unknown_wall(named):
        reader.child("wall").add_issue(reason, IssueCode.UNKNOWN_NAME)
    wall = corners.walls.get(named)
    if wall is None:
        return None
    length = corners.wall_length(wall)
    if members.get("along", 0.0) > length + WALL_END_TOLERANCE_MM:
        reader.child("along").add_issue(
            f"This is past the end of the wall {named}, which is "
            f"{format_length(length)} ({format_length(length, 'metric')}) long."
        )
    return wall


# ---- the rest -----------------------------------------------------------------------


def _parse_notch(reader: JsonReader | None) -> Notch | None:
    if reader is None:
        return None
    members = read_members(reader, NotchMembers)
    return Notch(width=members.get("width", 0.0), depth=members.get("depth", 0.0))


def _parse_tolerances(reader: JsonReader | None) -> ToleranceSpec:
    if reader is None:
        return ToleranceSpec()
    members = read_members(reader, TolerancesMembers)
    return ToleranceSpec(
        basis=members.get("basis", vocabulary.DEFAULT_BASIS),
        overrides=members.get("overrides", {}),
        guarded=members.get("guarded", False),
    )


def _parse_shims(readers: Sequence[JsonReader]) -> tuple[Length, ...]:
    read: dict[float, Length] = {}
    for reader in readers:
        length = reader.read_length(above=0.0)
        if length.text and float(length.mm) in read:
            reader.add_issue(
                f"The shim thickness {length.text} appears twice.", IssueCode.DUPLICATE
            )
        read[float(length.mm)] = length
    return tuple(read.values())
