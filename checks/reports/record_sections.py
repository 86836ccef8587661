"""What a frozen record says, as blocks: the body of release and status alike."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.drawings.result_view import ResultView
from checks.labels import (
    describe_check_key,
    describe_circumstances,
    describe_remedy,
    describe_topic,
)
from checks.models import Finding, Release
from checks.queries.position_tables import build_pad_rows, build_position_rows
from checks.queries.releases import STRENGTH_ROUTES, explain_missing_strength
from checks.queries.remedy_explanations import summarise_remedy
from checks.queries.remedy_values import list_values
from checks.queries.walk import SheetRow, build_result_walk
from checks.reports import photographs
from checks.reports.blocks import (
    Block,
    Cell,
    TableColumn,
    caution,
    code,
    columns,
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
from core.formatting import EM_DASH, QuantityFormatter, format_count, get_default_style
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building

VERDICTS = ("within", "outside", "remeasure", "unmeasured")


@dataclass(frozen=True, kw_only=True)
class ReportContent:
    """A record read: its plan, its result, and how it is written."""

    record: Mapping[str, Any]
    plan: Plan
    results: ResultView
    formatter: QuantityFormatter

    @property
    def result(self) -> Mapping[str, Any]:
        """The result it holds; empty where nothing was evaluated."""
        return (self.record["evaluation"] or {}).get("result") or {}

    @property
    def job_line(self) -> str:
        """The job, in a line."""
        job = self.record["job"]
        return ", ".join(
            part for part in (f"{job['number']} {job['name']}", job["site"]) if part
        )


def read_record(record: Mapping[str, Any]) -> ReportContent:
    """Read a record as it was written down, whatever the database says now."""
    plan = parse_building(record["plan"]["document"]).plan
    evaluation = record["evaluation"]
    return ReportContent(
        record=record,
        plan=plan,
        results=ResultView(evaluation["result"] if evaluation else None),
        formatter=QuantityFormatter(get_default_style(plan.length_unit)),
    )


def compose_verdict_counts(content: ReportContent) -> Block:
    """How many checks have each verdict."""
    found = [row["verdict"] for row in content.result.get("checks", ())]
    cells = [verdict(word, f"{found.count(word)} {word}") for word in VERDICTS]
    return counts(cells)


def compose_sources(content: ReportContent) -> Iterator[Block]:
    """Everything it leans on, so that it can be found again."""
    record, evaluation = content.record, content.record["evaluation"]
    yield heading("What this is based on", 2)
    rows: list[tuple[str, Cell]] = [
        (
            "Plan",
            lines(
                f"revision {record['plan']['revision']}",
                code(record["plan"]["digest"]),
            ),
        )
    ]
    if evaluation:
        rows += [
            ("Evaluated with", evaluation["made_with"]),
            ("Evaluated", lines("plan and readings", code(evaluation["input_digest"]))),
        ]
    basis = content.result.get("tolerances", {}).get("basis")
    rows += [
        ("Tolerances", f"{basis or EM_DASH}"),
        (
            "Readings",
            f"{format_count(len(record['readings']), 'reading')}, listed at the end",
        ),
        ("Findings", format_count(len(record["findings"]), "finding")),
    ]
    rows += [
        ("Signed before", lines(Release.Kind(row["kind"]).label, code(row["digest"])))
        for row in record["previous"]
    ]
    yield facts(rows)


def compose_notice(content: ReportContent, *, new_page: bool = True) -> Iterator[Block]:
    """The notice to the erector: strength, and every change to a rod."""
    said = content.record["notice"]
    yield heading("Notice to the erector", new_page=new_page)
    yield paragraph(said["statement"])
    yield facts([("Building", content.record["building"]["name"])])
    yield heading("Strength of the concrete", 2)
    yield from _compose_strength(content, said["strength"] or {})
    yield heading("Anchor rods and base plates repaired, replaced or modified", 2)
    ordered = {
        (row["finding"], made["made_at"]): made["remedy"]
        for row in content.record["findings"]
        for made in row["decisions"]
    }
    rows = [
        [
            strong(describe_topic(row["finding"])),
            lines(
                strong(describe_remedy(row)),
                row["disposition"].replace("_", " "),
                format_remedy_values(
                    content, ordered.get((row["finding"], row["made_at"]), {})
                ),
            ),
            row["order"] or EM_DASH,
            lines(format_person(row["engineer"]), format_utc_time(row["made_at"])),
            EM_DASH
            if row["remedy"] == "accept"
            else _describe_work(row["carried_out"]),
        ]
        for row in said["rods"]
    ]
    if rows:
        yield table(
            [
                TableColumn(title="Where"),
                TableColumn(title="Remedy", share=1.0),
                TableColumn(title="Order", share=1.0),
                TableColumn(title="Ordered by"),
                TableColumn(title="Carried out"),
            ],
            rows,
        )
    else:
        yield paragraph("None is on record.")


def _compose_strength(
    content: ReportContent, strength: Mapping[str, Any]
) -> Iterator[Block]:
    if strength.get("strength") is None:
        yield paragraph(explain_missing_strength(content.record))
        return
    hand = content.formatter
    yield facts(
        [
            ("Verdict", verdict(strength["verdict"])),
            ("Strength", hand.format_strength(strength["strength"])),
            ("Needed", hand.format_strength(strength["required"])),
            ("By", STRENGTH_ROUTES.get(strength.get("route") or "", EM_DASH)),
            (
                "Samples",
                ", ".join(_sample_name(key) for key in strength.get("samples", ())),
            ),
        ]
    )


def _sample_name(key: str) -> str:
    return key.partition(":")[2] or key


def format_remedy_values(content: ReportContent, remedy: Mapping[str, Any]) -> str:
    """A remedy's arithmetic in a line; of a replaced rod, how its screen came out."""
    replaced = remedy.get("remedy") == "re_anchor"
    return "; ".join(
        f"{figure.label} {figure.text or content.formatter.format_fine(figure.mm)}"
        for figure in (summarise_remedy(remedy) if replaced else list_values(remedy))
    )


