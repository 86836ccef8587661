"""What became known of the concrete, on paper: every entry as it was typed."""

from collections.abc import Iterator, Mapping
from typing import Any

from checks.queries.concrete import kind_words, words_of
from checks.reports.blocks import NOTHING, Block, columns, heading, table
from checks.reports.hand import moment


def known(record: Mapping[str, Any]) -> Iterator[Block]:
    """List what a record holds; one of before there were any entries has none."""
    entries = record.get("concrete", ())
    if not entries:
        return
    replaced = {row["supersedes"] for row in entries}
    titles = ("Concrete", "As typed", "Of", "By", "Recorded by", "With")
    rows = [
        [
            kind_words(row["kind"]),
            words_of(row["kind"], row["entry"]),
            _of(row["entry"]),
            row["entry"].get("by") or NOTHING,
            row["recorded_by"]["name"],
            _told(row, row["id"] in replaced),
        ]
        for row in entries
    ]
    yield heading("Concrete")
    yield table(columns(*titles, wide="With"), rows, small=True)


def _of(entry: Mapping[str, Any]) -> str:
    """The time of a temperature, the day of the rest."""
    if "at" in entry:
        return moment(entry["at"].upper())
    return str(entry.get("placed_on") or entry["on"])


def _told(row: Mapping[str, Any], replaced: bool) -> str:
    told = [row["entry"].get("note", "")]
    if row["supersedes"]:
        told.append("replaces an earlier one")
    if replaced:
        told.append("replaced by a later one")
    return "; ".join(part for part in told if part)
