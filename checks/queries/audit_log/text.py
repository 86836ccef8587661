"""The trail in words: what a row says, and where to look at it."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from checks.labels import describe_topic
from checks.models import ConcreteEntry, FindingEvent, Release
from checks.queries.audit_log.query import AuditLogEntry
from checks.queries.audit_log.sources import AuditLogKind
from core.models import AccountEvent, Person, Role
from jobs.accounts.models import ViewLogEntry
from jobs.models import Building, Job

EVALUATION_ACTOR = "the evaluation"
VISITOR_ACTOR = "somebody not signed in"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogRow:
    """A row as people read it.

    `person` is None where the evaluation did it, or somebody who was not signed in.
    """

    at: datetime
    kind: AuditLogKind
    person: Person | None
    building: Building | None
    text: str
    note: str
    url: str
    actor_name: str


@dataclass(frozen=True, slots=True)
class _References:
    """What rows of one page refer to."""

    job: Job
    people: Mapping[int, Person]
    buildings: Mapping[int, Building]

    def name(self, pk: int | None) -> str:
        return str(self.people.get(pk or 0, "somebody"))


def describe_entries(
    entries: Iterable[AuditLogEntry],
    *,
    job: Job,
    people: Mapping[int, Person],
    buildings: Mapping[int, Building],
) -> list[AuditLogRow]:
    """Put rows of the trail into words."""
    known = _References(job, people, buildings)
    return [_build_row(entry, known) for entry in entries]


def _build_row(entry: AuditLogEntry, refs: _References) -> AuditLogRow:
    words, url = _DESCRIBERS[entry.name](entry, refs)
    person = refs.people.get(entry.person or 0)
    return AuditLogRow(
        at=entry.at,
        kind=entry.kind,
        person=person,
        building=refs.buildings.get(entry.building or 0),
        text=words,
        note=entry.note.strip(),
        url=url,
        actor_name=str(
            person or (VISITOR_ACTOR if entry.name == "account" else EVALUATION_ACTOR)
        ),
    )


TextAndUrl = tuple[str, str]


def _describe_view(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    kind = ViewLogEntry.Kind(entry.about)
    if kind is ViewLogEntry.Kind.BUILDING:
        return "Opened the building", _building_url(entry)
    if kind is ViewLogEntry.Kind.FINDING:
        words = f"Opened the finding: {describe_topic(entry.detail)}"
        return words, reverse("checks:finding", args=[entry.object])
    release = Release.Kind(entry.detail).label
    verb = "Took the PDF of" if kind is ViewLogEntry.Kind.RELEASE_PDF else "Opened"
    return f"{verb} the {release}", reverse("checks:release", args=[entry.object])


def _describe_readings(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    words = f"{entry.number} reading{'' if entry.number == 1 else 's'} recorded"
    kinds = entry.detail.replace("_", " ")
    return f"{words}: {kinds}", reverse("checks:reading_history", args=[entry.building])


def _describe_photograph(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    if entry.object:
        url = reverse("checks:finding", args=[entry.object])
        return f"Photograph added to: {describe_topic(entry.about)}", url
    words = (
        f"Photograph added of {entry.detail}" if entry.detail else "Photograph added"
    )
    return words, _building_url(entry)


def _describe_finding(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    happened = FindingEvent.Kind(entry.about).label
    url = reverse("checks:finding", args=[entry.object])
    return f"{describe_topic(entry.detail)}: {happened}", url


def _describe_release(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    label = Release.Kind(entry.about).label.capitalize()
    return f"{label} signed", reverse("checks:release", args=[entry.object])


def _describe_plan(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    url = reverse("jobs:plan", args=[entry.building])
    if entry.number == 1:
        return "Building added with its plan", url
    return f"Plan revision {entry.number} put in force", url


def _describe_job(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return "Job opened", ""


def _describe_membership(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    name = refs.name(entry.object)
    if not entry.about:
        return f"{name} taken off the job", ""
    return f"{name} put on the job as {Role(entry.about).label}", ""


def _describe_invitation(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"{entry.detail} invited as {Role(entry.about).label}", ""


def _describe_acceptance(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Invitation of {entry.detail} taken up", ""


def _describe_revocation(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Invitation of {entry.detail} revoked", ""


def _describe_account(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    happened = AccountEvent.Kind(entry.about).label
    return f"{refs.name(entry.object)}: {happened}", ""


def _describe_sign_in(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Signed in: {entry.detail}", ""


def _describe_instrument(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Instrument {entry.detail} put on the job", ""


def _describe_concrete(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    words = ", ".join(
        ConcreteEntry.Kind(kind).label for kind in entry.detail.split(", ")
    )
    count = "" if entry.number == 1 else f" ({entry.number} entries)"
    url = reverse("checks:concrete", args=[entry.building])
    return f"Of the concrete recorded: {words}{count}", url


def _building_url(entry: AuditLogEntry) -> str:
    return reverse("building", args=[entry.building])


_DESCRIBERS: dict[str, Callable[[AuditLogEntry, _References], TextAndUrl]] = {
    "sight": _describe_view,
    "readings": _describe_readings,
    "photograph": _describe_photograph,
    "finding": _describe_finding,
    "decision": _describe_finding,
    "work": _describe_finding,
    "release": _describe_release,
    "plan": _describe_plan,
    "job": _describe_job,
    "part": _describe_membership,
    "invited": _describe_invitation,
    "joined": _describe_acceptance,
    "revoked": _describe_revocation,
    "account": _describe_account,
    "sign-in": _describe_sign_in,
    "instrument": _describe_instrument,
    "concrete": _describe_concrete,
}
