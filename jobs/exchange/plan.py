"""The plan of an exchange document: everything but its readings."""

from collections.abc import Mapping

from core.units import Length, LengthUnit, format_length, parse_angle
from jobs.exchange import vocabulary as words
from jobs.exchange.concrete import read_concrete
from jobs.exchange.instruments import read_instruments
from jobs.exchange.outline import ambiguous_pairs, outline_faults
from jobs.exchange.reader import Cursor
from jobs.plan.geometry import wall_length
from jobs.plan.model import (
    Corner,
    Detail,
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


def read_plan(root: Cursor) -> Plan | None:
    """Read a plan; None where anything of it was refused."""
    errors = root.refusals.errors
    before = len(errors)
    members = root.members(REQUIRED, OPTIONAL)
    if "format" in members:
        members["format"].word((words.BUILDING_FORMAT,))
    if "length_unit" in members:
        members["length_unit"].word(words.LENGTH_UNITS)
    name = members["name"].name(120) if "name" in members else ""
    outline = _outline(members["outline"]) if "outline" in members else None
    details = _details(members["details"]) if "details" in members else {}
    diagonals = _diagonals(members.get("diagonals"), outline)
    positions = _positions(members.get("positions"), outline, details)
    notch = _notch(members["notch"]) if "notch" in members else None
    tolerances = _tolerances(members.get("tolerances"))
    shims = _shims(members["shim_thicknesses"]) if "shim_thicknesses" in members else ()
    concrete = read_concrete(members.get("concrete"))
    instruments = (
        read_instruments(members["instruments"]) if "instruments" in members else {}
    )
    if len(errors) > before or outline is None:
        return None
    return Plan(
        name=name,
        length_unit=root.refusals.length_unit or "mm",
        outline=outline,
        diagonals=diagonals,
        details=details,
        positions=positions,
        tolerances=tolerances,
        notch=notch,
        shim_thicknesses=shims,
        concrete=concrete,
        instruments=instruments,
    )


# ---- outline ----------------------------------------------------------------


def _outline(cursor: Cursor) -> tuple[Corner, ...] | None:
    """Read the corners; None where they do not make an outline."""
    errors = cursor.refusals.errors
    before = len(errors)
    corners: dict[str, Corner] = {}
    for item in cursor.items(3, words.MOST_CORNERS):
        members = item.members(("corner", "x", "y"))
        if len(members) < 3:
            continue
        name = members["corner"].name()
        x, y = members["x"].mm(), members["y"].mm()
        if name and name in corners:
            members["corner"].refuse(f"There are two corners named {name}.")
        corners[name] = Corner(name=name, x=x, y=y)
    if len(errors) > before:
        return None
    outline = tuple(corners.values())
    for index, message in outline_faults(outline):
        (cursor if index is None else cursor.at(index)).refuse(message)
    for key in ambiguous_pairs(list(corners)):
        cursor.refuse(
            f"With these corner names {key} could mean two different walls or "
            f"diagonals; name the corners without hyphens."
        )
    return None if len(errors) > before else outline


def _walls(outline: tuple[Corner, ...]) -> dict[str, tuple[str, str]]:
    names = [each.name for each in outline]
    pairs = zip(names, [*names[1:], names[0]], strict=True)
    return {"-".join(pair): pair for pair in pairs}


def _diagonals(
    cursor: Cursor | None, outline: tuple[Corner, ...] | None
) -> tuple[tuple[str, str], ...]:
    if cursor is None:
        if outline is None or len(outline) != 4:
            return ()
        a, b, c, d = (each.name for each in outline)
        return ((a, c), (b, d))
    read: dict[frozenset[str], tuple[str, str]] = {}
    for item in cursor.items():
        ends = [end.name() for end in item.items(2, 2)]
        if len(ends) != 2 or not all(ends):
            continue
        if frozenset(ends) in read:
            item.refuse(f"The diagonal {ends[0]}-{ends[1]} is there twice.")
        read[frozenset(ends)] = (ends[0], ends[1])
        if outline is not None:
            _check_diagonal(item, ends, [each.name for each in outline])
    return tuple(read.values())


def _check_diagonal(item: Cursor, ends: list[str], names: list[str]) -> None:
    for index, end in enumerate(ends):
        if end not in names:
            item.at(index).refuse(
                f"There is no corner {end}; the corners are {_list(names)}."
            )
    if not set(ends) <= set(names):
        return
    apart = abs(names.index(ends[0]) - names.index(ends[1]))
    if apart in (0, 1, len(names) - 1):
        item.refuse("A diagonal joins two different corners that share no wall.")


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
    whole = tuple(rod for rod in read if rod is not None)
    return Detail(name=name, reference=reference, rods=whole, plate=plate)


def _rod(number: int, cursor: Cursor) -> Rod | None:
    errors = cursor.refusals.errors
    before = len(errors)
    members = cursor.members(("in", "along", "diameter"), ("projection",))
    read = {
        name: child.mm(above=0.0 if name in ("diameter", "projection") else None)
        for name, child in members.items()
    }
    if len(errors) > before or len(read) < 3:
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
    cursor: Cursor | None,
    outline: tuple[Corner, ...] | None,
    details: Mapping[str, Detail],
) -> tuple[Position, ...]:
    if cursor is None:
        return ()
    read: dict[str, Position] = {}
    for item in cursor.items():
        position = _position(item, outline)
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


