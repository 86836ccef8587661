"""Sections that release and status report share: sources, notice, cautions."""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from checks.labels import describe_order, describe_topic
from checks.queries.plate_explanations import list_screened_rods
from checks.queries.releases import STRENGTH_ROUTES, explain_missing_strength
from checks.queries.remedy_explanations import summarise_remedy
from checks.queries.remedy_values import list_values
from checks.reports.blocks import (
    Block,
    Cell,
    TableColumn,
    caution,
    code,
    counts,
    facts,
    heading,
    lines,
    paragraph,
    strong,
    table,
    verdict,
)
from checks.reports.formatting import format_person, format_utc_time
from checks.reports.photographs import get_work_photographs
from checks.reports.report_content import ReportContent
from core.formatting import EM_DASH, format_count
from core.vocabulary import DispositionKind, ReleaseKind, RemedyKind, Verdict
from jobs.anchor_plan.check_keys import CheckKey

NOT_EVALUATED_CAUTIONS = [
    "Screening arithmetic, not design: the engineer of record, the manufacturer's"
    " drawings and local codes govern."
]


def compose_verdict_counts(content: ReportContent) -> Block:
    """Compose the number of checks that have each verdict."""
    checks = content.result["checks"] if content.result else []
    found = Counter(row["verdict"] for row in checks)
    return counts(verdict(each, f"{found[each]} {each.label}") for each in Verdict)


def compose_sources(content: ReportContent) -> Iterator[Block]:
    """Compose the list of everything the report rests on, with digests."""
    record, evaluation = content.record, content.record["evaluation"]
    yield heading("Basis of this report", 2)
    plan = record["plan"]
    rows: list[tuple[str, Cell]] = [
        ("Plan", lines(f"revision {plan['revision']}", code(plan["digest"])))
    ]
    if evaluation:
        rows += [
            ("Evaluated with", evaluation["made_with"]),
            ("Evaluated", lines("plan and readings", code(evaluation["input_digest"]))),
        ]
    basis = content.result["tolerances"]["basis"] if content.result else EM_DASH
    readings = format_count(len(record["readings"]), "reading")
    rows += [
        ("Tolerances", basis),
        ("Readings", f"{readings}, listed at the end"),
        ("Findings", format_count(len(record["findings"]), "finding")),
    ]
    rows += [
        ("Signed earlier", lines(ReleaseKind(row["kind"]).label, code(row["digest"])))
        for row in record["previous"]
    ]
    yield facts(rows)


def compose_notice(content: ReportContent, *, new_page: bool = True) -> Iterator[Block]:
    """Compose the notice to the erector: strength, and every change to a rod."""
    notice = content.record["notice"]
    yield heading("Notice to the erector", new_page=new_page)
    yield paragraph(notice["statement"])
    yield facts([("Building", content.record["building"]["name"])])
    yield heading("Strength of the concrete", 2)
    yield from _compose_strength(content, notice["strength"] or {})
    yield heading("Anchor rods and base plates repaired, replaced or modified", 2)
    # The notice holds the name of the remedy alone; its values are in the decision.
    remedies = {
        (row["finding"], decision["made_at"]): decision["remedy"]
        for row in content.record["findings"]
        for decision in row["decisions"]
    }
    rows = [
        _build_order_row(content, row, remedies.get((row["finding"], row["made_at"])))
        for row in notice["rods"]
    ]
    if not rows:
        yield paragraph("None on record.")
        return
    columns = [
        TableColumn(title="Where"),
        TableColumn(title="Remedy", share=1.0),
        TableColumn(title="Order", share=1.0),
        TableColumn(title="Ordered by"),
        TableColumn(title="Carried out"),
    ]
    yield table(columns, rows)


def _build_order_row(
    content: ReportContent, row: Mapping[str, Any], remedy: Mapping[str, Any] | None
) -> list[Cell]:
    accepted = row["remedy"] == RemedyKind.ACCEPT
    return [
        strong(describe_topic(row["finding"])),
        lines(
            strong(describe_order(row)),
            DispositionKind(row["disposition"]).label,
            format_remedy_values(content, remedy) if remedy else "",
        ),
        row["order"] or EM_DASH,
        lines(format_person(row["engineer"]), format_utc_time(row["made_at"])),
        EM_DASH if accepted else describe_work(row["carried_out"]),
    ]


def _compose_strength(
    content: ReportContent, strength: Mapping[str, Any]
) -> Iterator[Block]:
    if strength.get("strength") is None:
        yield paragraph(explain_missing_strength(content.record))
        return
    write = content.formatter.format_strength
    samples = (CheckKey(key).subject for key in strength.get("samples", ()))
    yield facts(
        [
            ("Verdict", verdict(strength["verdict"])),
            ("Strength", write(strength["strength"])),
            ("Needed", write(strength["required"])),
            ("By", STRENGTH_ROUTES.get(strength.get("route") or "", EM_DASH)),
            ("Samples", ", ".join(samples)),
        ]
    )


def format_remedy_values(content: ReportContent, remedy: Any) -> str:
    """Write a remedy's values in a line; of a replaced rod, the outcome of its screen.

    An order to accept has no values.
    """
    # The screen of a replaced rod and the holes of a plate are too many for a line.
    is_long = remedy["remedy"] == RemedyKind.NEW_PLATE or list_screened_rods(remedy)
    values = summarise_remedy(remedy) if is_long else list_values(remedy)
    return "; ".join(
        f"{value.label} {value.write(content.formatter)}" for value in values
    )


def describe_work(work: Mapping[str, Any] | None) -> Cell:
    """Describe the report of work, with who reported it and when."""
    if not work:
        return "not yet"
    photographs = len(get_work_photographs(work))
    return lines(
        format_person(work["by"]),
        format_utc_time(work["at"]),
        work["note"],
        format_count(photographs, "photograph") if photographs else "",
    )


def compose_cautions(content: ReportContent) -> Block:
    """Compose the standing cautions of the building, whatever its verdicts."""
    standing = content.result.get("cautions") if content.result else None
    first, *rest = standing or NOT_EVALUATED_CAUTIONS
    return caution(first, rest)
