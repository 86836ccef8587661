"""An exchange document's plan as sheets, which read back as the same plan."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from jobs.exchange.canonical import number_text
from jobs.exchange.tables import layout
from jobs.exchange.tables.columns import Kind, headings
from jobs.exchange.tables.sheets import Table

Written = str | int | float | None


def plan_tables(document: Mapping[str, Any]) -> list[Table]:
    """Write the plan of an exchange document as sheets.

    What was typed is written as it was typed: texts with their units, numbers in the
    document's unit. A sheet is there where the document has its member.

    Parameters
    ----------
    document : one that was accepted; its readings are left out.
    """
    tables = [_facts(document), _table(layout.OUTLINE, document["outline"])]
    concrete = document.get("concrete", {})
    maturity = concrete.get("maturity", {})
    limits = document.get("tolerances", {}).get("overrides", {})
    lists: list[tuple[Kind, Any]] = [
        (layout.DIAGONALS, document.get("diagonals")),
        (layout.DETAILS, list(_details(document)) or None),
        (layout.RODS, list(_rods(document)) or None),
        (layout.POSITIONS, document.get("positions")),
        (layout.SHIMS, document.get("shim_thicknesses")),
        (layout.LIMITS, [{"limit": k, "value": v} for k, v in limits.items()] or None),
        (layout.TESTS, concrete.get("standard_cured")),
        (layout.CYLINDERS, maturity.get("curve")),
        (layout.TEMPERATURES, maturity.get("temperatures")),
        (layout.INSTRUMENTS, list(_named(document, "instruments")) or None),
    ]
    tables += [_table(kind, rows) for kind, rows in lists if rows is not None]
    return tables


def _facts(document: Mapping[str, Any]) -> Table:
    rows: list[Sequence[Written]] = []
    for column in layout.FACTS:
        value: Any = document
        for step in column.member[1:].split("/"):
            value = value.get(step) if isinstance(value, dict) else None
        if value is not None:
            rows.append((column.heading, written(value)))
    return Table(layout.BUILDING.name, headings(layout.BUILDING.columns), rows)


def _table(kind: Kind, rows: Sequence[Any]) -> Table:
    """Write rows under those headings that one of them has something for."""
    members = [
        column
        for column in kind.columns
        if column.needed or any(_has(row, column.member) for row in rows)
    ]
    return Table(
        kind.name,
        headings(members),
        [[_of(row, column.member) for column in members] for row in rows],
    )


def _has(row: Any, member: str) -> bool:
    return isinstance(row, dict) and member in row


def _of(row: Any, member: str) -> Written:
    if isinstance(row, dict):
        return written(row.get(member))
    if isinstance(row, list):  # a diagonal: its two ends
        return written(row[int(member)])
    return written(row)


def written(value: Any) -> Written:
    """Write a value so that its cell reads back as the same."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        whole = value.is_integer() and abs(value) < 1e15
        return int(value) if whole else float(number_text(value))
    return value  # type: ignore[no-any-return]  # text, a whole number or nothing


def _details(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for name, detail in document.get("details", {}).items():
        plate = detail.get("plate", {})
        yield {"detail": name, "reference": detail["reference"], **plate}


def _rods(document: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for name, detail in document.get("details", {}).items():
        for number, rod in enumerate(detail["rods"], start=1):
            yield {"detail": name, "rod": number, **rod}


def _named(document: Mapping[str, Any], member: str) -> Iterator[dict[str, Any]]:
    for name, entry in document.get(member, {}).items():
        yield {"instrument": name, **entry}
