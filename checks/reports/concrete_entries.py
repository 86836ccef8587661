"""Section of the concrete data recorded after the plan, each entry as typed."""

from collections.abc import Iterator, Mapping
from typing import Any

from checks.queries.concrete_history import describe_entry, get_kind_label
from checks.reports.blocks import Block, columns, heading, table
from checks.reports.formatting import format_utc_time
from checks.reports.measurement_sections import list_corrections
from core.formatting import EM_DASH


def compose_concrete_entries(record: Mapping[str, Any]) -> Iterator[Block]:
    """Compose a table of a record's concrete data; nothing where it has none."""
    # A record that is older than these entries has no such member.
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
            "; ".join(
                part
                for part in (
                    row["entry"].get("note", ""),
                    *list_corrections(row, replaced),
                )
                if part
            ),
        ]
        for row in entries
    ]
    yield heading("Concrete")
    yield table(columns(*titles, wide="With"), rows, small=True)


def _format_entry_time(entry: Mapping[str, Any]) -> str:
    """Write the time of a temperature, the day of any other entry."""
    if "at" in entry:
        # RFC 3339 allows a lower-case `z`; Python 3.11 does not.
        return format_utc_time(entry["at"].upper())
    return str(entry.get("placed_on") or entry["on"])
