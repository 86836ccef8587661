"""Reading of each sheet of a plan into a document."""

from collections.abc import Callable, Mapping
from typing import Any, cast

from core.units import LengthUnit
from jobs.exchange.issues import join_pointer
from jobs.exchange.tables import sheet_layout
from jobs.exchange.tables.columns import (
    LENGTH_UNITS,
    CellType,
    CellUnits,
    ColumnHeading,
    HeadedSheet,
    SheetColumn,
    normalise_heading,
)
from jobs.exchange.tables.document_builder import DocumentBuilder
from jobs.exchange.tables.sheets import Cell, Row
from jobs.exchange.vocabulary import OVERRIDE_ANGLES, OVERRIDE_RATIOS

_UNIT_WORDS = {
    "inch": "in", "inches": "in", '"': "in", "feet": "ft", "foot": "ft", "'": "ft",
    "millimetres": "mm", "centimetres": "cm", "metres": "m",
    "millimeters": "mm", "centimeters": "cm", "meters": "m",
}  # fmt: skip


def _read_facts(builder: DocumentBuilder, table: HeadedSheet) -> None:
    columns = {
        normalise_heading(name): column
        for column in sheet_layout.BUILDING_FACTS
        for name in (column.heading, *column.aliases)
    }
    label_at, value_at = (table.headings[name].index for name in ("what", "value"))
    for row in table.rows:
        label = str(row.cell(label_at).value or "").strip()
        column = columns.get(normalise_heading(label))
        if column is not None:
            location = table.sheet.cell_location(row.number, value_at, label)
            builder.source_locations[column.member] = location
            _put_fact(builder, column, row.cell(value_at), location)
        elif label and normalise_heading(label) != normalise_heading(
            sheet_layout.BUILDING_SHEET.name
        ):
            names = ", ".join(each.heading for each in sheet_layout.BUILDING_FACTS)
            msg = f"Unknown label “{label}”; the labels here are {names}."
            builder.add_ignored(table.sheet.row_location(row.number), msg)
    unit = builder.document.get("length_unit")
    if unit in LENGTH_UNITS:
        builder.units = CellUnits(length=cast("LengthUnit", unit))


def _put_fact(
    builder: DocumentBuilder, column: SheetColumn, cell: Cell, location: str
) -> None:
    if cell.is_blank:
        return
    value = builder.read_value(cell, ColumnHeading(column, 0, ""), location)
    if column.member == "/length_unit":
        value = _UNIT_WORDS.get(str(value).lower(), value)
    if value is None:
        return
    at = builder.document
    *path, last = column.member[1:].split("/")
    for step in path:
        at = at.setdefault(step, {})
    at[last] = value


def _read_outline(builder: DocumentBuilder, table: HeadedSheet) -> None:
    builder.document["outline"] = builder.read_rows(table, "/outline")


def _read_positions(builder: DocumentBuilder, table: HeadedSheet) -> None:
    builder.document["positions"] = builder.read_rows(table, "/positions")


def _read_diagonals(builder: DocumentBuilder, table: HeadedSheet) -> None:
    rows = builder.read_rows(table, "/diagonals")
    builder.document["diagonals"] = [
        [row[end] for end in ("0", "1") if end in row] for row in rows
    ]


def _read_shims(builder: DocumentBuilder, table: HeadedSheet) -> None:
    builder.document["shim_thicknesses"] = builder.read_single_column(
        table, "/shim_thicknesses"
    )


def _read_tests(builder: DocumentBuilder, table: HeadedSheet) -> None:
    tests = builder.read_single_column(table, "/concrete/standard_cured")
    if tests:
        builder.document.setdefault("concrete", {})["standard_cured"] = tests


_LIMIT_CELL_TYPES = {
    **dict.fromkeys(OVERRIDE_RATIOS, CellType.RATIO),
    **dict.fromkeys(OVERRIDE_ANGLES, CellType.QUANTITY),
}
"""Types of the limits that are not lengths."""


