"""A signed release on paper: from its frozen record, and the files that names."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.urls import reverse

from checks.models import Release
from checks.reports import figures, photographs
from checks.reports import record_sections as told
from checks.reports.blocks import Block, digest_box, facts, paragraph
from checks.reports.concrete_entries import compose_concrete_entries
from checks.reports.formatting import format_person, format_utc_time
from checks.reports.record_sections import ReportContent
from checks.reports.typst_pdf import PAPER_SIZES, Attachment, Report, render_pdf
from jobs.exchange.canonical_json import canonical_json, sha256_of

RECORD_NAME = "record.json"


def render_release_pdf(record: Mapping[str, Any], site: str = "") -> bytes:
    """Print a release.

    Parameters
    ----------
    record : as it was frozen; its digest is taken anew.
    site : where this program answers, `https://…`, for the address to verify at.
    """
    return render_pdf(compose_release(record, site))


def compose_release(record: Mapping[str, Any], site: str = "") -> Report:
    """Compose a release; see `release_pdf`."""
    account = told.read_record(record)
    seal_of = sha256_of(record)
    address = build_verify_url(seal_of, site)
    return Report(
        title=Release.Kind(record["kind"]).label.capitalize(),
        subtitle=record["building"]["name"],
        job_line=account.job_line,
        blocks=list(_compose_blocks(account, seal_of, address)),
        footer=f"SHA-256 {seal_of}",
        keywords=(f"sha256:{seal_of}", address),
        made_at=datetime.fromisoformat(record["signed_at"]),
        size=PAPER_SIZES[account.formatter.style],
        attachments=(
            Attachment(
                name=RECORD_NAME,
                description="The signed record; the SHA-256 of this file is the digest.",
                content=canonical_json(record),
            ),
        ),
    )


def build_verify_url(digest_: str, site: str = "") -> str:
    """Say where a digest is verified; without a site, only the page's path."""
    return f"{site.rstrip('/')}{reverse('checks:verify_digest', args=[digest_])}"


def _list_signature(record: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if known := record.get("signed_with"):
        yield "Signed with", f"the {known}"


def _compose_blocks(
    content: ReportContent, record_digest: str, address: str
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
    yield digest_box("SHA-256 of the record", record_digest, address)
    yield told.compose_verdict_counts(content)
    yield told.compose_cautions(content)
    yield from told.compose_sources(content)
    yield paragraph(
        f"The record itself is attached to this file as {RECORD_NAME}: its SHA-256 is the"
        " digest above, so that anybody can take it anew.",
        muted=True,
    )
    yield from told.compose_notice(content)
    yield from told.compose_findings(content, new_page=False)
    yield from figures.compose_plan(content)
    yield from told.compose_positions(content)
    yield from figures.compose_levels(content)
    yield from figures.compose_patterns(content)
    yield from told.compose_checks(content)
    yield from told.compose_readings(content)
    yield from compose_concrete_entries(content.record)
    yield from photographs.compose_photograph_list(content.record)
