"""A signed release on paper: from its frozen record, and the files that names."""

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from django.urls import reverse

from checks.models import Release
from checks.reports import account as told
from checks.reports import drawn, photographed
from checks.reports.account import Account
from checks.reports.blocks import Block, facts, seal, text
from checks.reports.hand import moment, who
from checks.reports.known import known
from checks.reports.typeset import SIZES, Attachment, Report, typeset
from jobs.exchange.canonical import canonical_json, digest

RECORD = "record.json"


def release_pdf(record: Mapping[str, Any], site: str = "") -> bytes:
    """Print a release.

    Parameters
    ----------
    record : as it was frozen; its digest is taken anew.
    site : where this program answers, `https://…`, for the address to verify at.
    """
    return typeset(release_report(record, site))


def release_report(record: Mapping[str, Any], site: str = "") -> Report:
    """Compose a release; see `release_pdf`."""
    account = told.read(record)
    seal_of = digest(record)
    address = verify_address(seal_of, site)
    return Report(
        title=Release.Kind(record["kind"]).label.capitalize(),
        subtitle=record["building"]["name"],
        place=account.place,
        blocks=list(_blocks(account, seal_of, address)),
        foot=f"SHA-256 {seal_of}",
        keywords=(f"sha256:{seal_of}", address),
        made_at=datetime.fromisoformat(record["signed_at"]),
        size=SIZES[account.hand.units],
        attachments=(
            Attachment(
                name=RECORD,
                described="The signed record; the SHA-256 of this file is the digest.",
                content=canonical_json(record),
            ),
        ),
    )


def verify_address(digest_: str, site: str = "") -> str:
    """Say where a digest is verified; without a site, only the page's path."""
    return f"{site.rstrip('/')}{reverse('checks:verify_digest', args=[digest_])}"


def _signed_with(record: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if known := record.get("signed_with"):
        yield "Signed with", f"the {known}"


def _blocks(account: Account, seal_of: str, address: str) -> Iterator[Block]:
    record = account.record
    yield facts(
        [
            ("Signed by", who(record["signed_by"])),
            ("Signed", moment(record["signed_at"])),
            *_signed_with(record),
            ("Customer", record["job"]["customer"]),
        ]
    )
    if record["note"]:
        yield text(record["note"])
    yield seal("SHA-256 of the record", seal_of, address)
    yield told.counted(account)
    yield told.cautions(account)
    yield from told.based_on(account)
    yield text(
        f"The record itself is attached to this file as {RECORD}: its SHA-256 is the"
        " digest above, so that anybody can take it anew.",
        quiet=True,
    )
    yield from told.notice(account)
    yield from told.findings(account, new_page=False)
    yield from drawn.plan_as_built(account)
    yield from told.positions(account)
    yield from drawn.levels(account)
    yield from drawn.patterns(account)
    yield from told.checks(account)
    yield from told.readings(account)
    yield from known(account.record)
    yield from photographed.listed(account.record)