def _describe_work(done: Mapping[str, Any] | None) -> Cell:
    if not done:
        return "not yet"
    taken = len(photographs.get_work_photographs(done))
    return lines(
        format_person(done["by"]),
        format_utc_time(done["at"]),
        done["note"],
        format_count(taken, "photograph") if taken else "",
    )


def compose_findings(
    content: ReportContent, *, new_page: bool = True
) -> Iterator[Block]:
    """Every finding: what it was, what was decided, and how it ended."""
    yield heading("Findings and decisions", new_page=new_page)
    causes = {
        row["finding"]: row.get("likely_cause")
        for row in content.result.get("findings", ())
    }
    if not content.record["findings"]:
        yield paragraph("None was opened.")
    for row in content.record["findings"]:
        yield heading(describe_topic(row["finding"]), 3)
        yield facts(_list_finding_facts(content, row, causes.get(row["finding"])))
        yield from photographs.compose_finding_photographs(content.record, row)


def _list_finding_facts(
    content: ReportContent, row: Mapping[str, Any], cause: Mapping[str, Any] | None
) -> Iterator[tuple[str, Cell]]:
    state = Finding.State(row["state"]).label
    closing = Finding.ClosedReason(row["closing"]).label if row["closing"] else ""
    yield "State", strong(f"{state}: {closing}" if closing else state)
    yield "Opened", format_utc_time(row["opened_at"])
    if row["closed_at"]:
        yield "Closed", format_utc_time(row["closed_at"])
    if cause and not row["closed_at"]:
        yield "Likely cause", cause["explanation"]
    if not row["decisions"] and not row["closed_at"]:
        for number, remedy in enumerate(row["remedies"]):
            words = f"{describe_remedy(remedy)}. {remedy.get('reason', '')}"
            why = remedy.get("why_second") or ""
            yield ("Alternative" if number else "Proposed", f"{words} {why}".strip())
        warned = [each for remedy in row["remedies"] for each in remedy["cautions"]]
        yield "Cautions", lines(*dict.fromkeys(warned))
    for made in row["decisions"]:
        yield from _list_decision_facts(content, made)
    for event in row["history"]:
        if event["kind"] in ("asked_again", "flagged"):
            told = event["note"] or EM_DASH
            by = f", {format_person(event['by'])}" if event["by"] else ""
            label = "Asked again" if event["kind"] == "asked_again" else "To look again"
            yield label, f"{told} ({format_utc_time(event['at'])}{by})"


def _list_decision_facts(
    content: ReportContent, made: Mapping[str, Any]
) -> Iterator[tuple[str, Cell]]:
    remedy = made["remedy"]
    ordered = f"{describe_remedy(remedy)}; {made['disposition']}"
    yield (
        "Decided",
        lines(
            strong(ordered.replace("_", " ")),
            format_remedy_values(content, remedy),
            remedy.get("heading", ""),
            f"{format_person(made['engineer'])}, {format_utc_time(made['made_at'])}",
            made["note"],
            code(f"SHA-256 of its basis {made['digest']}"),
        ),
    )
    if remedy.get("cautions"):
        yield "Cautions", lines(*remedy["cautions"])
    if made["carried_out"]:
        yield "Carried out", _describe_work(made["carried_out"])


