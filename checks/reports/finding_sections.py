"""Section of the findings: each with its state, its decisions and its history."""

from collections.abc import Iterator, Mapping
from typing import Any

from checks.labels import describe_order, describe_remedy, describe_topic
from checks.models import Finding, FindingEvent
from checks.reports.blocks import (
    Block,
    Cell,
    code,
    facts,
    heading,
    lines,
    paragraph,
    strong,
)
from checks.reports.formatting import format_person, format_utc_time
from checks.reports.ordered_plates import compose_ordered_plate
from checks.reports.photographs import compose_finding_photographs
from checks.reports.record_sections import describe_work, format_remedy_values
from checks.reports.report_content import ReportContent
from core.formatting import EM_DASH
from core.vocabulary import DispositionKind
from jobs.exchange.result.findings import LikelyCauseResult

EVENT_LABELS: dict[str, str] = {
    FindingEvent.Kind.ASKED_AGAIN: "Measurement requested",
    FindingEvent.Kind.FLAGGED: "Decision to be reviewed",
}


def compose_findings(
    content: ReportContent, *, new_page: bool = True
) -> Iterator[Block]:
    """Compose every finding: what it is about, what was decided, and how it ended."""
    yield heading("Findings and decisions", new_page=new_page)
    causes = {row["finding"]: row["likely_cause"] for row in content.results.findings}
    if not content.record["findings"]:
        yield paragraph("No finding was opened.")
    for row in content.record["findings"]:
        yield heading(describe_topic(row["finding"]), 3)
        yield facts(_list_facts(content, row, causes.get(row["finding"])))
        for decision in row["decisions"]:
            yield from compose_ordered_plate(content, row["finding"], decision)
        yield from compose_finding_photographs(content.record, row)


def _list_facts(
    content: ReportContent, row: Mapping[str, Any], cause: LikelyCauseResult | None
) -> Iterator[tuple[str, Cell]]:
    yield "State", strong(describe_finding_state(row))
    yield "Opened", format_utc_time(row["opened_at"])
    if row["closed_at"]:
        yield "Closed", format_utc_time(row["closed_at"])
    if cause and not row["closed_at"]:
        yield "Likely cause", cause["explanation"]
    # Once a finding is decided, the order counts and the proposals are history.
    if not row["decisions"] and not row["closed_at"]:
        yield from _list_remedy_facts(row)
    for decision in row["decisions"]:
        yield from _list_decision_facts(content, decision)
    for event in row["history"]:
        if label := EVENT_LABELS.get(event["kind"]):
            by = f", {format_person(event['by'])}" if event["by"] else ""
            at = format_utc_time(event["at"])
            yield label, f"{event['note'] or EM_DASH} ({at}{by})"


def describe_finding_state(row: Mapping[str, Any]) -> str:
    """Describe the state of a finding in a record, with the reason it was closed."""
    state = Finding.State(row["state"]).label
    if not row["closing"]:
        return str(state)
    return f"{state}: {Finding.ClosedReason(row['closing']).label}"


def _list_remedy_facts(row: Mapping[str, Any]) -> Iterator[tuple[str, Cell]]:
    for index, remedy in enumerate(row["remedies"]):
        parts = (
            f"{describe_remedy(remedy)}.",
            remedy["reason"],
            remedy.get("why_second") or "",
        )
        yield (
            "Alternative" if index else "Proposed",
            " ".join(part for part in parts if part),
        )
    cautions = [each for remedy in row["remedies"] for each in remedy["cautions"]]
    yield "Cautions", lines(*dict.fromkeys(cautions))


def _list_decision_facts(
    content: ReportContent, decision: Mapping[str, Any]
) -> Iterator[tuple[str, Cell]]:
    remedy = decision["remedy"]
    disposition = DispositionKind(decision["disposition"]).label
    yield (
        "Decided",
        lines(
            strong(f"{describe_order(remedy)}; {disposition}"),
            format_remedy_values(content, remedy),
            remedy.get("heading", ""),
            f"{format_person(decision['engineer'])},"
            f" {format_utc_time(decision['made_at'])}",
            decision["note"],
            code(f"SHA-256 of its basis {decision['digest']}"),
        ),
    )
    if remedy.get("cautions"):
        yield "Cautions", lines(*remedy["cautions"])
    if decision["carried_out"]:
        yield "Carried out", describe_work(decision["carried_out"])
