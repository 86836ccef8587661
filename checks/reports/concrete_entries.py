"""What became known of the concrete, on paper: every entry as it was typed."""

from collections.abc import Iterator, Mapping
from typing import Any

from checks.queries.concrete_history import describe_entry, get_kind_label
from checks.reports.blocks import Block, columns, heading, table
from checks.reports.formatting import format_utc_time
from core.formatting import EM_DASH


def compose_concrete_entries(record: Mapping[str, Any]) -> Iterator[Block]:
    """List what a record holds; one of before there were any entries has none."""
    entries = record.get("concrete", ())
    if not entries:
        return
    replaced = {row["supersedes"] for row in entries}
    titles = ("Concrete", "As typed", "Of", "By", "Recorded by", "With")
    rows = [
        [
            get_kind_label(row["kind"]),
            describe_entry(row["kind"], row["entry"]),
            _format_entry_time(row["entry"]),
            row["entry"].get("by") or EM_DASH,
            row["recorded_by"]["name"],
            _describe_entry(row, row["id"] in replaced),
        ]
        for row in entries
    ]
    yield heading("Concrete")
    yield table(columns(*titles, wide="With"), rows, small=True)


def _format_entry_time(entry: Mapping[str, Any]) -> str:
    """The time of a temperature, the day of the rest."""
    if "at" in entry:
        return format_utc_time(entry["at"].upper())
    return str(entry.get("placed_on") or entry["on"])


def _describe_entry(row: Mapping[str, Any], replaced: bool) -> str:
    told = [row["entry"].get("note", "")]
    if row["supersedes"]:
        told.append("replaces an earlier one")
    if replaced:
        told.append("replaced by a later one")
    return "; ".join(part for part in told if part)
