"""A document in the making: cells put into it, each with its place in the file."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from jobs.exchange.reader import Refusal, step_into
from jobs.exchange.tables.columns import CellError, Headed, Heading, Units, value_of
from jobs.exchange.tables.sheets import Cell, Row

Value = str | int | float | bool


@dataclass
class Draft:
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
    places: dict[str, str] = field(default_factory=dict)
    faults: list[Refusal] = field(default_factory=list)
    left: list[Refusal] = field(default_factory=list)
    units: Units = field(default_factory=Units)

    def refuse(self, place: str, message: str) -> None:
        """Keep a fault."""
        self.faults.append(Refusal(place, message))

    def leave(self, place: str, message: str) -> None:
        """Keep what was not understood."""
        self.left.append(Refusal(place, message))

    def value(self, cell: Cell, heading: Heading, place: str) -> Value | None:
        """Read a cell; None where it cannot be used."""
        try:
            return value_of(cell, heading, self.units)
        except CellError as error:
            self.refuse(place, str(error))
            return None

    def members(
        self, table: Headed, row: Row, pointer: str, without: Sequence[str] = ()
    ) -> dict[str, Any]:
        """Read a row into an object's members; a blank cell is no member."""
        members: dict[str, Any] = {}
        self.places[pointer] = table.sheet.row_place(row.number)
        for heading, cell in table.cells(row):
            member = heading.column.member
            if member in without:
                continue
            place = table.place(row, member)
            self.places[step_into(pointer, member)] = place
            if cell.blank:
                continue
            value = self.value(cell, heading, place)
            if value is not None:
                members[member] = value
        return members

    def name(self, table: Headed, row: Row, member: str) -> str:
        """Read a name that a row is about; empty where there is none."""
        heading, place = table.headings[member], table.place(row, member)
        cell = row.at(heading.at)
        if cell.blank:
            words = heading.column.heading.lower()
            self.refuse(place, f"Nothing is written here; give the {words}.")
            return ""
        value = self.value(cell, heading, place)
        return "" if value is None else str(value)

    def listed(self, table: Headed, pointer: str) -> list[dict[str, Any]]:
        """Read a sheet into a list of objects, one to a row."""
        self.places[pointer] = table.sheet.place
        return [
            self.members(table, row, f"{pointer}/{index}")
            for index, row in enumerate(table.rows)
        ]

    def single(self, table: Headed, pointer: str) -> list[Any]:
        """Read a sheet of one column into a list."""
        self.places[pointer] = table.sheet.place
        values: list[Any] = []
        for row in table.rows:
            for heading, cell in table.cells(row):
                place = table.place(row, heading.column.member)
                value = None if cell.blank else self.value(cell, heading, place)
                if value is not None:
                    self.places[f"{pointer}/{len(values)}"] = place
                    values.append(value)
        return values

    def named(
        self, table: Headed, member: str, pointer: str
    ) -> list[tuple[str, dict[str, Any], Row]]:
        """Read rows that are each about a thing with a name of its own."""
        self.places[pointer] = table.sheet.place
        found: dict[str, tuple[str, dict[str, Any], Row]] = {}
        for row in table.rows:
            name = self.name(table, row, member)
            members = self.members(table, row, step_into(pointer, name), (member,))
            if name in found:
                first = table.sheet.row_place(found[name][2].number)
                place = table.place(row, member)
                self.refuse(place, f"{name} is there twice, first at {first}.")
            elif name:
                found[name] = (name, members, row)
        return list(found.values())
