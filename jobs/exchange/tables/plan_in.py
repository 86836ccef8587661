"""Sheets of a plan to an exchange document, with the place of every value."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, cast

from core.units import LengthUnit
from jobs.exchange.from_file import FromFile
from jobs.exchange.reader import step_into
from jobs.exchange.tables import layout
from jobs.exchange.tables.columns import (
    LENGTH_UNITS,
    Column,
    Headed,
    Heading,
    Kind,
    Means,
    Units,
    head,
    plain,
)
from jobs.exchange.tables.draft import Draft
from jobs.exchange.tables.sheets import Cell, Row, Sheet
from jobs.exchange.vocabulary import BUILDING_FORMAT, OVERRIDE_RATIOS

_UNIT_WORDS = {
    "inch": "in", "inches": "in", '"': "in", "feet": "ft", "foot": "ft", "'": "ft",
    "millimetres": "mm", "centimetres": "cm", "metres": "m",
    "millimeters": "mm", "centimeters": "cm", "meters": "m",
}  # fmt: skip
_NAMELESS = (layout.BUILDING, layout.SHIMS, layout.LIMITS, layout.TESTS)
"""Kinds of sheet that their headings alone do not tell."""

_MEMBERS_OF: Mapping[str, tuple[str, ...]] = {
    "Building": ("name", "length_unit", "notch"),
    "Outline": ("outline",),
    "Diagonals": ("diagonals",),
    "Details": ("details",),
    "Rods": ("details",),
    "Positions": ("positions",),
    "Shims": ("shim_thicknesses",),
    "Instruments": ("instruments",),
}
_PARTS_OF: Sequence[tuple[tuple[str, ...], str, tuple[str, ...]]] = (
    (("Building",), "tolerances", ("basis", "guarded")),
    (("Limits",), "tolerances", ("overrides",)),
    (("Strength tests",), "concrete", ("standard_cured",)),
    (
        ("Building",),
        "concrete",
        ("specified_strength", "sufficient_strength", "placed_on"),
    ),
    (("Building", "Cylinders", "Temperatures"), "concrete", ("maturity",)),
)


def plan_of_sheets(
    sheets: Sequence[Sheet], base: Mapping[str, Any] | None = None
) -> FromFile:
    """Turn the sheets of a plan into an exchange document.

    Parameters
    ----------
    sheets : in any order; one whose name says nothing is known by its headings.
    base : the document of the plan in force: what the file has no sheet for stays
        as it is there.
    """
    draft = Draft({"format": BUILDING_FORMAT})
    draft.places = {
        "": "the file",
        "/outline": "sheet Outline",
        "/name": "sheet Building",
        "/length_unit": "sheet Building",
    }
    if base is not None:
        draft.units = Units(length=base.get("length_unit"))
    known = _known(draft, sheets)
    for name, read in _READERS.items():
        if name in known:
            draft.left += known[name].strange
            read(draft, known[name])
    if base is not None:
        _complete(draft, base, known)
    return FromFile(
        document=draft.document,
        places=draft.places,
        faults=tuple(draft.faults),
        left=tuple(draft.left),
    )


def _known(draft: Draft, sheets: Sequence[Sheet]) -> dict[str, Headed]:
    """Tell which sheet is which; what is none is left out and told."""
    known: dict[str, Headed] = {}
    for sheet in sheets:
        kind = layout.kind_named(sheet.name) or _by_headings(sheet)
        if kind is None and sheet.rows:
            names = ", ".join(each.name for each in layout.KINDS)
            name = f"“{sheet.name}”" if sheet.name else "What stands here"
            msg = f"{name} is no sheet of a plan and was not read; they are {names}."
            draft.leave(sheet.place, msg)
        if kind is layout.READINGS and sheet.rows:
            msg = (
                "Readings are no part of a plan and are not stored here: bring the "
                "same file to the building's record."
            )
            draft.leave(sheet.place, msg)
        if kind is None or kind is layout.READINGS:
            continue
        headed = _facts(sheet) if kind is layout.BUILDING else _head(sheet, kind)
        if headed is None:
            needed = ", ".join(each.heading for each in kind.columns if each.needed)
            msg = f"No line of this sheet names the columns it needs: {needed}."
            draft.refuse(sheet.place, msg)
            for member in _MEMBERS_OF.get(kind.name, ()):
                draft.places[f"/{member}"] = sheet.place
        elif kind.name in known:
            msg = f"This is another sheet {kind.name}; it was not read."
            draft.leave(sheet.place, msg)
        else:
            known[kind.name] = headed
    return known


def _by_headings(sheet: Sheet) -> Kind | None:
    """Tell a sheet by its headings, where its name says nothing."""
    fits = [
        (len(headed.headings), kind)
        for kind in layout.KINDS
        if kind not in _NAMELESS and (headed := head(sheet, kind.columns)) is not None
    ]
    return max(fits, key=lambda fit: fit[0])[1] if fits else None


def _head(sheet: Sheet, kind: Kind) -> Headed | None:
    if not sheet.rows:  # a sheet with nothing in it says: none of these
        return Headed(sheet, {}, (), (), ())
    return head(sheet, kind.columns)


def _facts(sheet: Sheet) -> Headed:
    """Take the first two cells of each row as a fact: it needs no headings."""
    found = head(sheet, layout.BUILDING.columns)
    if found is not None:
        return found
    what, value = layout.BUILDING.columns
    headings = {"what": Heading(what, 0, ""), "value": Heading(value, 1, "")}
    return Headed(sheet, headings, sheet.rows, (), ())


def _complete(
    draft: Draft, base: Mapping[str, Any], known: Mapping[str, Headed]
) -> None:
    """Take from the plan in force what the file has no sheet for."""
    document = draft.document
    taken = {member for name in known for member in _MEMBERS_OF.get(name, ())}
    kept = {
        member: base[member]
        for members in _MEMBERS_OF.values()
        for member in members
        if member not in taken and member in base
    }
    document |= kept
    for names, member, parts in _PARTS_OF:
        if not known.keys() & set(names):
            own = base.get(member, {})
            found = {part: own[part] for part in parts if part in own}
            if found:
                document[member] = found | document.get(member, {})
                kept[member] = found
    unit = base.get("length_unit")
    if kept.keys() - {"name", "length_unit"} and document.get("length_unit") != unit:
        msg = (
            f"The plan in force is in {unit}: with another length unit all its sheets "
            "are needed, not some."
        )
        draft.refuse(draft.places["/length_unit"], msg)


# ---- one sheet each ---------------------------------------------------------


def _read_facts(draft: Draft, table: Headed) -> None:
    known = {
        plain(name): column
        for column in layout.FACTS
        for name in (column.heading, *column.also)
    }
    label_at, value_at = (table.headings[name].at for name in ("what", "value"))
    for row in table.rows:
        label = str(row.at(label_at).value or "").strip()
        column = known.get(plain(label))
        if column is not None:
            place = table.sheet.cell_place(row.number, value_at, label)
            draft.places[column.member] = place
            _put_fact(draft, column, row.at(value_at), place)
        elif label and plain(label) != plain(layout.BUILDING.name):
            names = ", ".join(each.heading for each in layout.FACTS)
            msg = f"“{label}” is no fact of a building; they are {names}."
            draft.leave(table.sheet.row_place(row.number), msg)
    unit = draft.document.get("length_unit")
    if unit in LENGTH_UNITS:
        draft.units = Units(length=cast("LengthUnit", unit))


def _put_fact(draft: Draft, column: Column, cell: Cell, place: str) -> None:
    if cell.blank:
        return
    value = draft.value(cell, Heading(column, 0, ""), place)
    if column.member == "/length_unit":
        value = _UNIT_WORDS.get(str(value).lower(), value)
    if value is None:
        return
    at = draft.document
    *path, last = column.member[1:].split("/")
    for step in path:
        at = at.setdefault(step, {})
    at[last] = value


def _read_outline(draft: Draft, table: Headed) -> None:
    draft.document["outline"] = draft.listed(table, "/outline")


def _read_positions(draft: Draft, table: Headed) -> None:
    draft.document["positions"] = draft.listed(table, "/positions")


def _read_diagonals(draft: Draft, table: Headed) -> None:
    rows = draft.listed(table, "/diagonals")
    draft.document["diagonals"] = [
        [row[end] for end in ("0", "1") if end in row] for row in rows
    ]


def _read_shims(draft: Draft, table: Headed) -> None:
    draft.document["shim_thicknesses"] = draft.single(table, "/shim_thicknesses")


def _read_tests(draft: Draft, table: Headed) -> None:
    tests = draft.single(table, "/concrete/standard_cured")
    if tests:
        draft.document.setdefault("concrete", {})["standard_cured"] = tests


def _read_limits(draft: Draft, table: Headed) -> None:
    tolerances = draft.document.setdefault("tolerances", {})
    overrides = tolerances.setdefault("overrides", {})
    for row in table.rows:
        name = plain(draft.name(table, row, "limit")).replace(" ", "_")
        heading, place = table.headings["value"], table.place(row, "value")
        if name in OVERRIDE_RATIOS:
            ratio = Column("value", "Value", Means.RATIO)
            heading = Heading(ratio, heading.at, heading.text)
        draft.places[step_into("/tolerances/overrides", name)] = place
        if name in overrides:
            draft.refuse(table.place(row, "limit"), f"The limit {name} is there twice.")
        cell = row.at(heading.at)
        value = None if cell.blank else draft.value(cell, heading, place)
        if name and value is not None:
            overrides[name] = value
        elif name and cell.blank:
            draft.refuse(place, "Nothing is written here; give the limit's value.")


def _read_instruments(draft: Draft, table: Headed) -> None:
    named = draft.named(table, "instrument", "/instruments") if table.rows else []
    draft.document["instruments"] = {name: members for name, members, _ in named}


def _read_details(draft: Draft, table: Headed) -> None:
    details: dict[str, Any] = {}
    named = draft.named(table, "detail", "/details") if table.rows else []
    for name, members, row in named:
        pointer = step_into("/details", name)
        draft.places[f"{pointer}/rods"] = table.place(row, "detail")
        for member in ("hole_diameter", "thickness", "edge_distance"):
            draft.places[f"{pointer}/plate/{member}"] = table.place(row, member)
        detail: dict[str, Any] = {"rods": []}
        if "reference" in members:
            detail["reference"] = str(members.pop("reference")).lower()
        if members:
            detail["plate"] = members
        details[name] = detail
    draft.document["details"] = details


def _read_rods(draft: Draft, table: Headed) -> None:
    details = draft.document.get("details", {})
    groups: dict[str, list[Row]] = {}
    for row in table.rows:
        name = draft.name(table, row, "detail")
        if name and name not in details:
            msg = f"There is no detail {name} in the sheet Details."
            draft.refuse(table.place(row, "detail"), msg)
        elif name:
            groups.setdefault(name, []).append(row)
    for name, rows in groups.items():
        pointer = f"{step_into('/details', name)}/rods"
        draft.places[pointer] = table.sheet.row_place(rows[0].number)
        details[name]["rods"] = [
            draft.members(table, row, f"{pointer}/{index}", ("detail", "rod"))
            for index, row in enumerate(_in_order(draft, table, rows))
        ]
    for name, detail in details.items():
        if not detail["rods"]:
            place = draft.places[f"{step_into('/details', name)}/rods"]
            draft.refuse(place, f"Detail {name} has no rods in the sheet Rods.")


def _in_order(draft: Draft, table: Headed, rows: list[Row]) -> list[Row]:
    """Put the rods of a detail in the order of their numbers, where they have any."""
    heading = table.headings.get("rod")
    if heading is None or all(row.at(heading.at).blank for row in rows):
        return rows
    numbers = [
        draft.value(row.at(heading.at), heading, table.place(row, "rod"))
        for row in rows
    ]
    order = dict(zip(numbers, rows, strict=True))
    wanted = range(1, len(rows) + 1)
    if order.keys() != set(wanted):
        msg = f"The rods of a detail are numbered 1 to {len(rows)}, each once."
        draft.refuse(table.place(rows[0], "rod"), msg)
        return rows
    return [order[number] for number in wanted]


def _read_cylinders(draft: Draft, table: Headed) -> None:
    _maturity(draft)["curve"] = draft.listed(table, "/concrete/maturity/curve")


def _read_temperatures(draft: Draft, table: Headed) -> None:
    history = draft.listed(table, "/concrete/maturity/temperatures")
    _maturity(draft)["temperatures"] = history


def _maturity(draft: Draft) -> dict[str, Any]:
    concrete = draft.document.setdefault("concrete", {})
    maturity: dict[str, Any] = concrete.setdefault("maturity", {})
    return maturity


_READERS: Mapping[str, Callable[[Draft, Headed], None]] = {
    "Building": _read_facts,
    "Outline": _read_outline,
    "Diagonals": _read_diagonals,
    "Details": _read_details,
    "Rods": _read_rods,
    "Positions": _read_positions,
    "Shims": _read_shims,
    "Limits": _read_limits,
    "Strength tests": _read_tests,
    "Cylinders": _read_cylinders,
    "Temperatures": _read_temperatures,
    "Instruments": _read_instruments,
}
