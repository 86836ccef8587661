"""Export of a plan as sheets, which can be imported again as the same plan."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from jobs.exchange.canonical_json import number_text
from jobs.exchange.tables import sheet_layout
from jobs.exchange.tables.columns import SheetKind, column_headings
from jobs.exchange.tables.sheets import Table

CellContent = str | int | float | None


def build_plan_tables(document: Mapping[str, Any]) -> list[Table]:
    """Build the sheets of a document's plan.

    Values are written as they were typed: texts with their units, numbers in the
    document's unit. There is a sheet for each member that the document has.

    Parameters
    ----------
    document : an accepted one; its readings are left out.
    """
    tables = [
        _build_facts_table(document),
        _build_table(sheet_layout.OUTLINE_SHEET, document["outline"]),
    ]
    concrete = document.get("concrete", {})
    maturity = concrete.get("maturity", {})
    limits = document.get("tolerances", {}).get("overrides", {})
    lists: list[tuple[SheetKind, Any]] = [
        (sheet_layout.DIAGONALS_SHEET, document.get("diagonals")),
        (sheet_layout.DETAILS_SHEET, list(_list_details(document)) or None),
        (sheet_layout.RODS_SHEET, list(_list_rods(document)) or None),
        (sheet_layout.POSITIONS_SHEET, document.get("positions")),
        (sheet_layout.SHIMS_SHEET, document.get("shim_thicknesses")),
        (
            sheet_layout.LIMITS_SHEET,
            [{"limit": k, "value": v} for k, v in limits.items()] or None,
        ),
        (sheet_layout.STRENGTH_TESTS_SHEET, concrete.get("standard_cured")),
        (sheet_layout.CYLINDERS_SHEET, maturity.get("curve")),
        (sheet_layout.TEMPERATURES_SHEET, maturity.get("temperatures")),
        (
            sheet_layout.INSTRUMENTS_SHEET,
            list(_list_instruments(document, "instruments")) or None,
        ),
    ]
    tables += [_build_table(kind, rows) for kind, rows in lists if rows is not None]
    return tables


def _build_facts_table(document: Mapping[str, Any]) -> Table:
    rows: list[Sequence[CellContent]] = []
    for column in sheet_layout.BUILDING_FACTS:
        value: Any = document
        for step in column.member[1:].split("/"):
            value = value.get(step) if isinstance(value, dict) else None
        if value is not None:
            rows.append((column.heading, to_cell_content(value)))
    return Table(
        sheet_layout.BUILDING_SHEET.name,
        column_headings(sheet_layout.BUILDING_SHEET.columns),
        rows,
    )


def _build_table(kind: SheetKind, rows: Sequence[Any]) -> Table:
    """Build a table with the columns that any of the rows needs."""
    members = [
        column
        for column in kind.columns
        if column.required or any(_has_member(row, column.member) for row in rows)
    ]
    return Table(
        kind.name,
        column_headings(members),
        [[_get_member(row, column.member) for column in members] for row in rows],
    )


def _has_member(row: Any, member: str) -> bool:
    return isinstance(row, dict) and member in row


def _get_member(row: Any, member: str) -> CellContent:
    if isinstance(row, dict):
        return to_cell_content(row.get(member))
    if isinstance(row, list):  # a diagonal: its two ends
        return to_cell_content(row[int(member)])
    return to_cell_content(row)


def to_cell_content(value: Any) -> CellContent:
    """Return a value as a cell that is imported again as the same value."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        whole = value.is_integer() and abs(value) < 1e15
        return int(value) if whole else float(number_text(value))
    return value  # type: ignore[no-any-return]  # text, a whole number or nothing


def _list_details(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for name, detail in document.get("details", {}).items():
        plate = detail.get("plate", {})
        yield {"detail": name, "reference": detail["reference"], **plate}


def _list_rods(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for name, detail in document.get("details", {}).items():
        for number, rod in enumerate(detail["rods"], start=1):
            yield {"detail": name, "rod": number, **rod}


def _list_instruments(
    document: Mapping[str, Any], member: str
) -> Iterator[dict[str, Any]]:
    for name, entry in document.get(member, {}).items():
        yield {"instrument": name, **entry}
