"""A building as it stands on paper: the status report."""

from collections.abc import Iterator
from datetime import datetime

from checks.labels import describe_requirement
from checks.reports import figures, photographs
from checks.reports import record_sections as told
from checks.reports.blocks import (
    Block,
    Cell,
    caution,
    facts,
    heading,
    lines,
    paragraph,
    table,
)
from checks.reports.blocks import columns as over
from checks.reports.concrete_entries import compose_concrete_entries
from checks.reports.formatting import format_utc_time
from checks.reports.record_sections import ReportContent
from checks.reports.typst_pdf import PAPER_SIZES, Report, render_pdf
from checks.services.hold_points import (
    ReleaseGate,
    get_building_status,
    list_release_gates,
)
from checks.services.releases import build_release_body
from jobs.exchange.canonical_json import sha256_of
from jobs.models import Building


def render_status_pdf(building: Building, at: datetime) -> bytes:
    """Print how a building stands now; `at` is the time written on it."""
    return render_pdf(compose_status_report(building, at))


def compose_status_report(building: Building, at: datetime) -> Report:
    """Compose a status report; see `building_pdf`."""
    account = told.read_record(build_release_body(get_building_status(building)))
    stands = sha256_of(account.record)
    return Report(
        title="Status report",
        subtitle=account.record["building"]["name"],
        job_line=account.job_line,
        blocks=list(_compose_blocks(building, account, at)),
        footer=f"SHA-256 of what it shows {stands}",
        keywords=(f"sha256:{stands}",),
        made_at=at,
        size=PAPER_SIZES[account.formatter.style],
    )


def _compose_blocks(
    building: Building, account: ReportContent, at: datetime
) -> Iterator[Block]:
    settled = f"{building.settled_checks} of {building.required_checks}"
    ships = building.job.ship_date
    yield facts(
        [
            ("As it stood", format_utc_time(at)),
            ("Checks settled", settled),
            ("Ships", f"{ships.day} {ships:%b %Y}" if ships else "no date set"),
        ]
    )
    yield caution("Not a release: nothing here lets steel leave or columns be set.")
    yield told.compose_verdict_counts(account)
    if building.evaluation_due_since:
        yield paragraph("Something came in that is not evaluated yet.")
    yield heading("Releases", 2)
    yield table(
        over("Gate", "Stands", wide="Stands"),
        [[gate.label, _describe_gate(gate)] for gate in list_release_gates(building)],
    )
    yield told.compose_cautions(account)
    yield from told.compose_sources(account)
    yield from figures.compose_plan(account)
    yield from told.compose_positions(account)
    yield from told.compose_findings(account)
    yield from told.compose_notice(account, new_page=False)
    yield from figures.compose_levels(account)
    yield from figures.compose_patterns(account)
    yield from told.compose_checks(account)
    yield from told.compose_readings(account)
    yield from compose_concrete_entries(account.record)
    yield from photographs.compose_photograph_list(account.record)


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