def _position(cursor: Cursor, outline: tuple[Corner, ...] | None) -> Position:
    given = cursor.value if isinstance(cursor.value, dict) else {}
    members = cursor.members(("mark", "detail"), ("wall", "along", "x", "y", "turn"))
    mark = members["mark"].name() if "mark" in members else ""
    detail = members["detail"].name() if "detail" in members else ""
    on_wall = [name for name in ("wall", "along") if name in given]
    at_point = [name for name in ("x", "y", "turn") if name in given]
    position = Position(mark=mark, detail=detail)
    if isinstance(cursor.value, dict) and (len(on_wall), len(at_point)) not in (
        (2, 0),
        (0, 3),
    ):
        cursor.refuse(
            "A position stands either on a wall, with “wall” and “along”, or at a "
            f"point, with “x”, “y” and “turn”; here are "
            f"{_list([*on_wall, *at_point]) or 'none of them'}."
        )
    along = members["along"].mm(at_least=0.0) if "along" in members else 0.0
    x, y = (members[name].mm() if name in members else 0.0 for name in ("x", "y"))
    turn = members["turn"].quantity(parse_angle) if "turn" in members else 0.0
    if "wall" not in members:
        return Position(mark=mark, detail=detail, x=x, y=y, turn=turn)
    wall = _on_wall(members, along, outline)
    if wall is None:
        return position
    return Position(mark=mark, detail=detail, wall=wall, along=along)


def _on_wall(
    members: Mapping[str, Cursor], along: float, outline: tuple[Corner, ...] | None
) -> tuple[str, str] | None:
    """Find the wall a position is on, and whether it reaches that far."""
    named = members["wall"].name(2 * words.LONGEST_NAME + 1)
    if outline is None or not named:
        return None
    walls = _walls(outline)
    wall = walls.get(named)
    if wall is None:
        members["wall"].refuse(
            f"There is no wall {named}; the walls, named by their corners in this "
            f"order, are {_list(list(walls))}."
        )
        return None
    sides = Plan(
        name="",
        length_unit="mm",
        outline=outline,
        diagonals=(),
        details={},
        positions=(),
    )
    length = wall_length(sides, wall)
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


def _shims(cursor: Cursor) -> tuple[Length, ...]:
    read: dict[float, Length] = {}
    for item in cursor.items(0, 40):
        length = item.length(above=0.0)
        if length.text and float(length.mm) in read:
            item.refuse(f"The shim thickness {length.text} is there twice.")
        read[float(length.mm)] = length
    return tuple(read.values())


def _list(names: list[str]) -> str:
    shown = ", ".join(names[:12])
    return f"{shown}, …" if len(names) > 12 else shown


def _there_are(what: str, names: list[str]) -> str:
    return f"the {what} are {_list(names)}." if names else f"there are no {what}."
