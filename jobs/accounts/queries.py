"""Queries for the pages of people, each a constant number."""

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
MAX_NAMED_JOBS = 4  # in a row of the list; the rest is counted
MAX_LISTED_JOBS = 200  # on a person's own page
MAX_LISTED_EVENTS = 50
MAX_ENDED_INVITATIONS = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class PeopleFilter:
    """Filters of the list of people."""

    text: str = ""
    role: str = ""
    closed: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonRow:
    """A person with their first memberships, and the number of the others."""

    person: Person
    memberships: tuple[Membership, ...]
    unlisted_count: int


def may_see_people(actor: Person) -> bool:
    """Return True for operations managers and administrators."""
    roles = {str(actor.role)}
    if not may(Action.VIEW_PEOPLE, roles):
        managed = Membership.objects.of(actor).filter(role=Role.OPERATIONS)
        roles |= {str(Role.OPERATIONS)} if managed.exists() else set()
    return may(Action.VIEW_PEOPLE, roles)


def filter_visible_people(actor: Person) -> QuerySet[Person]:
    """Filter to the members of jobs the actor manages; administrators see all."""
    if actor.is_administrator:
        return Person.objects.all()
    members = Membership.objects.filter(job__in=list_invitable_jobs(actor).values("pk"))
    return Person.objects.filter(Q(pk__in=members.values("person")) | Q(pk=actor.pk))


def paginate_people(
    actor: Person, filters: PeopleFilter, page: str | None
) -> tuple[Page[Person], list[PersonRow]]:
    """Return one page of the people the actor may see, with their memberships."""
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
    # A window function limits the memberships of each person in one query.
    memberships: Any = filter_visible_memberships(actor).filter(person__in=people)
    memberships = memberships.annotate(
        rank=Window(
            RowNumber(), partition_by=F("person"), order_by=F("job__number").desc()
        ),
        total=Window(Count("pk"), partition_by=F("person")),
    ).filter(rank__lte=MAX_NAMED_JOBS)
    by_person: dict[int, list[Any]] = {}
    for membership in memberships.order_by("-job__number"):
        by_person.setdefault(membership.person_id, []).append(membership)
    rows = []
    for person in people:
        named = by_person.get(person.pk, [])
        more = named[0].total - len(named) if named else 0
        rows.append(
            PersonRow(person=person, memberships=tuple(named), unlisted_count=more)
        )
    return rows


def filter_visible_memberships(actor: Person) -> QuerySet[Membership]:
    """Filter to memberships the actor may see on the pages of people."""
    memberships = Membership.objects.select_related("job")
    if actor.is_administrator:
        return memberships
    return memberships.filter(job__in=list_invitable_jobs(actor).values("pk"))


@dataclass(frozen=True, slots=True, kw_only=True)
class PersonDetails:
    """Content of the page of one person."""

    person: Person
    memberships: tuple[Membership, ...]
    events: tuple[AccountEvent, ...]
    device_count: int
    token_count: int


def get_person_details(actor: Person, person: Person) -> PersonDetails:
    """Collect what `actor` may see of `person`; account details for administrators."""
    memberships = (
        filter_visible_memberships(actor).filter(person=person).order_by("-job__number")
    )
    events: tuple[AccountEvent, ...] = ()
    devices = tokens = 0
    if actor.is_administrator:
        log = AccountEvent.objects.filter(person=person).select_related("by")
        events = tuple(log.order_by("-pk")[:MAX_LISTED_EVENTS])
        devices = Device.objects.of(person).signed_in().count()
        tokens = AuthToken.objects.filter(user=person).count()
    return PersonDetails(
        person=person,
        memberships=tuple(memberships[:MAX_LISTED_JOBS]),
        events=events,
        device_count=devices,
        token_count=tokens,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class InvitationLists:
    """The open invitations a person may see, and the last that ended."""

    open: tuple[Invitation, ...]
    ended: tuple[Invitation, ...]


def list_invitations(actor: Person) -> InvitationLists:
    """List the invitations a person made; administrators see all."""
    visible = Invitation.objects.visible_to(actor)
    rows = visible.select_related("invited_by", "accepted_by", "revoked_by")
    rows = rows.prefetch_related("jobs")
    open_keys = visible.open().values("pk")
    return InvitationLists(
        open=tuple(rows.filter(pk__in=open_keys)),
        ended=tuple(rows.exclude(pk__in=open_keys)[:MAX_ENDED_INVITATIONS]),
    )
