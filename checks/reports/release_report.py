"""Signed release as PDF, from its frozen record and the files named there."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.urls import reverse

from checks.reports.blocks import Block, digest_box, facts, paragraph
from checks.reports.concrete_entries import compose_concrete_entries
from checks.reports.figures import compose_levels, compose_patterns, compose_plan
from checks.reports.finding_sections import compose_findings
from checks.reports.formatting import format_person, format_utc_time
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
from checks.reports.typst_pdf import PAPER_SIZES, Attachment, Report, render_pdf
from core.vocabulary import ReleaseKind
from jobs.exchange.canonical_json import canonical_json, sha256_of

RECORD_NAME = "record.json"


def render_release_pdf(record: Mapping[str, Any], site: str = "") -> bytes:
    """Render a release.

    Parameters
    ----------
    record : mapping
        The frozen record; its digest is computed again.
    site : str
        Address of this program, `https://…`, for the address to verify at.
    """
    return render_pdf(compose_release(record, site))


def compose_release(record: Mapping[str, Any], site: str = "") -> Report:
    """Compose a release; see `render_release_pdf`."""
    # From the record alone: what the database holds now must not show on the PDF.
    content = read_record(record)
    digest = sha256_of(record)
    address = build_verify_url(digest, site)
    return Report(
        title=ReleaseKind(record["kind"]).label,
        subtitle=record["building"]["name"],
        job_line=content.job_line,
        blocks=list(_compose_blocks(content, digest, address)),
        footer=f"SHA-256 {digest}",
        keywords=(f"sha256:{digest}", address),
        made_at=datetime.fromisoformat(record["signed_at"]),
        size=PAPER_SIZES[content.formatter.style],
        attachments=(
            Attachment(
                name=RECORD_NAME,
                description="The signed record; its SHA-256 is the digest.",
                content=canonical_json(record),
            ),
        ),
    )


def build_verify_url(digest: str, site: str = "") -> str:
    """Return the address where a digest is verified; without a site, its path."""
    return f"{site.rstrip('/')}{reverse('checks:verify_digest', args=[digest])}"


def _list_signature(record: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if method := record.get("signed_with"):
        yield "Signed with", f"the {method}"


def _compose_blocks(
    content: ReportContent, digest: str, address: str
) -> Iterator[Block]:
    record = content.record
    yield facts(
        [
            ("Signed by", format_person(record["signed_by"])),
            ("Signed", format_utc_time(record["signed_at"])),
            *_list_signature(record),
            ("Customer", record["job"]["customer"]),
        ]
    )
    if record["note"]:
        yield paragraph(record["note"])
    yield digest_box("SHA-256 of the record", digest, address)
    yield compose_verdict_counts(content)
    yield compose_cautions(content)
    yield from compose_sources(content)
    yield paragraph(
        f"The record is attached to this file as {RECORD_NAME}. Its SHA-256 is the"
        " digest above, so that anyone can compute it again.",
        muted=True,
    )
    yield from compose_notice(content)
    yield from compose_findings(content, new_page=False)
    yield from compose_plan(content)
    yield from compose_positions(content)
    yield from compose_levels(content)
    yield from compose_patterns(content)
    yield from compose_checks(content)
    yield from compose_readings(content)
    yield from compose_concrete_entries(record)
    yield from compose_photograph_list(record)
