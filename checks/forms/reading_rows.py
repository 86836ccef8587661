"""One section of the sheet as it is typed on the page, to entries and back."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from checks.queries.walk import Section, SheetRow
from jobs.anchor_plan.check_keys import CheckKind
from jobs.exchange.input.parser import DocumentIssue

NUMBER_WITHOUT_UNIT = re.compile(
    r"[-+]?[\d ./]*\d"
)  # a number without its unit, 4 1/2 included
SPARE_ROWS = 3
LENGTH_UNITS = ("in", "ft", "mm", "m")
STRENGTH_UNITS = ("psi", "MPa")
REMEASURE_REASONS = (
    "misread",
    "written down wrong",
    "tape not held right",
    "wrong point or rod",
    "moved since",
    "work done since",
)
POINTER_INDEX = 2  # "/readings/3/value": the place stands third


@dataclass(slots=True)
class ReadingRow:
    """One line of the form: a check and what was typed for it.

    Attributes
    ----------
    row : the check with what is known of it; None where it is named on the line.
    number : of the line on the page.
    """

    number: int
    kind: CheckKind
    walk_row: SheetRow | None = None
    client_id: str = field(default_factory=lambda: str(uuid4()))
    name: str = ""
    typed: str = ""
    replaces: str = ""
    note: str = ""
    corner: str = ""
    errors: list[str] = field(default_factory=list)

    @property
    def check_key(self) -> str:
        """The check the line is of; empty where it is not named yet."""
        if self.walk_row is not None:
            return self.walk_row.check.key
        return f"{self.kind}:{self.name}" if self.name else ""


def build_rows(section: Section) -> list[ReadingRow]:
    """Lay out the lines of a section, nothing typed."""
    lines = [
        ReadingRow(
            number=number,
            kind=row.check.kind,
            walk_row=row,
            replaces=row.outdated.client_id if row.outdated else "",
        )
        for number, row in enumerate(section.rows)
    ]
    named = {"levels": CheckKind.BENCHMARK, "strength": CheckKind.STRENGTH}.get(
        section.key
    )
    if named is not None:
        start = len(lines)
        lines += [ReadingRow(number=start + i, kind=named) for i in range(SPARE_ROWS)]
    return lines


def fill_rows(section: Section, data: Mapping[str, str]) -> list[ReadingRow]:
    """Fill the lines of a section with what was typed."""
    lines = build_rows(section)
    for line in lines:
        for name in ("client_id", "name", "typed", "replaces", "note", "corner"):
            given = data.get(f"{name}-{line.number}", "").strip()
            if given or name == "replaces":
                setattr(line, name, given)
    return lines


def build_entries(
    rows: Iterable[ReadingRow], data: Mapping[str, str], shared: Mapping[str, Any]
) -> tuple[list[ReadingRow], list[dict[str, Any]]]:
    """Write the entries of the lines that were filled in, beside those lines."""
    filled = [line for line in rows if line.typed]
    return filled, [_build_entry(line, data, shared) for line in filled]


def _build_entry(
    row: ReadingRow, data: Mapping[str, str], shared: Mapping[str, Any]
) -> dict[str, Any]:
    entry = {
        "id": row.client_id,
        "check": row.check_key,
        "value": _value_with_unit(row, data),
    }
    entry |= shared
    if row.kind is CheckKind.STRENGTH:
        for name in ("instrument", "temperature"):
            entry.pop(name, None)
    if row.replaces:
        entry["supersedes"] = row.replaces
        if row.note:
            entry["note"] = row.note
    if row.corner and row.kind is CheckKind.LINE:
        entry["from"] = row.corner
    if row.kind in (CheckKind.LEVEL, CheckKind.BENCHMARK):
        entry.pop("temperature", None)
        entry["setup"] = data.get("setup", "").strip() or "1"
    if row.kind is CheckKind.PLUMB and data.get("height", "").strip():
        entry["height"] = append_unit(data["height"], data.get("unit", ""))
    return entry


def _value_with_unit(row: ReadingRow, data: Mapping[str, str]) -> str:
    unit = "strength_unit" if row.kind is CheckKind.STRENGTH else "unit"
    return append_unit(row.typed, data.get(unit, ""))


def append_unit(text: str, unit: str) -> str:
    """Give a bare number the unit chosen beside it; leave all else as typed."""
    text = text.strip()
    bare = NUMBER_WITHOUT_UNIT.fullmatch(text) and unit in (
        *LENGTH_UNITS,
        *STRENGTH_UNITS,
    )
    return f"{text} {unit}" if bare else text


def attach_errors(
    filled: list[ReadingRow], refused: Iterable[DocumentIssue]
) -> list[str]:
    """Put each refusal on its line; give back those that belong to none."""
    rest = []
    for refusal in refused:
        parts = refusal.pointer.split("/")
        place = parts[POINTER_INDEX] if len(parts) > POINTER_INDEX else ""
        if place.isdigit() and int(place) < len(filled):
            filled[int(place)].errors.append(refusal.message)
        else:
            rest.append(refusal.message)
    return rest
