"""What the pages about people read: each a constant number of queries."""

from dataclasses import dataclass
from typing import Any

from django.core.paginator import Page, Paginator
from django.db.models import Count, F, Q, QuerySet, Window
from django.db.models.functions import RowNumber
from knox.models import AuthToken

from core.models import AccountEvent, Device, Person, Role
from core.permissions import Action, may
from jobs.accounts.invitations import list_invitable_jobs
from jobs.accounts.models import Invitation
from jobs.models import Membership

PEOPLE_PER_PAGE = 50
MAX_NAMED_JOBS = 4  # beside a person; the rest is counted
MAX_LISTED_JOBS = 200  # on a person's own page
MAX_LISTED_EVENTS = 50
MAX_ENDED_INVITATIONS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleFilter:
    """What the address asks the list of people for."""

    text: str = ""
    role: str = ""
    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """A person with the first of their parts in jobs, and how many more there are."""

    person: Person
    memberships: tuple[Membership, ...]
    unlisted_count: int


def may_see_people(actor: Person) -> bool:
    """Whether the page of people is for this person: they run a job, or the house."""
    roles = {str(actor.role)}
    if not may(Action.VIEW_PEOPLE, roles):
        part = Membership.objects.of(actor).filter(role=Role.OPERATIONS)
        roles |= {str(Role.OPERATIONS)} if part.exists() else set()
    return may(Action.VIEW_PEOPLE, roles)


def filter_visible_people(actor: Person) -> QuerySet[Person]:
    """Everybody, for an administrator; else who works on a job the actor runs."""
    if actor.is_administrator:
        return Person.objects.all()
    mates = Membership.objects.filter(job__in=list_invitable_jobs(actor).values("pk"))
    return Person.objects.filter(Q(pk__in=mates.values("person")) | Q(pk=actor.pk))


def paginate_people(
    actor: Person, filters: PeopleFilter, page: str | None
) -> tuple[Page[Person], list[PersonRow]]:
    """Give one page of the people somebody may see, each with parts in jobs."""
    people = filter_visible_people(actor).filter(is_active=not filters.closed)
    for word in filters.text.split():
        people = people.filter(
            Q(username__icontains=word)
            | Q(first_name__icontains=word)
            | Q(last_name__icontains=word)
            | Q(email__icontains=word)
        )
    if filters.role:
        people = people.filter(role=filters.role)
    ordered = people.order_by("last_name", "first_name", "username")
    found = Paginator(ordered, PEOPLE_PER_PAGE).get_page(page)
    return found, _build_person_rows(actor, list(found.object_list))


def _build_person_rows(actor: Person, people: list[Person]) -> list[PersonRow]:
    parts: Any = filter_visible_memberships(actor).filter(person__in=people)
    parts = parts.annotate(
        rank=Window(
            RowNumber(), partition_by=F("person"), order_by=F("job__number").desc()
        ),
        total=Window(Count("pk"), partition_by=F("person")),
    ).filter(rank__lte=MAX_NAMED_JOBS)
    by_person: dict[int, list[Any]] = {}
    for part in parts.order_by("-job__number"):
        by_person.setdefault(part.person_id, []).append(part)
    rows = []
    for person in people:
        named = by_person.get(person.pk, [])
        more = named[0].total - len(named) if named else 0
        rows.append(
            PersonRow(person=person, memberships=tuple(named), unlisted_count=more)
        )
    return rows


def filter_visible_memberships(actor: Person) -> QuerySet[Membership]:
    """Give parts in jobs that somebody may see from the page of people."""
    parts = Membership.objects.select_related("job")
    if actor.is_administrator:
        return parts
    return parts.filter(job__in=list_invitable_jobs(actor).values("pk"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonDetails:
    """All that the page of one person shows."""

    person: Person
    memberships: tuple[Membership, ...]
    events: tuple[AccountEvent, ...]
    device_count: int
    token_count: int


def get_person_details(actor: Person, person: Person) -> PersonDetails:
    """Gather what somebody may see of a person; what ends with an account only they."""
    parts = (
        filter_visible_memberships(actor).filter(person=person).order_by("-job__number")
    )
    events: tuple[AccountEvent, ...] = ()
    devices = tokens = 0
    if actor.is_administrator:
        of_theirs = AccountEvent.objects.filter(person=person).select_related("by")
        events = tuple(of_theirs.order_by("-pk")[:MAX_LISTED_EVENTS])
        devices = Device.objects.of(person).signed_in().count()
        tokens = AuthToken.objects.filter(user=person).count()
    return PersonDetails(
        person=person,
        memberships=tuple(parts[:MAX_LISTED_JOBS]),
        events=events,
        device_count=devices,
        token_count=tokens,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class InvitationLists:
    """The invitations somebody may see: those that wait, and the last that ended."""

    open: tuple[Invitation, ...]
    ended: tuple[Invitation, ...]


def list_invitations(actor: Person) -> InvitationLists:
    """Gather the invitations a person made; an administrator sees everybody's."""
    seen = Invitation.objects.visible_to(actor)
    told = seen.select_related("invited_by", "accepted_by", "revoked_by")
    told = told.prefetch_related("jobs")
    waiting = seen.open().values("pk")
    return InvitationLists(
        open=tuple(told.filter(pk__in=waiting)),
        ended=tuple(told.exclude(pk__in=waiting)[:MAX_ENDED_INVITATIONS]),
    )
