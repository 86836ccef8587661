"""Sections of the measurements: positions, checks, and readings as typed."""

from collections.abc import Container, Iterator, Mapping
from typing import Any

from checks.labels import (
    describe_check_key,
    describe_circumstances,
    get_nearer_bound,
)
from checks.queries.position_tables import (
    PadRow,
    PositionRow,
    build_pad_rows,
    build_position_rows,
)
from checks.queries.walk import SheetRow, build_result_walk
from checks.reports.blocks import (
    Block,
    Cell,
    columns,
    heading,
    paragraph,
    strong,
    table,
    verdict,
)
from checks.reports.formatting import format_utc_time
from checks.reports.report_content import ReportContent
from core.formatting import EM_DASH, QuantityFormatter, format_count
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import LEVEL_KINDS, CheckKind
from jobs.exchange.result.document import CheckResult

FIT_LABELS = {None: EM_DASH, True: "fits", False: "does not fit"}
SAME_FOR_ALL = "same for all"  # nominal of a level: the pads only have to be alike


def compose_positions(content: ReportContent) -> Iterator[Block]:
    """Compose a table with every position in a row, and its pad."""
    pads = {row.mark: row for row in build_pad_rows(content.plan, content.results)}
    rows = [
        _build_position_row(content.formatter, row, pads.get(row.mark))
        for row in build_position_rows(content.plan, content.results)
    ]
    yield heading("Positions", 2)
    shifts = ("Along", "In", "Worst rod")
    over = ("Mark", "Wall", "Rods and line", *shifts, "Plate", "Height", "Level")
    yield table(columns(*over, "Shims", numeric=(*shifts, "Height")), rows, small=True)
    yield paragraph(
        "Along and in: shift of the group of rods. Heights are from the highest pad;"
        " shims are listed thickest first.",
        muted=True,
    )


def _build_position_row(
    formatter: QuantityFormatter, row: PositionRow, pad: PadRow | None
) -> list[Cell]:
    shims = " + ".join(pad.stack) if pad else ""
    return [
        strong(row.mark),
        row.wall_name,
        verdict(row.verdict),
        formatter.format_deviation(row.shift_along),
        formatter.format_deviation(row.shift_in),
        formatter.format_fine(row.worst_miss),
        FIT_LABELS[row.fits],
        formatter.format_fine(row.height),
        verdict(row.level),
        "engineer" if pad and pad.refer else shims or EM_DASH,
    ]


def compose_checks(content: ReportContent) -> Iterator[Block]:
    """Compose a table of the checks with their verdicts, in the order of the walk."""
    rows: list[list[Cell] | str] = []
    for section in build_result_walk(content.plan, content.result):
        # Checks that nobody has to measure are listed once they were measured.
        shown = [
            row
            for row in section.rows
            if row.check.required or row.verdict != Verdict.UNMEASURED
        ]
        if shown:
            rows.append(section.title)
            rows += [_build_check_row(content.formatter, row) for row in shown]
    yield heading("Checks", new_page=True)
    numeric = ("Plan", "As built", "Deviation", "Limit", "Readings")
    titles = ("Check", *numeric, "Verdict")
    yield table(columns(*titles, numeric=numeric, wide="Check"), rows, small=True)


def _build_check_row(formatter: QuantityFormatter, row: SheetRow) -> list[Cell]:
    result, kind = row.result, row.check.kind
    observed = result["observed"] if result else None
    deviation = result["deviation"] if result else None
    if kind is CheckKind.STRENGTH:
        amounts = [
            formatter.format_strength(row.check.nominal),
            formatter.format_strength(observed),
            formatter.format_strength(deviation, signed=True),
            EM_DASH,
        ]
    else:
        level = kind is CheckKind.LEVEL
        write = formatter.format_fine if level else formatter.format_length
        nominal = formatter.format_length(row.check.nominal)
        amounts = [
            SAME_FOR_ALL if kind in LEVEL_KINDS else nominal,
            write(observed),
            formatter.format_deviation(
                deviation, get_nearer_bound(result) if result else None
            ),
            _format_limit(formatter, result) if result else EM_DASH,
        ]
    readings = str(result.get("readings", 0)) if result else "0"
    return [row.label, *amounts, readings, _verdict_cell(row)]


def _verdict_cell(row: SheetRow) -> Cell:
    word = row.verdict
    close = row.result is not None and row.result.get("close_to_limit")
    if close and word in (Verdict.WITHIN, Verdict.OUTSIDE):
        return verdict(word, f"{word.label}, close")
    return verdict(word)


def _format_limit(formatter: QuantityFormatter, check: CheckResult) -> str:
    """Write the limit of a check: one amount, or the range from lower to upper."""
    lower, upper, limit = check.get("lower"), check.get("upper"), check["limit"]
    if limit is not None:
        return formatter.format_fine(limit)
    if lower is None and upper is None:
        return EM_DASH
    return f"{formatter.format_deviation(lower)} to {formatter.format_deviation(upper)}"


def compose_readings(content: ReportContent) -> Iterator[Block]:
    """Compose a table of all readings as typed, replaced ones too."""
    readings = content.record["readings"]
    replaced = {row["supersedes"] for row in readings}
    rows = [
        [
            describe_check_key(row["check"]),
            row["entered"],
            format_utc_time(row["taken_at"]).removesuffix(" UTC"),
            row["crew"] or EM_DASH,
            row["recorded_by"]["name"],
            _describe_reading(row, replaced),
        ]
        for row in readings
    ]
    yield heading("Readings", new_page=True)
    number = format_count(len(rows), "reading")
    yield paragraph(f"{number} as typed, in the order they were recorded.", muted=True)
    titles = ("Check", "Reading", "Taken (UTC)", "Crew", "Recorded by", "With")
    if rows:
        yield table(
            columns(*titles, numeric=("Reading",), wide="With"), rows, small=True
        )


def _describe_reading(row: Mapping[str, Any], replaced: Container[str]) -> str:
    parts = [describe_circumstances(row["entry"]), row["entry"].get("note", "")]
    return "; ".join(
        part for part in (*parts, *list_corrections(row, replaced)) if part
    )


def list_corrections(row: Mapping[str, Any], replaced: Container[str]) -> list[str]:
    """List how an entry of a record replaces another, or was replaced itself."""
    corrections = []
    if row["supersedes"]:
        corrections.append("replaces an earlier one")
    if row["id"] in replaced:
        corrections.append("replaced by a later one")
    if row.get("withdrawn"):
        corrections.append(f"withdrawn: {row['withdrawn']}")
    return corrections