def compose_positions(content: ReportContent) -> Iterator[Block]:
    """Every position in a line, and its pad."""
    hand = content.formatter
    pads = {row.mark: row for row in build_pad_rows(content.plan, content.results)}
    rows = []
    for row in build_position_rows(content.plan, content.results):
        pad = pads.get(row.mark)
        plate = {None: EM_DASH, True: "goes on", False: "does not go on"}[row.fits]
        shim = " + ".join(pad.stack) if pad else ""
        rows.append(
            [
                strong(row.mark),
                row.wall_name,
                verdict(row.verdict),
                hand.format_deviation(row.shift_along),
                hand.format_deviation(row.shift_in),
                hand.format_fine(row.worst_miss),
                plate,
                hand.format_fine(row.height),
                verdict(row.level),
                "refer" if pad and pad.refer else shim or EM_DASH,
            ]
        )
    yield heading("Positions", 2)
    moved = ("Along", "In", "Worst rod")
    over = columns(
        *("Mark", "Wall", "Rods and line", *moved),
        *("Plate", "Height", "Level", "Shims"),
        numeric=(*moved, "Height"),
    )
    yield table(over, rows, small=True)
    yield paragraph(
        "Along and in: how far the group of rods moved. Heights are from the highest"
        " pad; shims thickest first.",
        muted=True,
    )


def compose_checks(content: ReportContent) -> Iterator[Block]:
    """Every check with its verdict, in the order of the walk."""
    rows: list[list[Cell] | str] = []
    for section in build_result_walk(content.plan, content.result):
        shown = [
            row
            for row in section.rows
            if row.check.required or row.verdict != "unmeasured"
        ]
        if shown:
            rows.append(section.title)
            rows += [_build_check_row(content.formatter, row) for row in shown]
    yield heading("Checks", new_page=True)
    figures = ("Plan", "As built", "Off by", "Limit", "Readings")
    titles = ("Check", *figures, "Verdict")
    yield table(columns(*titles, numeric=figures, wide="Check"), rows, small=True)


def _build_check_row(hand: QuantityFormatter, row: SheetRow) -> list[Cell]:
    judged, kind = row.result or {}, row.check.kind
    word = row.verdict
    close = judged.get("close_to_limit") and word in ("within", "outside")
    shown = verdict(word, f"{word}, close" if close else word)
    readings = str(judged.get("readings", 0))
    if kind is CheckKind.STRENGTH:
        off = hand.format_strength(judged.get("deviation"), signed=True)
        plan, built = hand.format_strength(row.check.nominal), judged.get("observed")
        return [
            row.label,
            plan,
            hand.format_strength(built),
            off,
            EM_DASH,
            readings,
            shown,
        ]
    alike = kind in (CheckKind.LEVEL, CheckKind.BENCHMARK)
    fine = hand.format_fine if kind is CheckKind.LEVEL else hand.format_length
    return [
        row.label,
        "alike" if alike else hand.format_length(row.check.nominal),
        fine(judged.get("observed")),
        hand.format_deviation(judged.get("deviation")),
        _format_limit(hand, judged),
        readings,
        shown,
    ]


def _format_limit(formatter: QuantityFormatter, check: Mapping[str, Any]) -> str:
    """Write the limit of a check: one amount, or the range from lower to upper."""
    lower, upper, limit = check.get("lower"), check.get("upper"), check.get("limit")
    if limit is not None:
        return formatter.format_fine(limit)
    if lower is None and upper is None:
        return EM_DASH
    return f"{formatter.format_deviation(lower)} to {formatter.format_deviation(upper)}"


def compose_readings(content: ReportContent) -> Iterator[Block]:
    """Every reading as it was typed, replaced ones too."""
    taken = content.record["readings"]
    replaced = {row["supersedes"] for row in taken}
    rows = [
        [
            describe_check_key(row["check"]),
            row["entered"],
            format_utc_time(row["taken_at"]).removesuffix(" UTC"),
            row["crew"] or EM_DASH,
            row["recorded_by"]["name"],
            _describe_reading(row, replaced),
        ]
        for row in taken
    ]
    yield heading("Readings", new_page=True)
    yield paragraph(
        f"{format_count(len(rows), 'reading')} as typed, in the order they were recorded.",
        muted=True,
    )
    titles = ("Check", "Reading", "Taken (UTC)", "Crew", "Recorded by", "With")
    if rows:
        over = columns(*titles, numeric=("Reading",), wide="With")
        yield table(over, rows, small=True)


def _describe_reading(row: Mapping[str, Any], replaced: Iterable[str | None]) -> str:
    told = [describe_circumstances(row["entry"]), row["entry"].get("note", "")]
    if row["supersedes"]:
        told.append("replaces an earlier one")
    if row["id"] in replaced:
        told.append("replaced by a later one")
    return "; ".join(part for part in told if part)


def compose_cautions(content: ReportContent) -> Block:
    """The standing cautions of the building, whatever its verdicts."""
    first, *rest = content.result.get("cautions") or [
        "Screening arithmetic, not design: the engineer of record, the manufacturer's"
        " drawings and local codes govern."
    ]
    return caution(first, rest)
