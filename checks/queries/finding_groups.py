"""Groups of equal findings of one building, which the queue shows as one row."""

import json
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.db.models import QuerySet
from django.utils.timezone import localtime

from checks.labels import describe_remedy, describe_topic, describe_topics
from checks.models import Finding, FindingEvent
from core.formatting import format_date
from core.vocabulary import RemedyKind
from jobs.exchange.result.findings import LikelyCauseResult, RemedyResult
from jobs.models import Building

Kind = FindingEvent.Kind
# Members of a remedy that differ between findings with the same arithmetic.
UNSHARED_MEMBERS = frozenset({"checks", "why_second", "unconfirmed"})


@dataclass(frozen=True, slots=True)
class RemeasuredOnce:
    """A remeasurement that was proposed, done, and did not change the verdict."""

    at: datetime

    @property
    def text(self) -> str:
        """One sentence for the reader, with the date in their time zone."""
        day = format_date(localtime(self.at))
        return f"Measured again on {day} and still outside."


def find_remeasurement(
    finding: Finding, events: Iterable[FindingEvent]
) -> RemeasuredOnce | None:
    """Find the remeasurement that a finding proposes first, where it was done already.

    None where another remedy was proposed since it was requested: then there may be
    another reason to measure again.

    Parameters
    ----------
    finding : Finding
        With its remedies as last computed.
    events : iterable of FindingEvent
        Its history, or at least its requests and changes.
    """
    if (
        len(finding.remedies) < 2
        or finding.remedies[0]["remedy"] != RemedyKind.REMEASURE
        # Measured again, but not independently: it waits as before.
        or finding.remedies[1].get("unconfirmed")
    ):
        return None
    requested, confirmed_at = False, None
    # Prefetched events come in any order.
    for event in sorted(events, key=lambda event: event.pk):
        if event.kind == Kind.ASKED_AGAIN:
            requested, confirmed_at = True, None
        elif event.code == FindingEvent.Code.NEW_PROPOSAL:
            requested, confirmed_at = False, None
        elif event.code == FindingEvent.Code.STILL_OUTSIDE and requested:
            confirmed_at = event.at
    return None if confirmed_at is None else RemeasuredOnce(confirmed_at)


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueRow:
    """A finding as the queue shows it, with its proposal.

    Attributes
    ----------
    alternative : str
        The second remedy with its reason; empty where there is none.
    remeasured : RemeasuredOnce or None
        Set where the proposal to measure again was carried out already.
    """

    finding: Finding
    building: Building
    label: str
    proposal: str
    reason: str
    alternative: str
    remeasured: RemeasuredOnce | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingGroup:
    """One row of the queue: a finding, or several equal ones."""

    members: tuple[QueueRow, ...]
    label: str

    @property
    def first(self) -> QueueRow:
        """The finding whose proposal is shown for all."""
        return self.members[0]

    @property
    def building(self) -> Building:
        """The building of all members."""
        return self.first.building

    @property
    def has_several(self) -> bool:
        """True where the group has more than one finding."""
        return len(self.members) > 1


def group_page(shown: list[Finding], matching: QuerySet[Finding]) -> list[FindingGroup]:
    """Group the findings of a page, each group complete.

    A group is on the page of its first finding, even where its other members would
    be on the next.

    Parameters
    ----------
    shown : list of Finding
        The findings of the page.
    matching : QuerySet of Finding
        All findings that the page is cut from, in their order.
    """
    buildings = {finding.building_id for finding in shown}
    pks = {finding.pk for finding in shown}
    rows = group_findings(list(matching.filter(building__in=buildings)))
    return [row for row in rows if row.first.finding.pk in pks]


def group_findings(findings: list[Finding]) -> list[FindingGroup]:
    """Group equal findings, in the order of their first members.

    Findings are equal where building, state, likely cause and proposal are the same;
    without a cause, where the proposal is the same to the last digit.
    """
    events = _load_events(findings)
    rows: dict[str, list[QueueRow]] = {}
    for finding in findings:
        remeasured = find_remeasurement(finding, events.get(finding.pk, ()))
        members = rows.setdefault(_group_key(finding, remeasured), [])
        members.append(_build_queue_row(finding, remeasured))
    return [
        FindingGroup(
            members=tuple(members),
            label=describe_topics([member.finding.topic for member in members]),
        )
        for members in rows.values()
    ]


def find_group(finding: Finding) -> FindingGroup:
    """Return the group that an open finding belongs to."""
    # Group with the findings that the queue would show together with this one.
    same = Finding.objects.filter(building=finding.building_id).open()
    undecided = same.undecided()
    if undecided.filter(pk=finding.pk).exists():
        same = undecided
    rows = group_findings(
        list(same.select_related("building__job").order_by("opened_at", "pk"))
    )
    for row in rows:
        if any(member.finding.pk == finding.pk for member in row.members):
            return row
    return group_findings([finding])[0]


def _load_events(findings: list[Finding]) -> dict[int, list[FindingEvent]]:
    by_finding: dict[int, list[FindingEvent]] = {}
    pks = [
        finding.pk
        for finding in findings
        if finding.remedies[0]["remedy"] == RemedyKind.REMEASURE
    ]
    events = FindingEvent.objects.filter(
        finding__in=pks, kind__in=(Kind.ASKED_AGAIN, Kind.CHANGED)
    )
    for event in events.order_by("pk"):
        by_finding.setdefault(event.finding_id, []).append(event)
    return by_finding


def select_proposal(
    finding: Finding, remeasured: RemeasuredOnce | None
) -> RemedyResult:
    """Return the proposed remedy: the second one where measuring again was done."""
    remedy: RemedyResult = finding.remedies[0 if remeasured is None else 1]
    return remedy


def _build_queue_row(finding: Finding, remeasured: RemeasuredOnce | None) -> QueueRow:
    first = select_proposal(finding, remeasured)
    second = (
        finding.remedies[1] if remeasured is None and finding.remedies[1:] else None
    )
    return QueueRow(
        finding=finding,
        building=finding.building,
        label=describe_topic(finding.topic),
        proposal=describe_remedy(first),
        reason=first.get("reason", ""),
        alternative=f"{describe_remedy(second)}. {second['reason']}" if second else "",
        remeasured=remeasured,
    )


def _group_key(finding: Finding, remeasured: RemeasuredOnce | None) -> str:
    """Return a text that is equal for all findings of one group."""
    # Nothing is decided about closed findings, so each is a row of its own.
    if finding.state == Finding.State.CLOSED:
        return str(finding.pk)
    remedy = select_proposal(finding, remeasured)
    cause: LikelyCauseResult | None = finding.likely_cause
    common: dict[str, object]
    if cause is None or remeasured is not None:
        common = {
            key: value for key, value in remedy.items() if key not in UNSHARED_MEMBERS
        }
    else:
        common = {
            "remedy": remedy["remedy"],
            "cause": cause["cause"],
            "explanation": cause["explanation"],
        }
    flagged = finding.flagged_at is not None
    status = [finding.building_id, finding.state, flagged, remeasured is not None]
    return json.dumps([*status, common], sort_keys=True)
