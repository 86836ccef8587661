"""Status report of a building, as PDF."""

from collections.abc import Iterator
from datetime import datetime

from checks.labels import describe_requirement
from checks.reports.blocks import (
    Block,
    Cell,
    caution,
    columns,
    facts,
    heading,
    lines,
    paragraph,
    table,
)
from checks.reports.concrete_entries import compose_concrete_entries
from checks.reports.figures import compose_levels, compose_patterns, compose_plan
from checks.reports.finding_sections import compose_findings
from checks.reports.formatting import format_utc_time
from checks.reports.measurement_sections import (
    compose_checks,
    compose_positions,
    compose_readings,
)
from checks.reports.photographs import compose_photograph_list
from checks.reports.record_sections import (
    compose_cautions,
    compose_notice,
    compose_sources,
    compose_verdict_counts,
)
from checks.reports.report_content import ReportContent, read_record
from checks.reports.typst_pdf import PAPER_SIZES, Report, render_pdf
from checks.services.hold_points import (
    ReleaseGate,
    get_building_status,
    list_release_gates,
)
from checks.services.releases import build_release_body
from core.formatting import format_date
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building


def render_status_pdf(building: Building, at: datetime) -> bytes:
    """Render the present status of a building; `at` is the time printed on it."""
    return render_pdf(compose_status_report(building, at))


def compose_status_report(building: Building, at: datetime) -> Report:
    """Compose a status report; see `render_status_pdf`."""
    # The same form as a release, so that both reports share their sections.
    content = read_record(build_release_body(get_building_status(building)))
    digest = sha256_of(content.record)
    return Report(
        title="Status report",
        subtitle=content.record["building"]["name"],
        job_line=content.job_line,
        blocks=list(_compose_blocks(building, content, at)),
        footer=f"SHA-256 of the data shown {digest}",
        keywords=(f"sha256:{digest}",),
        made_at=at,
        size=PAPER_SIZES[content.formatter.style],
    )


def _compose_blocks(
    building: Building, content: ReportContent, at: datetime
) -> Iterator[Block]:
    ship_date = building.job.ship_date
    yield facts(
        [
            ("As of", format_utc_time(at)),
            (
                "Checks settled",
                f"{building.settled_checks} of {building.required_checks}",
            ),
            ("Ships", format_date(ship_date) if ship_date else "no date set"),
        ]
    )
    yield caution("Not a release: it allows no shipping and no setting of columns.")
    yield compose_verdict_counts(content)
    if building.evaluation_due_since:
        yield paragraph("Some entries are not evaluated yet.")
    yield heading("Releases", 2)
    yield table(
        columns("Release", "Status", wide="Status"),
        [[gate.label, _describe_gate(gate)] for gate in list_release_gates(building)],
    )
    yield compose_cautions(content)
    yield from compose_sources(content)
    yield from compose_plan(content)
    yield from compose_positions(content)
    yield from compose_findings(content)
    yield from compose_notice(content, new_page=False)
    yield from compose_levels(content)
    yield from compose_patterns(content)
    yield from compose_checks(content)
    yield from compose_readings(content)
    yield from compose_concrete_entries(content.record)
    yield from compose_photograph_list(content.record)


def _describe_gate(gate: ReleaseGate) -> Cell:
    if gate.release:
        signed = format_utc_time(gate.release.signed_at)
        return f"signed by {gate.release.signed_by}, {signed}"
    if not gate.missing:
        return "ready"
    return lines(
        *(
            describe_requirement(item.code, item.keys, item.detail)
            for item in gate.missing
        )
    )
