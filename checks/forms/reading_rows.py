"""The rows of one section of the walk: what is typed, and the entries built from it."""

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any
from uuid import uuid4

from checks.queries.walk import Section, SheetRow
from core.vocabulary import StageKind
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check
from jobs.exchange.issues import DocumentIssue
from jobs.exchange.result.next_readings import SecondReadingResult

NUMBER_WITHOUT_UNIT = re.compile(r"[-+]?[\d ./]*\d")  # 4 1/2 included
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
NAMED_KINDS = {"levels": CheckKind.BENCHMARK, "strength": CheckKind.STRENGTH}
"""Sections where a crew adds checks by name, and the kind of those checks."""
TYPED_FIELDS = ("client_id", "name", "typed", "replaces", "note", "corner")


@dataclass(slots=True)
class ReadingRow:
    """One row of the form: a check and what was typed for it.

    Attributes
    ----------
    walk_row : SheetRow or None
        The check with its readings; None where the check is named in the row itself.
    number : int
        Of the row on the page; part of the names of its fields.
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
    def check(self) -> Check | None:
        """The planned check; None where the check is named in the row itself."""
        return self.walk_row.check if self.walk_row else None

    @property
    def check_key(self) -> str:
        """The key of the check; empty where it is not named yet."""
        if self.walk_row is not None:
            return self.walk_row.check.key
        return f"{self.kind}:{self.name}" if self.name else ""

    @property
    def is_measured(self) -> bool:
        """True when the check has a current reading."""
        return self.walk_row is not None and self.walk_row.reading_count > 0

    @property
    def corner_choices(self) -> tuple[str, ...]:
        """The corners where the tape's zero may be kept; of a line only."""
        if self.walk_row is None or self.kind is not CheckKind.LINE:
            return ()
        return tuple(self.walk_row.check.corners)

    @property
    def limit_attributes(self) -> dict[str, str]:
        """Data attributes with the limits by which a phone judges without a network."""
        limits = self.walk_row.offline_limits if self.walk_row else None
        if self.walk_row is None or limits is None:
            return {}
        attributes = {
            "nominal": repr(limits.nominal),
            "lower": repr(limits.lower),
            "upper": repr(limits.upper),
        }
        if limits.wall_length is not None:
            attributes["whole"] = repr(limits.wall_length)
            attributes["first"] = self.walk_row.check.corners[0]
        return attributes

    @property
    def has_deviation(self) -> bool:
        """True when a deviation is shown; a strength is compared by ratio instead."""
        return self._is_evaluated and self.kind is not CheckKind.STRENGTH

    @property
    def nominal(self) -> float | None:
        """The plan's value, shown once a reading is in; that of a plumb is zero."""
        if self.walk_row is None or not self._is_evaluated:
            return None
        return None if self.kind is CheckKind.PLUMB else self.walk_row.check.nominal

    @property
    def second_reading(self) -> SecondReadingResult | None:
        """The second reading that is worth taking; None where there is none."""
        result = self.walk_row.result if self.walk_row and self.is_measured else None
        return result.get("second_reading") if result else None

    @property
    def remeasure_reason(self) -> str:
        """Why the check must be measured again; empty where it need not."""
        return self.walk_row.reason if self.walk_row and self.is_measured else ""

    @property
    def outdated_by(self) -> str:
        """The work that changed the concrete since the reading; empty for none."""
        if self.walk_row is None or not self.walk_row.outdated_id:
            return ""
        is_foundation = self.walk_row.check.stage == StageKind.FOUNDATION
        return "pour or repair" if is_foundation else "repair"

    @property
    def _is_evaluated(self) -> bool:
        result = self.walk_row.result if self.walk_row else None
        if not self.is_measured or not result:
            return False
        return result["deviation"] is not None


def build_rows(section: Section) -> list[ReadingRow]:
    """Build the rows of a section, with nothing typed in them."""
    rows = [
        ReadingRow(
            number=number,
            kind=walk_row.check.kind,
            walk_row=walk_row,
            replaces=walk_row.outdated_id,
        )
        for number, walk_row in enumerate(section.rows)
    ]
    kind = NAMED_KINDS.get(section.key)
    if kind is not None:
        start = len(rows)
        rows += [ReadingRow(number=start + i, kind=kind) for i in range(SPARE_ROWS)]
    return rows


def fill_rows(section: Section, data: Mapping[str, str]) -> list[ReadingRow]:
    """Build the rows of a section with what was typed in them."""
    rows = build_rows(section)
    for row in rows:
        for name in TYPED_FIELDS:
            value = data.get(f"{name}-{row.number}", "").strip()
            # "replaces" may be cleared: then the new reading is a repeat.
            if value or name == "replaces":
                setattr(row, name, value)
    return rows


def build_entries(
    rows: Iterable[ReadingRow], data: Mapping[str, str], shared: Mapping[str, Any]
) -> tuple[list[ReadingRow], list[dict[str, Any]]]:
    """Build the entries of the rows that are filled in.

    Parameters
    ----------
    rows : iterable of ReadingRow
        Of the section, as typed.
    data : mapping
        The fields of the whole form, for the units, the set-up and the height.
    shared : mapping
        Members that every entry of the section carries.

    Returns
    -------
    The filled rows and their entries, in the same order.
    """
    filled = [row for row in rows if row.typed]
    return filled, [_build_entry(row, data, shared) for row in filled]


def _build_entry(
    row: ReadingRow, data: Mapping[str, str], shared: Mapping[str, Any]
) -> dict[str, Any]:
    unit = "strength_unit" if row.kind is CheckKind.STRENGTH else "unit"
    entry = {
        "id": row.client_id,
        "check": row.check_key,
        "value": append_unit(row.typed, data.get(unit, "")),
        **shared,
    }
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


def append_unit(text: str, unit: str) -> str:
    """Append the unit chosen beside the field to a bare number.

    Other text is returned without the white space around it.
    """
    text = text.strip()
    is_known = unit in (*LENGTH_UNITS, *STRENGTH_UNITS)
    is_bare = is_known and NUMBER_WITHOUT_UNIT.fullmatch(text)
    return f"{text} {unit}" if is_bare else text


def find_entry_index(pointer: str) -> int | None:
    """Return the index of the entry that a pointer is in: 3 of /readings/3/value."""
    steps = pointer.split("/")
    return int(steps[2]) if len(steps) > 2 and steps[2].isdigit() else None


def attach_errors(
    filled: list[ReadingRow], issues: Iterable[DocumentIssue]
) -> list[str]:
    """Attach each issue to its row; return the messages that belong to no row."""
    rest = []
    for issue in issues:
        index = find_entry_index(issue.pointer)
        if index is not None and index < len(filled):
            filled[index].errors.append(issue.message)
        else:
            rest.append(issue.message)
    return rest
