"""One section of the sheet as it is typed on the page, to entries and back."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from checks.queries.walk import Section, SheetRow
from jobs.exchange.parse import Refusal
from jobs.plan.sheet import Kind

BARE = re.compile(r"[-+]?[\d ./]*\d")  # a number without its unit, 4 1/2 included
FREE_LINES = 3
LENGTH_UNITS = ("in", "ft", "mm", "m")
STRENGTH_UNITS = ("psi", "MPa")
WHY_AGAIN = (
    "misread",
    "written down wrong",
    "tape not held right",
    "wrong point or rod",
    "moved since",
    "work done since",
)
POINTER_START = 2  # "/readings/3/value": the place stands third


@dataclass(slots=True)
class Line:
    """One line of the form: a check and what was typed for it.

    Attributes
    ----------
    row : the check with what is known of it; None where it is named on the line.
    number : of the line on the page.
    """

    number: int
    kind: Kind
    row: SheetRow | None = None
    client_id: str = field(default_factory=lambda: str(uuid4()))
    name: str = ""
    typed: str = ""
    replaces: str = ""
    note: str = ""
    corner: str = ""
    errors: list[str] = field(default_factory=list)

    @property
    def key(self) -> str:
        """The check the line is of; empty where it is not named yet."""
        if self.row is not None:
            return self.row.check.key
        return f"{self.kind}:{self.name}" if self.name else ""


def blank_lines(section: Section) -> list[Line]:
    """Lay out the lines of a section, nothing typed."""
    lines = [
        Line(
            number=number,
            kind=row.check.kind,
            row=row,
            replaces=row.again.client_id if row.again else "",
        )
        for number, row in enumerate(section.rows)
    ]
    named = {"levels": Kind.BENCHMARK, "strength": Kind.STRENGTH}.get(section.key)
    if named is not None:
        start = len(lines)
        lines += [Line(number=start + i, kind=named) for i in range(FREE_LINES)]
    return lines


def typed_lines(section: Section, data: Mapping[str, str]) -> list[Line]:
    """Fill the lines of a section with what was typed."""
    lines = blank_lines(section)
    for line in lines:
        for name in ("client_id", "name", "typed", "replaces", "note", "corner"):
            given = data.get(f"{name}-{line.number}", "").strip()
            if given or name == "replaces":
                setattr(line, name, given)
    return lines


def entries_of(
    lines: Iterable[Line], data: Mapping[str, str], shared: Mapping[str, Any]
) -> tuple[list[Line], list[dict[str, Any]]]:
    """Write the entries of the lines that were filled in, beside those lines."""
    filled = [line for line in lines if line.typed]
    return filled, [_entry(line, data, shared) for line in filled]


def _entry(
    line: Line, data: Mapping[str, str], shared: Mapping[str, Any]
) -> dict[str, Any]:
    entry = {"id": line.client_id, "check": line.key, "value": _value(line, data)}
    entry |= shared
    if line.kind is Kind.STRENGTH:
        for name in ("instrument", "temperature"):
            entry.pop(name, None)
    if line.replaces:
        entry["supersedes"] = line.replaces
        if line.note:
            entry["note"] = line.note
    if line.corner and line.kind is Kind.LINE:
        entry["from"] = line.corner
    if line.kind in (Kind.LEVEL, Kind.BENCHMARK):
        entry.pop("temperature", None)
        entry["setup"] = data.get("setup", "").strip() or "1"
    if line.kind is Kind.PLUMB and data.get("height", "").strip():
        entry["height"] = with_unit(data["height"], data.get("unit", ""))
    return entry


def _value(line: Line, data: Mapping[str, str]) -> str:
    unit = "strength_unit" if line.kind is Kind.STRENGTH else "unit"
    return with_unit(line.typed, data.get(unit, ""))


def with_unit(text: str, unit: str) -> str:
    """Give a bare number the unit chosen beside it; leave all else as typed."""
    text = text.strip()
    bare = BARE.fullmatch(text) and unit in (*LENGTH_UNITS, *STRENGTH_UNITS)
    return f"{text} {unit}" if bare else text


def put_errors(filled: list[Line], refused: Iterable[Refusal]) -> list[str]:
    """Put each refusal on its line; give back those that belong to none."""
    rest = []
    for refusal in refused:
        parts = refusal.pointer.split("/")
        place = parts[POINTER_START] if len(parts) > POINTER_START else ""
        if place.isdigit() and int(place) < len(filled):
            filled[int(place)].errors.append(refusal.message)
        else:
            rest.append(refusal.message)
    return rest