def _read_limits(builder: DocumentBuilder, table: HeadedSheet) -> None:
    tolerances = builder.document.setdefault("tolerances", {})
    overrides = tolerances.setdefault("overrides", {})
    for row in table.rows:
        name = normalise_heading(builder.read_name(table, row, "limit")).replace(
            " ", "_"
        )
        heading, location = table.headings["value"], table.location(row, "value")
        cell_type = _LIMIT_CELL_TYPES.get(name)
        if cell_type is not None:
            column = SheetColumn("value", "Value", cell_type)
            heading = ColumnHeading(column, heading.index, heading.text)
        builder.source_locations[join_pointer("/tolerances/overrides", name)] = location
        if name in overrides:
            builder.add_issue(
                table.location(row, "limit"), f"The limit {name} appears twice."
            )
        cell = row.cell(heading.index)
        value = None if cell.is_blank else builder.read_value(cell, heading, location)
        if name and value is not None:
            overrides[name] = value
        elif name and cell.is_blank:
            builder.add_issue(location, "This is empty; enter the limit's value.")


def _read_instruments(builder: DocumentBuilder, table: HeadedSheet) -> None:
    named = (
        builder.read_named_rows(table, "instrument", "/instruments")
        if table.rows
        else []
    )
    builder.document["instruments"] = {name: members for name, members, _ in named}


def _read_details(builder: DocumentBuilder, table: HeadedSheet) -> None:
    details: dict[str, Any] = {}
    named = builder.read_named_rows(table, "detail", "/details") if table.rows else []
    for name, members, row in named:
        pointer = join_pointer("/details", name)
        builder.source_locations[f"{pointer}/rods"] = table.location(row, "detail")
        for member in ("hole_diameter", "thickness", "edge_distance"):
            builder.source_locations[f"{pointer}/plate/{member}"] = table.location(
                row, member
            )
        detail: dict[str, Any] = {"rods": []}
        if "reference" in members:
            detail["reference"] = str(members.pop("reference")).lower()
        if members:
            detail["plate"] = members
        details[name] = detail
    builder.document["details"] = details


def _read_rods(builder: DocumentBuilder, table: HeadedSheet) -> None:
    details = builder.document.get("details", {})
    groups: dict[str, list[Row]] = {}
    for row in table.rows:
        name = builder.read_name(table, row, "detail")
        if name and name not in details:
            msg = f"There is no detail {name} in the sheet Details."
            builder.add_issue(table.location(row, "detail"), msg)
        elif name:
            groups.setdefault(name, []).append(row)
    for name, rows in groups.items():
        pointer = f"{join_pointer('/details', name)}/rods"
        builder.source_locations[pointer] = table.sheet.row_location(rows[0].number)
        details[name]["rods"] = [
            builder.read_members(table, row, f"{pointer}/{index}", ("detail", "rod"))
            for index, row in enumerate(_sort_rods(builder, table, rows))
        ]
    for name, detail in details.items():
        if not detail["rods"]:
            location = builder.source_locations[
                f"{join_pointer('/details', name)}/rods"
            ]
            builder.add_issue(location, f"Detail {name} has no rods in the sheet Rods.")


def _sort_rods(
    builder: DocumentBuilder, table: HeadedSheet, rows: list[Row]
) -> list[Row]:
    """Sort the rods of a detail by their numbers, if they have any."""
    heading = table.headings.get("rod")
    if heading is None or all(row.cell(heading.index).is_blank for row in rows):
        return rows
    numbers = [
        builder.read_value(row.cell(heading.index), heading, table.location(row, "rod"))
        for row in rows
    ]
    order = dict(zip(numbers, rows, strict=True))
    numbers_needed = range(1, len(rows) + 1)
    if order.keys() != set(numbers_needed):
        msg = f"The rods of a detail are numbered 1 to {len(rows)}, each once."
        builder.add_issue(table.location(rows[0], "rod"), msg)
        return rows
    return [order[number] for number in numbers_needed]


def _read_cylinders(builder: DocumentBuilder, table: HeadedSheet) -> None:
    _get_maturity(builder)["curve"] = builder.read_rows(
        table, "/concrete/maturity/curve"
    )


def _read_temperatures(builder: DocumentBuilder, table: HeadedSheet) -> None:
    history = builder.read_rows(table, "/concrete/maturity/temperatures")
    _get_maturity(builder)["temperatures"] = history


def _get_maturity(builder: DocumentBuilder) -> dict[str, Any]:
    concrete = builder.document.setdefault("concrete", {})
    maturity: dict[str, Any] = concrete.setdefault("maturity", {})
    return maturity


SHEET_READERS: Mapping[str, Callable[[DocumentBuilder, HeadedSheet], None]] = {
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
