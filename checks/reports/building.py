"""A building as it stands on paper: the status report."""

from collections.abc import Iterator
from datetime import datetime

from checks.reports import account as told
from checks.reports import drawn, photographed
from checks.reports.account import Account
from checks.reports.blocks import (
    Block,
    Cell,
    caution,
    facts,
    heading,
    lines,
    table,
    text,
)
from checks.reports.blocks import columns as over
from checks.reports.hand import moment
from checks.reports.known import known
from checks.reports.typeset import SIZES, Report, typeset
from checks.services.hold_points import Gate, gates, standing_of
from checks.services.releases import account_of
from jobs.exchange.canonical import digest
from jobs.models import Building


def building_pdf(building: Building, at: datetime) -> bytes:
    """Print how a building stands now; `at` is the time written on it."""
    return typeset(building_report(building, at))


def building_report(building: Building, at: datetime) -> Report:
    """Compose a status report; see `building_pdf`."""
    account = told.read(account_of(standing_of(building)))
    stands = digest(account.record)
    return Report(
        title="Status report",
        subtitle=account.record["building"]["name"],
        place=account.place,
        blocks=list(_blocks(building, account, at)),
        foot=f"SHA-256 of what it shows {stands}",
        keywords=(f"sha256:{stands}",),
        made_at=at,
        size=SIZES[account.hand.units],
    )


def _blocks(building: Building, account: Account, at: datetime) -> Iterator[Block]:
    settled = f"{building.settled_checks} of {building.required_checks}"
    ships = building.job.ship_date
    yield facts(
        [
            ("As it stood", moment(at)),
            ("Checks settled", settled),
            ("Ships", f"{ships.day} {ships:%b %Y}" if ships else "no date set"),
        ]
    )
    yield caution("Not a release: nothing here lets steel leave or columns be set.")
    yield told.counted(account)
    if building.evaluation_due_since:
        yield text("Something came in that is not evaluated yet.")
    yield heading("Releases", 2)
    yield table(
        over("Gate", "Stands", wide="Stands"),
        [[gate.label.capitalize(), _stands(gate)] for gate in gates(building)],
    )
    yield told.cautions(account)
    yield from told.based_on(account)
    yield from drawn.plan_as_built(account)
    yield from told.positions(account)
    yield from told.findings(account)
    yield from told.notice(account, new_page=False)
    yield from drawn.levels(account)
    yield from drawn.patterns(account)
    yield from told.checks(account)
    yield from told.readings(account)
    yield from known(account.record)
    yield from photographed.listed(account.record)


def _stands(gate: Gate) -> Cell:
    if gate.release:
        signed = moment(gate.release.signed_at)
        return f"signed by {gate.release.signed_by}, {signed}"
    return lines(*(item.what for item in gate.missing)) if gate.missing else "ready"
