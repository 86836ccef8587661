"""Findings of one building that say the same: what the queue shows as one row."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils.timezone import localtime

from checks.labels import describe_remedy, describe_topic, describe_topics
from checks.models import Finding, FindingEvent
from jobs.models import Building

Kind = FindingEvent.Kind
UNSHARED_MEMBERS = frozenset(
    {"checks", "why_second"}
)  # of a remedy, without its arithmetic


@dataclass(frozen=True, slots=True)
class RemeasuredOnce:
    """A finding was measured again for what it proposes, and the result stood."""

    at: datetime

    @property
    def text(self) -> str:
        """Say so, for a reader."""
        at = localtime(self.at)
        return f"It was measured again on {at.day} {at:%b %Y}, and is still outside."


def find_remeasurement(
    finding: Finding, events: Iterable[FindingEvent]
) -> RemeasuredOnce | None:
    """Tell whether measuring again, proposed first, was done already and stood.

    Not where anything else was proposed since it was asked for: then there may be
    another reason.

    Parameters
    ----------
    finding : what it is about.
    events : its history, or those of it that ask for measuring or tell of a change.
    """
    if len(finding.remedies) < 2 or finding.remedies[0]["remedy"] != "remeasure":
        return None
    asked, stood = False, None
    for event in sorted(events, key=lambda event: event.pk):
        if event.kind == Kind.ASKED_AGAIN:
            asked, stood = True, None
        elif event.code == FindingEvent.Code.NEW_PROPOSAL:
            asked, stood = False, None
        elif event.code == FindingEvent.Code.STILL_OUTSIDE and asked:
            stood = event.at
    return None if stood is None else RemeasuredOnce(stood)


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueRow:
    """A finding as the queue shows it, with what is proposed.

    Attributes
    ----------
    otherwise : the words of the remedy that comes second, empty where there is none.
    again : that it was measured again for the reason it gives, and stood.
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
    """One row of the queue: a finding, or several that say the same."""

    members: tuple[QueueRow, ...]
    label: str

    @property
    def first(self) -> QueueRow:
        """The one whose words stand for all."""
        return self.members[0]

    @property
    def building(self) -> Building:
        """The building they are all of."""
        return self.first.building

    @property
    def has_several(self) -> bool:
        """Whether there is more than one."""
        return len(self.members) > 1


def group_page(shown: list[Finding], matching: QuerySet[Finding]) -> list[FindingGroup]:
    """Put the findings of a page into rows, each row complete.

    A row stands on the page of its first finding, also where the rest of it would be
    on the next.

    Parameters
    ----------
    shown : the page's findings.
    wanted : all that the page is cut from, in its order.
    """
    buildings = {finding.building_id for finding in shown}
    pks = {finding.pk for finding in shown}
    rows = group_findings(list(matching.filter(building__in=buildings)))
    return [row for row in rows if row.first.finding.pk in pks]


def group_findings(findings: list[Finding]) -> list[FindingGroup]:
    """Put findings that say the same into rows, in the order of their first ones.

    Of one building, waiting for the same, with the same likely cause and proposal;
    without a cause, with the same proposal to the last figure.
    """
    told = _load_events(findings)
    rows: dict[str, list[QueueRow]] = {}
    for finding in findings:
        again = find_remeasurement(finding, told.get(finding.pk, ()))
        rows.setdefault(_group_key(finding, again), []).append(
            _build_queue_row(finding, again)
        )
    return [
        FindingGroup(
            members=tuple(members),
            label=describe_topics([member.finding.topic for member in members]),
        )
        for members in rows.values()
    ]


def find_group(finding: Finding) -> FindingGroup:
    """Give the row that an open finding stands in."""
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
    told: dict[int, list[FindingEvent]] = {}
    asked = [f.pk for f in findings if f.remedies[0]["remedy"] == "remeasure"]
    events = FindingEvent.objects.filter(
        finding__in=asked, kind__in=(Kind.ASKED_AGAIN, Kind.CHANGED)
    )
    for event in events.order_by("pk"):
        told.setdefault(event.finding_id, []).append(event)
    return told


def select_proposal(
    finding: Finding, remeasured: RemeasuredOnce | None
) -> Mapping[str, Any]:
    """Give the remedy to propose: the next one where measuring again was done."""
    remedy: Mapping[str, Any] = finding.remedies[0 if remeasured is None else 1]
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
    """Write down all that findings of one row have in common."""
    if finding.state == Finding.State.CLOSED:
        return str(finding.pk)
    remedy = select_proposal(finding, remeasured)
    cause = finding.likely_cause or {}
    if not cause or remeasured is not None:
        common = {key: remedy[key] for key in remedy if key not in UNSHARED_MEMBERS}
    else:
        common = {
            "remedy": remedy["remedy"],
            "cause": cause["cause"],
            "explanation": cause["explanation"],
        }
    flagged = finding.flagged_at is not None
    standing = [finding.building_id, finding.state, flagged, remeasured is not None]
    return json.dumps([*standing, common], sort_keys=True)
