"""Sheets of a plan to an exchange document, with the place of every value."""

from collections.abc import Callable, Mapping, Sequence
from typing import Any, cast

from core.units import LengthUnit
from jobs.exchange.imported_file import ImportedFile
from jobs.exchange.input.json_reader import join_pointer
from jobs.exchange.tables import sheet_layout
from jobs.exchange.tables.columns import (
    LENGTH_UNITS,
    CellType,
    CellUnits,
    ColumnHeading,
    HeadedSheet,
    SheetColumn,
    SheetKind,
    find_headings,
    normalise_heading,
)
from jobs.exchange.tables.document_builder import DocumentBuilder
from jobs.exchange.tables.sheets import Cell, Row, Sheet
from jobs.exchange.vocabulary import BUILDING_FORMAT, OVERRIDE_RATIOS

_UNIT_WORDS = {
    "inch": "in", "inches": "in", '"': "in", "feet": "ft", "foot": "ft", "'": "ft",
    "millimetres": "mm", "centimetres": "cm", "metres": "m",
    "millimeters": "mm", "centimeters": "cm", "meters": "m",
}  # fmt: skip
_KINDS_NEEDING_NAME = (
    sheet_layout.BUILDING_SHEET,
    sheet_layout.SHIMS_SHEET,
    sheet_layout.LIMITS_SHEET,
    sheet_layout.STRENGTH_TESTS_SHEET,
)
"""Kinds of sheet that their headings alone do not tell."""

