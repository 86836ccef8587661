"""Building of a document from cells, each with its location in the file."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from jobs.exchange.issues import DocumentIssue, IssueCode, file_issue, join_pointer
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
    """A document while it is built from a file.

    Attributes
    ----------
    document : the building document so far.
    source_locations : location in the file of a value, by JSON Pointer.
    issues : cells that cannot be used.
    ignored : what was not recognised and is left out.
    units : of numbers that state none.
    """

    document: dict[str, Any] = field(default_factory=dict)
    source_locations: dict[str, str] = field(default_factory=dict)
    issues: list[DocumentIssue] = field(default_factory=list)
    ignored: list[DocumentIssue] = field(default_factory=list)
    units: CellUnits = field(default_factory=CellUnits)

    def add_issue(self, location: str, message: str) -> None:
        """Add an issue."""
        self.issues.append(file_issue(location, message))

    def add_ignored(self, location: str, message: str) -> None:
        """Add something that is left out."""
        issue = file_issue(location, message, IssueCode.IGNORED)
        self.ignored.append(issue)

    def read_value(
        self, cell: Cell, heading: ColumnHeading, location: str
    ) -> CellResult | None:
        """Read a cell; None if it cannot be used."""
        try:
            return read_cell(cell, heading, self.units)
        except CellError as error:
            self.add_issue(location, str(error))
            return None

    def read_members(
        self, table: HeadedSheet, row: Row, pointer: str, without: Sequence[str] = ()
    ) -> dict[str, Any]:
        """Read a row as an object; a blank cell is no member."""
        members: dict[str, Any] = {}
        self.source_locations[pointer] = table.sheet.row_location(row.number)
        for heading, cell in table.iterate_cells(row):
            member = heading.column.member
            if member in without:
                continue
            location = table.location(row, member)
            self.source_locations[join_pointer(pointer, member)] = location
            # The location is kept also of a blank cell: the parser may find it is
            # needed.
            if cell.is_blank:
                continue
            value = self.read_value(cell, heading, location)
            if value is not None:
                members[member] = value
        return members

    def read_name(self, table: HeadedSheet, row: Row, member: str) -> str:
        """Read the name of what a row describes; empty if there is none."""
        heading, location = table.headings[member], table.location(row, member)
        cell = row.cell(heading.index)
        if cell.is_blank:
            noun = heading.column.heading.lower()
            self.add_issue(location, f"This is empty; enter the {noun}.")
            return ""
        value = self.read_value(cell, heading, location)
        return "" if value is None else str(value)

    def read_rows(self, table: HeadedSheet, pointer: str) -> list[dict[str, Any]]:
        """Read a sheet as a list of objects, one per row."""
        self.source_locations[pointer] = table.sheet.location
        return [
            self.read_members(table, row, f"{pointer}/{index}")
            for index, row in enumerate(table.rows)
        ]

    def read_single_column(self, table: HeadedSheet, pointer: str) -> list[Any]:
        """Read a sheet of one column as a list."""
        self.source_locations[pointer] = table.sheet.location
        values: list[Any] = []
        for row in table.rows:
            for heading, cell in table.iterate_cells(row):
                location = table.location(row, heading.column.member)
                value = (
                    None if cell.is_blank else self.read_value(cell, heading, location)
                )
                if value is not None:
                    self.source_locations[f"{pointer}/{len(values)}"] = location
                    values.append(value)
        return values

    def read_named_rows(
        self, table: HeadedSheet, member: str, pointer: str
    ) -> list[tuple[str, dict[str, Any], Row]]:
        """Read rows that each describe something with a name of its own."""
        self.source_locations[pointer] = table.sheet.location
        found: dict[str, tuple[str, dict[str, Any], Row]] = {}
        for row in table.rows:
            name = self.read_name(table, row, member)
            members = self.read_members(
                table, row, join_pointer(pointer, name), (member,)
            )
            if name in found:
                first = table.sheet.row_location(found[name][2].number)
                location = table.location(row, member)
                self.add_issue(location, f"{name} appears twice, first at {first}.")
            elif name:
                found[name] = (name, members, row)
        return list(found.values())
