"""Text of the audit log: one sentence for each row, and the page it leads to."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from checks.labels import describe_check_key, describe_topic
from checks.models import ConcreteEntry, FindingEvent
from checks.queries.audit_log.query import AuditLogEntry
from checks.queries.audit_log.rows import AuditLogKind
from core.formatting import format_count
from core.models import AccountEvent, Person, Role
from core.vocabulary import ReleaseKind, SteelState
from jobs.accounts.models import ViewLogEntry
from jobs.models import Building, Job, SteelStateEvent

SYSTEM_ACTOR = "System"  # the evaluation
VISITOR_ACTOR = "Visitor, not signed in"


@dataclass(frozen=True, slots=True, kw_only=True)
class AuditLogRow:
    """A row as people read it.

    Attributes
    ----------
    person : Person or None
        None where the evaluation did it, or a visitor who was not signed in.
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
    """Objects that the rows of one page refer to."""

    job: Job
    people: Mapping[int, Person]
    buildings: Mapping[int, Building]

    def name(self, pk: int | None) -> str:
        return str(self.people.get(pk or 0, "a former account"))


def describe_entries(
    entries: Iterable[AuditLogEntry],
    *,
    job: Job,
    people: Mapping[int, Person],
    buildings: Mapping[int, Building],
) -> list[AuditLogRow]:
    """Describe rows of the audit log, each in one sentence."""
    refs = _References(job, people, buildings)
    return [_build_row(entry, refs) for entry in entries]


def _build_row(entry: AuditLogEntry, refs: _References) -> AuditLogRow:
    text, url = _DESCRIBERS[entry.name](entry, refs)
    person = refs.people.get(entry.person or 0)
    nobody = VISITOR_ACTOR if entry.name == "account" else SYSTEM_ACTOR
    return AuditLogRow(
        at=entry.at,
        kind=entry.kind,
        person=person,
        building=refs.buildings.get(entry.building or 0),
        text=text,
        note=entry.note.strip(),
        url=url,
        actor_name=str(person or nobody),
    )


TextAndUrl = tuple[str, str]


def _describe_view(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    kind = ViewLogEntry.Kind(entry.about)
    if kind is ViewLogEntry.Kind.BUILDING:
        return "Opened the building", _building_url(entry)
    if kind is ViewLogEntry.Kind.FINDING:
        text = f"Opened the finding: {describe_topic(entry.detail)}"
        return text, reverse("checks:finding", args=[entry.object])
    pdf = kind is ViewLogEntry.Kind.RELEASE_PDF
    action = "Downloaded the PDF" if pdf else "Opened the release"
    text = f"{action}: {ReleaseKind(entry.detail).label}"
    return text, reverse("checks:release", args=[entry.object])


def _describe_readings(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    text = f"{format_count(entry.number, 'reading')} recorded"
    kinds = entry.detail.replace("_", " ")
    return f"{text}: {kinds}", reverse("checks:reading_history", args=[entry.building])


def _describe_withdrawal(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    url = reverse("checks:reading_history", args=[entry.building])
    return f"Reading withdrawn: {describe_check_key(entry.detail)}", url


def _describe_photograph(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    if entry.object:
        url = reverse("checks:finding", args=[entry.object])
        return f"Photograph added: {describe_topic(entry.about)}", url
    subject = describe_check_key(entry.detail)
    text = f"Photograph added: {subject}" if subject else "Photograph added"
    return text, _building_url(entry)


def _describe_finding(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    event = FindingEvent.Kind(entry.about).label
    url = reverse("checks:finding", args=[entry.object])
    return f"{describe_topic(entry.detail)}: {event}", url


def _describe_release(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    label = ReleaseKind(entry.about).label
    return f"{label} signed", reverse("checks:release", args=[entry.object])


def _describe_plan(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    url = reverse("jobs:plan", args=[entry.building])
    if entry.number == 1:
        return "Building added with its plan", url
    return f"Plan revision {entry.number} issued", url


def _describe_job(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return "Job created", ""


def _describe_membership(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    name = refs.name(entry.object)
    if not entry.about:
        return f"{name} removed from the job", ""
    return f"{name} added to the job as {Role(entry.about).label}", ""


def _describe_invitation(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"{entry.detail} invited as {Role(entry.about).label}", ""


def _describe_acceptance(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Invitation of {entry.detail} accepted", ""


def _describe_revocation(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Invitation of {entry.detail} revoked", ""


def _describe_account(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    event = AccountEvent.Kind(entry.about).label
    return f"{refs.name(entry.object)}: {event}", ""


def _describe_sign_in(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Signed in: {entry.detail}", ""


def _describe_instrument(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    return f"Instrument {entry.detail} added", ""


def _describe_concrete(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    kinds = ", ".join(
        ConcreteEntry.Kind(kind).label for kind in entry.detail.split(", ")
    )
    count = "" if entry.number == 1 else f" ({entry.number} entries)"
    url = reverse("checks:concrete", args=[entry.building])
    return f"Concrete data recorded: {kinds}{count}", url


def _describe_steel(entry: AuditLogEntry, refs: _References) -> TextAndUrl:
    state = SteelState(entry.about).label
    cause = SteelStateEvent.Cause(entry.detail)
    reason = "" if cause is SteelStateEvent.Cause.SET else f" ({cause.label})"
    return f"Steel recorded as {state}{reason}", _building_url(entry)


def _building_url(entry: AuditLogEntry) -> str:
    return reverse("building", args=[entry.building])


_DESCRIBERS: dict[str, Callable[[AuditLogEntry, _References], TextAndUrl]] = {
    "view": _describe_view,
    "readings": _describe_readings,
    "withdrawal": _describe_withdrawal,
    "photograph": _describe_photograph,
    "finding": _describe_finding,
    "decision": _describe_finding,
    "work": _describe_finding,
    "release": _describe_release,
    "plan": _describe_plan,
    "job": _describe_job,
    "membership": _describe_membership,
    "invited": _describe_invitation,
    "joined": _describe_acceptance,
    "revoked": _describe_revocation,
    "account": _describe_account,
    "sign-in": _describe_sign_in,
    "instrument": _describe_instrument,
    "concrete": _describe_concrete,
    "steel": _describe_steel,
}
