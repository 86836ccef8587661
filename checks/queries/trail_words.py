"""The trail in words: what a row says, and where to look at it."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from checks.models import ConcreteEntry, FindingEvent, Release
from checks.queries.trail import Entry
from checks.queries.trail_sources import Kind
from checks.wording import topic_words
from core.models import AccountEvent, Person, Role
from jobs.models import Building, Job
from jobs.people.models import Sight

EVALUATION = "the evaluation"
VISITOR = "somebody not signed in"


@dataclass(frozen=True, slots=True, kw_only=True)
class TrailRow:
    """A row as people read it.

    `person` is None where the evaluation did it, or somebody who was not signed in.
    """

    at: datetime
    kind: Kind
    person: Person | None
    building: Building | None
    words: str
    note: str
    url: str
    who: str


@dataclass(frozen=True, slots=True)
class _Known:
    """What rows of one page refer to."""

    job: Job
    people: Mapping[int, Person]
    buildings: Mapping[int, Building]

    def name(self, pk: int | None) -> str:
        return str(self.people.get(pk or 0, "somebody"))


def told(
    entries: Iterable[Entry],
    *,
    job: Job,
    people: Mapping[int, Person],
    buildings: Mapping[int, Building],
) -> list[TrailRow]:
    """Put rows of the trail into words."""
    known = _Known(job, people, buildings)
    return [_row(entry, known) for entry in entries]


def _row(entry: Entry, known: _Known) -> TrailRow:
    words, url = _WORDS[entry.name](entry, known)
    person = known.people.get(entry.person or 0)
    return TrailRow(
        at=entry.at,
        kind=entry.kind,
        person=person,
        building=known.buildings.get(entry.building or 0),
        words=words,
        note=entry.note.strip(),
        url=url,
        who=str(person or (VISITOR if entry.name == "account" else EVALUATION)),
    )


Told = tuple[str, str]


def _sight(entry: Entry, known: _Known) -> Told:
    kind = Sight.Kind(entry.about)
    if kind is Sight.Kind.BUILDING:
        return "Opened the building", _building_url(entry)
    if kind is Sight.Kind.FINDING:
        words = f"Opened the finding: {topic_words(entry.detail)}"
        return words, reverse("checks:finding", args=[entry.object])
    release = Release.Kind(entry.detail).label
    verb = "Took the PDF of" if kind is Sight.Kind.RELEASE_PDF else "Opened"
    return f"{verb} the {release}", reverse("checks:release", args=[entry.object])


def _readings(entry: Entry, known: _Known) -> Told:
    words = f"{entry.number} reading{'' if entry.number == 1 else 's'} recorded"
    kinds = entry.detail.replace("_", " ")
    return f"{words}: {kinds}", reverse("checks:record", args=[entry.building])


def _photograph(entry: Entry, known: _Known) -> Told:
    if entry.object:
        url = reverse("checks:finding", args=[entry.object])
        return f"Photograph added to: {topic_words(entry.about)}", url
    words = (
        f"Photograph added of {entry.detail}" if entry.detail else "Photograph added"
    )
    return words, _building_url(entry)


def _finding(entry: Entry, known: _Known) -> Told:
    happened = FindingEvent.Kind(entry.about).label
    url = reverse("checks:finding", args=[entry.object])
    return f"{topic_words(entry.detail)}: {happened}", url


def _release(entry: Entry, known: _Known) -> Told:
    label = Release.Kind(entry.about).label.capitalize()
    return f"{label} signed", reverse("checks:release", args=[entry.object])


def _plan(entry: Entry, known: _Known) -> Told:
    url = reverse("jobs:plan", args=[entry.building])
    if entry.number == 1:
        return "Building added with its plan", url
    return f"Plan revision {entry.number} put in force", url


def _job(entry: Entry, known: _Known) -> Told:
    return "Job opened", ""


def _part(entry: Entry, known: _Known) -> Told:
    name = known.name(entry.object)
    if not entry.about:
        return f"{name} taken off the job", ""
    return f"{name} put on the job as {Role(entry.about).label}", ""


def _invited(entry: Entry, known: _Known) -> Told:
    return f"{entry.detail} invited as {Role(entry.about).label}", ""


def _joined(entry: Entry, known: _Known) -> Told:
    return f"Invitation of {entry.detail} taken up", ""


def _revoked(entry: Entry, known: _Known) -> Told:
    return f"Invitation of {entry.detail} revoked", ""


def _account(entry: Entry, known: _Known) -> Told:
    happened = AccountEvent.Kind(entry.about).label
    return f"{known.name(entry.object)}: {happened}", ""


def _sign_in(entry: Entry, known: _Known) -> Told:
    return f"Signed in: {entry.detail}", ""


def _instrument(entry: Entry, known: _Known) -> Told:
    return f"Instrument {entry.detail} put on the job", ""


def _concrete(entry: Entry, known: _Known) -> Told:
    words = ", ".join(
        ConcreteEntry.Kind(kind).label for kind in entry.detail.split(", ")
    )
    count = "" if entry.number == 1 else f" ({entry.number} entries)"
    url = reverse("checks:concrete", args=[entry.building])
    return f"Of the concrete recorded: {words}{count}", url


def _building_url(entry: Entry) -> str:
    return reverse("building", args=[entry.building])


_WORDS: dict[str, Callable[[Entry, _Known], Told]] = {
    "sight": _sight,
    "readings": _readings,
    "photograph": _photograph,
    "finding": _finding,
    "decision": _finding,
    "work": _finding,
    "release": _release,
    "plan": _plan,
    "job": _job,
    "part": _part,
    "invited": _invited,
    "joined": _joined,
    "revoked": _revoked,
    "account": _account,
    "sign-in": _sign_in,
    "instrument": _instrument,
    "concrete": _concrete,
}
