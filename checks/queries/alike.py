"""Findings of one building that say the same: what the queue shows as one row."""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils.timezone import localtime

from checks.models import Finding, FindingEvent
from checks.wording import order_words, topic_words, topics_words
from jobs.models import Building

Kind = FindingEvent.Kind
OF_ITS_OWN = frozenset({"checks", "why_second"})  # of a remedy, without its arithmetic


@dataclass(frozen=True, slots=True)
class Again:
    """A finding was measured again for what it proposes, and the result stood."""

    at: datetime

    @property
    def words(self) -> str:
        """Say so, for a reader."""
        at = localtime(self.at)
        return f"It was measured again on {at.day} {at:%b %Y}, and is still outside."


def measured_again(finding: Finding, events: Iterable[FindingEvent]) -> Again | None:
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
        elif event.note.startswith(FindingEvent.PROPOSED_NOW):
            asked, stood = False, None
        elif event.note == FindingEvent.STOOD and asked:
            stood = event.at
    return None if stood is None else Again(stood)


@dataclass(frozen=True, slots=True, kw_only=True)
class Queued:
    """A finding as the queue shows it, with what is proposed.

    Attributes
    ----------
    otherwise : the words of the remedy that comes second, empty where there is none.
    again : that it was measured again for the reason it gives, and stood.
    """

    finding: Finding
    building: Building
    words: str
    proposal: str
    reason: str
    otherwise: str
    again: Again | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alike:
    """One row of the queue: a finding, or several that say the same."""

    members: tuple[Queued, ...]
    words: str

    @property
    def first(self) -> Queued:
        """The one whose words stand for all."""
        return self.members[0]

    @property
    def building(self) -> Building:
        """The building they are all of."""
        return self.first.building

    @property
    def together(self) -> bool:
        """Whether there is more than one."""
        return len(self.members) > 1


def alike_on_page(shown: list[Finding], wanted: QuerySet[Finding]) -> list[Alike]:
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
    rows = alike(list(wanted.filter(building__in=buildings)))
    return [row for row in rows if row.first.finding.pk in pks]


def alike(findings: list[Finding]) -> list[Alike]:
    """Put findings that say the same into rows, in the order of their first ones.

    Of one building, waiting for the same, with the same likely cause and proposal;
    without a cause, with the same proposal to the last figure.
    """
    told = _told(findings)
    rows: dict[str, list[Queued]] = {}
    for finding in findings:
        again = measured_again(finding, told.get(finding.pk, ()))
        rows.setdefault(_key(finding, again), []).append(_queued(finding, again))
    return [
        Alike(
            members=tuple(members),
            words=topics_words([member.finding.topic for member in members]),
        )
        for members in rows.values()
    ]


def alike_with(finding: Finding) -> Alike:
    """Give the row that an open finding stands in."""
    same = Finding.objects.filter(building=finding.building_id).open()
    undecided = same.undecided()
    if undecided.filter(pk=finding.pk).exists():
        same = undecided
    rows = alike(list(same.select_related("building__job").order_by("opened_at", "pk")))
    for row in rows:
        if any(member.finding.pk == finding.pk for member in row.members):
            return row
    return alike([finding])[0]


def _told(findings: list[Finding]) -> dict[int, list[FindingEvent]]:
    told: dict[int, list[FindingEvent]] = {}
    asked = [f.pk for f in findings if f.remedies[0]["remedy"] == "remeasure"]
    events = FindingEvent.objects.filter(
        finding__in=asked, kind__in=(Kind.ASKED_AGAIN, Kind.CHANGED)
    )
    for event in events.order_by("pk"):
        told.setdefault(event.finding_id, []).append(event)
    return told


def proposed(finding: Finding, again: Again | None) -> Mapping[str, Any]:
    """Give the remedy to propose: the next one where measuring again was done."""
    remedy: Mapping[str, Any] = finding.remedies[0 if again is None else 1]
    return remedy


def _queued(finding: Finding, again: Again | None) -> Queued:
    first = proposed(finding, again)
    second = finding.remedies[1] if again is None and finding.remedies[1:] else None
    return Queued(
        finding=finding,
        building=finding.building,
        words=topic_words(finding.topic),
        proposal=order_words(first),
        reason=first.get("reason", ""),
        otherwise=f"{order_words(second)}. {second['reason']}" if second else "",
        again=again,
    )


def _key(finding: Finding, again: Again | None) -> str:
    """Write down all that findings of one row have in common."""
    if finding.state == Finding.State.CLOSED:
        return str(finding.pk)
    remedy = proposed(finding, again)
    cause = finding.likely_cause or {}
    if not cause or again is not None:
        common = {key: remedy[key] for key in remedy if key not in OF_ITS_OWN}
    else:
        common = {
            "remedy": remedy["remedy"],
            "cause": cause["cause"],
            "explanation": cause["explanation"],
        }
    flagged = finding.flagged_at is not None
    standing = [finding.building_id, finding.state, flagged, again is not None]
    return json.dumps([*standing, common], sort_keys=True)