_MEMBERS_BY_SHEET: Mapping[str, tuple[str, ...]] = {
    "Building": ("name", "length_unit", "notch"),
    "Outline": ("outline",),
    "Diagonals": ("diagonals",),
    "Details": ("details",),
    "Rods": ("details",),
    "Positions": ("positions",),
    "Shims": ("shim_thicknesses",),
    "Instruments": ("instruments",),
}
_PARTS_BY_SHEETS: Sequence[tuple[tuple[str, ...], str, tuple[str, ...]]] = (
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


def import_plan_sheets(
    sheets: Sequence[Sheet], base: Mapping[str, Any] | None = None
) -> ImportedFile:
    """Turn the sheets of a plan into an exchange document.

    Parameters
    ----------
    sheets : in any order; one whose name says nothing is known by its headings.
    base : the document of the plan in force: what the file has no sheet for stays
        as it is there.
    """
    draft = DocumentBuilder({"format": BUILDING_FORMAT})
    draft.source_locations = {
        "": "the file",
        "/outline": "sheet Outline",
        "/name": "sheet Building",
        "/length_unit": "sheet Building",
    }
    if base is not None:
        draft.units = CellUnits(length=base.get("length_unit"))
    known = _identify_sheets(draft, sheets)
    for name, read in _READERS.items():
        if name in known:
            draft.ignored += known[name].unknown
            read(draft, known[name])
    if base is not None:
        _fill_from_base(draft, base, known)
    return ImportedFile(
        document=draft.document,
        source_locations=draft.source_locations,
        issues=tuple(draft.issues),
        ignored=tuple(draft.ignored),
    )


def _identify_sheets(
    draft: DocumentBuilder, sheets: Sequence[Sheet]
) -> dict[str, HeadedSheet]:
    """Tell which sheet is which; what is none is left out and told."""
    known: dict[str, HeadedSheet] = {}
    for sheet in sheets:
        kind = sheet_layout.find_sheet_kind(sheet.name) or _identify_by_headings(sheet)
        if kind is None and sheet.rows:
            names = ", ".join(each.name for each in sheet_layout.ALL_SHEETS)
            name = f"“{sheet.name}”" if sheet.name else "What stands here"
            msg = f"{name} is no sheet of a plan and was not read; they are {names}."
            draft.add_ignored(sheet.location, msg)
        if kind is sheet_layout.READINGS_SHEET and sheet.rows:
            msg = (
                "Readings are no part of a plan and are not stored here: bring the "
                "same file to the building's record."
            )
            draft.add_ignored(sheet.location, msg)
        if kind is None or kind is sheet_layout.READINGS_SHEET:
            continue
        headed = (
            _find_fact_columns(sheet)
            if kind is sheet_layout.BUILDING_SHEET
            else _find_headings(sheet, kind)
        )
        if headed is None:
            needed = ", ".join(each.heading for each in kind.columns if each.required)
            msg = f"No line of this sheet names the columns it needs: {needed}."
            draft.add_issue(sheet.location, msg)
            for member in _MEMBERS_BY_SHEET.get(kind.name, ()):
                draft.source_locations[f"/{member}"] = sheet.location
        elif kind.name in known:
            msg = f"This is another sheet {kind.name}; it was not read."
            draft.add_ignored(sheet.location, msg)
        else:
            known[kind.name] = headed
    return known


def _identify_by_headings(sheet: Sheet) -> SheetKind | None:
    """Tell a sheet by its headings, where its name says nothing."""
    fits = [
        (len(headed.headings), kind)
        for kind in sheet_layout.ALL_SHEETS
        if kind not in _KINDS_NEEDING_NAME
        and (headed := find_headings(sheet, kind.columns)) is not None
    ]
    return max(fits, key=lambda fit: fit[0])[1] if fits else None


def _find_headings(sheet: Sheet, kind: SheetKind) -> HeadedSheet | None:
    if not sheet.rows:  # a sheet with nothing in it says: none of these
        return HeadedSheet(sheet, {}, (), (), ())
    return find_headings(sheet, kind.columns)


def _find_fact_columns(sheet: Sheet) -> HeadedSheet:
    """Take the first two cells of each row as a fact: it needs no headings."""
    found = find_headings(sheet, sheet_layout.BUILDING_SHEET.columns)
    if found is not None:
        return found
    what, value = sheet_layout.BUILDING_SHEET.columns
    headings = {
        "what": ColumnHeading(what, 0, ""),
        "value": ColumnHeading(value, 1, ""),
    }
    return HeadedSheet(sheet, headings, sheet.rows, (), ())


def _fill_from_base(
    draft: DocumentBuilder, base: Mapping[str, Any], known: Mapping[str, HeadedSheet]
) -> None:
    """Take from the plan in force what the file has no sheet for."""
    document = draft.document
    taken = {member for name in known for member in _MEMBERS_BY_SHEET.get(name, ())}
    kept = {
        member: base[member]
        for members in _MEMBERS_BY_SHEET.values()
        for member in members
        if member not in taken and member in base
    }
    document |= kept
    for names, member, parts in _PARTS_BY_SHEETS:
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
        draft.add_issue(draft.source_locations["/length_unit"], msg)


# ---- one sheet each ---------------------------------------------------------


def _read_facts(draft: DocumentBuilder, table: HeadedSheet) -> None:
    known = {
        normalise_heading(name): column
        for column in sheet_layout.BUILDING_FACTS
        for name in (column.heading, *column.aliases)
    }
    label_at, value_at = (table.headings[name].index for name in ("what", "value"))
    for row in table.rows:
        label = str(row.cell(label_at).value or "").strip()
        column = known.get(normalise_heading(label))
        if column is not None:
            place = table.sheet.cell_location(row.number, value_at, label)
            draft.source_locations[column.member] = place
            _put_fact(draft, column, row.cell(value_at), place)
        elif label and normalise_heading(label) != normalise_heading(
            sheet_layout.BUILDING_SHEET.name
        ):
            names = ", ".join(each.heading for each in sheet_layout.BUILDING_FACTS)
            msg = f"“{label}” is no fact of a building; they are {names}."
            draft.add_ignored(table.sheet.row_location(row.number), msg)
    unit = draft.document.get("length_unit")
    if unit in LENGTH_UNITS:
        draft.units = CellUnits(length=cast("LengthUnit", unit))


def _put_fact(
    draft: DocumentBuilder, column: SheetColumn, cell: Cell, place: str
) -> None:
    if cell.is_blank:
        return
    value = draft.read_value(cell, ColumnHeading(column, 0, ""), place)
    if column.member == "/length_unit":
        value = _UNIT_WORDS.get(str(value).lower(), value)
    if value is None:
        return
    at = draft.document
    *path, last = column.member[1:].split("/")
    for step in path:
        at = at.setdefault(step, {})
    at[last] = value


def _read_outline(draft: DocumentBuilder, table: HeadedSheet) -> None:
    draft.document["outline"] = draft.read_rows(table, "/outline")


def _read_positions(draft: DocumentBuilder, table: HeadedSheet) -> None:
    draft.document["positions"] = draft.read_rows(table, "/positions")


def _read_diagonals(draft: DocumentBuilder, table: HeadedSheet) -> None:
    rows = draft.read_rows(table, "/diagonals")
    draft.document["diagonals"] = [
        [row[end] for end in ("0", "1") if end in row] for row in rows
    ]


def _read_shims(draft: DocumentBuilder, table: HeadedSheet) -> None:
    draft.document["shim_thicknesses"] = draft.read_single_column(
        table, "/shim_thicknesses"
    )


def _read_tests(draft: DocumentBuilder, table: HeadedSheet) -> None:
    tests = draft.read_single_column(table, "/concrete/standard_cured")
    if tests:
        draft.document.setdefault("concrete", {})["standard_cured"] = tests


def _read_limits(draft: DocumentBuilder, table: HeadedSheet) -> None:
    tolerances = draft.document.setdefault("tolerances", {})
    overrides = tolerances.setdefault("overrides", {})
    for row in table.rows:
        name = normalise_heading(draft.read_name(table, row, "limit")).replace(" ", "_")
        heading, place = table.headings["value"], table.location(row, "value")
        if name in OVERRIDE_RATIOS:
            ratio = SheetColumn("value", "Value", CellType.RATIO)
            heading = ColumnHeading(ratio, heading.index, heading.text)
        draft.source_locations[join_pointer("/tolerances/overrides", name)] = place
        if name in overrides:
            draft.add_issue(
                table.location(row, "limit"), f"The limit {name} is there twice."
            )
        cell = row.cell(heading.index)
        value = None if cell.is_blank else draft.read_value(cell, heading, place)
        if name and value is not None:
            overrides[name] = value
        elif name and cell.is_blank:
            draft.add_issue(place, "Nothing is written here; give the limit's value.")


def _read_instruments(draft: DocumentBuilder, table: HeadedSheet) -> None:
    named = (
        draft.read_named_rows(table, "instrument", "/instruments") if table.rows else []
    )
    draft.document["instruments"] = {name: members for name, members, _ in named}


def _read_details(draft: DocumentBuilder, table: HeadedSheet) -> None:
    details: dict[str, Any] = {}
    named = draft.read_named_rows(table, "detail", "/details") if table.rows else []
    for name, members, row in named:
        pointer = join_pointer("/details", name)
        draft.source_locations[f"{pointer}/rods"] = table.location(row, "detail")
        for member in ("hole_diameter", "thickness", "edge_distance"):
            draft.source_locations[f"{pointer}/plate/{member}"] = table.location(
                row, member
            )
        detail: dict[str, Any] = {"rods": []}
        if "reference" in members:
            detail["reference"] = str(members.pop("reference")).lower()
        if members:
            detail["plate"] = members
        details[name] = detail
    draft.document["details"] = details


def _read_rods(draft: DocumentBuilder, table: HeadedSheet) -> None:
    details = draft.document.get("details", {})
    groups: dict[str, list[Row]] = {}
    for row in table.rows:
        name = draft.read_name(table, row, "detail")
        if name and name not in details:
            msg = f"There is no detail {name} in the sheet Details."
            draft.add_issue(table.location(row, "detail"), msg)
        elif name:
            groups.setdefault(name, []).append(row)
    for name, rows in groups.items():
        pointer = f"{join_pointer('/details', name)}/rods"
        draft.source_locations[pointer] = table.sheet.row_location(rows[0].number)
        details[name]["rods"] = [
            draft.read_members(table, row, f"{pointer}/{index}", ("detail", "rod"))
            for index, row in enumerate(_sort_rods(draft, table, rows))
        ]
    for name, detail in details.items():
        if not detail["rods"]:
            place = draft.source_locations[f"{join_pointer('/details', name)}/rods"]
            draft.add_issue(place, f"Detail {name} has no rods in the sheet Rods.")


def _sort_rods(
    draft: DocumentBuilder, table: HeadedSheet, rows: list[Row]
) -> list[Row]:
    """Put the rods of a detail in the order of their numbers, where they have any."""
    heading = table.headings.get("rod")
    if heading is None or all(row.cell(heading.index).is_blank for row in rows):
        return rows
    numbers = [
        draft.read_value(row.cell(heading.index), heading, table.location(row, "rod"))
        for row in rows
    ]
    order = dict(zip(numbers, rows, strict=True))
    wanted = range(1, len(rows) + 1)
    if order.keys() != set(wanted):
        msg = f"The rods of a detail are numbered 1 to {len(rows)}, each once."
        draft.add_issue(table.location(rows[0], "rod"), msg)
        return rows
    return [order[number] for number in wanted]


def _read_cylinders(draft: DocumentBuilder, table: HeadedSheet) -> None:
    _get_maturity(draft)["curve"] = draft.read_rows(table, "/concrete/maturity/curve")


def _read_temperatures(draft: DocumentBuilder, table: HeadedSheet) -> None:
    history = draft.read_rows(table, "/concrete/maturity/temperatures")
    _get_maturity(draft)["temperatures"] = history


def _get_maturity(draft: DocumentBuilder) -> dict[str, Any]:
    concrete = draft.document.setdefault("concrete", {})
    maturity: dict[str, Any] = concrete.setdefault("maturity", {})
    return maturity


_READERS: Mapping[str, Callable[[DocumentBuilder, HeadedSheet], None]] = {
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
