"""A document in the making: cells put into it, each with its place in the file."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from jobs.exchange.input.json_reader import DocumentIssue, join_pointer
from jobs.exchange.tables.columns import (
    CellError,
    CellUnits,
    ColumnHeading,
    HeadedSheet,
    read_cell,
)
from jobs.exchange.tables.sheets import Cell, Row

CellResult = str | int | float | bool


@dataclass
class DocumentBuilder:
    """What has been read of a file so far.

    Attributes
    ----------
    document : the exchange document, as far as it goes.
    places : where in the file the value of a JSON Pointer stands.
    faults : cells that cannot be used, by their places.
    left : what was not understood and is left out, by its place.
    units : what numbers without one are in.
    """

    document: dict[str, Any] = field(default_factory=dict)
    source_locations: dict[str, str] = field(default_factory=dict)
    issues: list[DocumentIssue] = field(default_factory=list)
    ignored: list[DocumentIssue] = field(default_factory=list)
    units: CellUnits = field(default_factory=CellUnits)

    def add_issue(self, place: str, message: str) -> None:
        """Keep a fault."""
        self.issues.append(DocumentIssue(place, message))

    def add_ignored(self, place: str, message: str) -> None:
        """Keep what was not understood."""
        self.ignored.append(DocumentIssue(place, message))

    def read_value(
        self, cell: Cell, heading: ColumnHeading, place: str
    ) -> CellResult | None:
        """Read a cell; None where it cannot be used."""
        try:
            return read_cell(cell, heading, self.units)
        except CellError as error:
            self.add_issue(place, str(error))
            return None

    def read_members(
        self, table: HeadedSheet, row: Row, pointer: str, without: Sequence[str] = ()
    ) -> dict[str, Any]:
        """Read a row into an object's members; a blank cell is no member."""
        members: dict[str, Any] = {}
        self.source_locations[pointer] = table.sheet.row_location(row.number)
        for heading, cell in table.iterate_cells(row):
            member = heading.column.member
            if member in without:
                continue
            place = table.location(row, member)
            self.source_locations[join_pointer(pointer, member)] = place
            if cell.is_blank:
                continue
            value = self.read_value(cell, heading, place)
            if value is not None:
                members[member] = value
        return members

    def read_name(self, table: HeadedSheet, row: Row, member: str) -> str:
        """Read a name that a row is about; empty where there is none."""
        heading, place = table.headings[member], table.location(row, member)
        cell = row.cell(heading.index)
        if cell.is_blank:
            words = heading.column.heading.lower()
            self.add_issue(place, f"Nothing is written here; give the {words}.")
            return ""
        value = self.read_value(cell, heading, place)
        return "" if value is None else str(value)

    def read_rows(self, table: HeadedSheet, pointer: str) -> list[dict[str, Any]]:
        """Read a sheet into a list of objects, one to a row."""
        self.source_locations[pointer] = table.sheet.location
        return [
            self.read_members(table, row, f"{pointer}/{index}")
            for index, row in enumerate(table.rows)
        ]

    def read_single_column(self, table: HeadedSheet, pointer: str) -> list[Any]:
        """Read a sheet of one column into a list."""
        self.source_locations[pointer] = table.sheet.location
        values: list[Any] = []
        for row in table.rows:
            for heading, cell in table.iterate_cells(row):
                place = table.location(row, heading.column.member)
                value = None if cell.is_blank else self.read_value(cell, heading, place)
                if value is not None:
                    self.source_locations[f"{pointer}/{len(values)}"] = place
                    values.append(value)
        return values

    def read_named_rows(
        self, table: HeadedSheet, member: str, pointer: str
    ) -> list[tuple[str, dict[str, Any], Row]]:
        """Read rows that are each about a thing with a name of its own."""
        self.source_locations[pointer] = table.sheet.location
        found: dict[str, tuple[str, dict[str, Any], Row]] = {}
        for row in table.rows:
            name = self.read_name(table, row, member)
            members = self.read_members(
                table, row, join_pointer(pointer, name), (member,)
            )
            if name in found:
                first = table.sheet.row_location(found[name][2].number)
                place = table.location(row, member)
                self.add_issue(place, f"{name} is there twice, first at {first}.")
            elif name:
                found[name] = (name, members, row)
        return list(found.values())
