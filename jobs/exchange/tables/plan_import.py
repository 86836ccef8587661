"""Import of a plan from sheets, with the location of every value."""

from collections.abc import Mapping, Sequence
from typing import Any

from jobs.exchange.imported_file import ImportedFile
from jobs.exchange.tables import sheet_layout
from jobs.exchange.tables.columns import (
    CellUnits,
    ColumnHeading,
    HeadedSheet,
    SheetKind,
    find_headings,
)
from jobs.exchange.tables.document_builder import DocumentBuilder
from jobs.exchange.tables.plan_sheets import SHEET_READERS
from jobs.exchange.tables.sheets import Sheet
from jobs.exchange.vocabulary import BUILDING_FORMAT

_KINDS_NEEDING_NAME = (
    sheet_layout.BUILDING_SHEET,
    sheet_layout.SHIMS_SHEET,
    sheet_layout.LIMITS_SHEET,
    sheet_layout.STRENGTH_TESTS_SHEET,
)
"""Kinds of sheet that cannot be identified by their headings alone."""

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
    """Build a document from the sheets of a plan.

    Parameters
    ----------
    sheets : in any order; one without a known name is identified by its headings.
    base : document of the current plan, which keeps what the file has no sheet for.
    """
    builder = DocumentBuilder({"format": BUILDING_FORMAT})
    builder.source_locations = {
        "": "the file",
        "/outline": "sheet Outline",
        "/name": "sheet Building",
        "/length_unit": "sheet Building",
    }
    if base is not None:
        builder.units = CellUnits(length=base.get("length_unit"))
    tables = _identify_sheets(builder, sheets)
    for name, read in SHEET_READERS.items():
        if name in tables:
            builder.ignored += tables[name].unknown
            read(builder, tables[name])
    if base is not None:
        _fill_from_base(builder, base, tables)
    return ImportedFile(
        document=builder.document,
        source_locations=builder.source_locations,
        issues=tuple(builder.issues),
        ignored=tuple(builder.ignored),
    )


def _identify_sheets(
    builder: DocumentBuilder, sheets: Sequence[Sheet]
) -> dict[str, HeadedSheet]:
    """Identify the sheets by kind; others are left out."""
    tables: dict[str, HeadedSheet] = {}
    for sheet in sheets:
        kind = sheet_layout.find_sheet_kind(sheet.name) or _identify_by_headings(sheet)
        if kind is None and sheet.rows:
            names = ", ".join(each.name for each in sheet_layout.ALL_SHEETS)
            name = f"The sheet “{sheet.name}”" if sheet.name else "This sheet"
            msg = f"{name} is none of a plan's and was ignored; they are {names}."
            builder.add_ignored(sheet.location, msg)
        if kind is sheet_layout.READINGS_SHEET and sheet.rows:
            msg = (
                "Readings are not part of a plan and are not stored here: import the "
                "same file as readings."
            )
            builder.add_ignored(sheet.location, msg)
        if kind is None or kind is sheet_layout.READINGS_SHEET:
            continue
        headed = (
            _find_fact_columns(sheet)
            if kind is sheet_layout.BUILDING_SHEET
            else _find_headings(sheet, kind)
        )
        if headed is None:
            required = ", ".join(each.heading for each in kind.columns if each.required)
            msg = f"No row of this sheet has the headings it needs: {required}."
            builder.add_issue(sheet.location, msg)
            for member in _MEMBERS_BY_SHEET.get(kind.name, ()):
                builder.source_locations[f"/{member}"] = sheet.location
        elif kind.name in tables:
            msg = f"This is a second sheet {kind.name} and was ignored."
            builder.add_ignored(sheet.location, msg)
        else:
            tables[kind.name] = headed
    return tables


def _identify_by_headings(sheet: Sheet) -> SheetKind | None:
    """Identify a sheet by its headings."""
    fits = [
        (len(headed.headings), kind)
        for kind in sheet_layout.ALL_SHEETS
        if kind not in _KINDS_NEEDING_NAME
        and (headed := find_headings(sheet, kind.columns)) is not None
    ]
    return max(fits, key=lambda fit: fit[0])[1] if fits else None


def _find_headings(sheet: Sheet, kind: SheetKind) -> HeadedSheet | None:
    if not sheet.rows:  # an empty sheet means an empty list
        return HeadedSheet(sheet, {}, (), (), ())
    return find_headings(sheet, kind.columns)


def _find_fact_columns(sheet: Sheet) -> HeadedSheet:
    """Find the label and value columns; without headings, the first two."""
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
    builder: DocumentBuilder, base: Mapping[str, Any], tables: Mapping[str, HeadedSheet]
) -> None:
    """Copy from the current plan what the file has no sheet for."""
    document = builder.document
    taken = {member for name in tables for member in _MEMBERS_BY_SHEET.get(name, ())}
    kept = {
        member: base[member]
        for members in _MEMBERS_BY_SHEET.values()
        for member in members
        if member not in taken and member in base
    }
    document |= kept
    for names, member, parts in _PARTS_BY_SHEETS:
        if not tables.keys() & set(names):
            own = base.get(member, {})
            found = {part: own[part] for part in parts if part in own}
            if found:
                document[member] = found | document.get(member, {})
                kept[member] = found
    unit = base.get("length_unit")
    # Bare numbers of the kept parts would silently change their unit.
    if kept.keys() - {"name", "length_unit"} and document.get("length_unit") != unit:
        msg = (
            f"The current plan is in {unit}: a file in another length unit needs all "
            "sheets, not some."
        )
        builder.add_issue(builder.source_locations["/length_unit"], msg)
