"""Photographs as pages show them: of a building, a position, a finding, or work."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from checks.models import Finding, Photograph
from checks.queries.record import about
from checks.wording import key_words, topic_words
from jobs.models import Building

PHOTOGRAPHS_A_PAGE = 24
OF_A_POSITION = (
    "position",
    "projection",
    "level",
    "within_group",
    "rod_from_group_centre",
    "group_centre",
)
AXES = ("in", "along")


@dataclass(frozen=True, slots=True, kw_only=True)
class Shown:
    """A photograph with what a page says beside it.

    Attributes
    ----------
    of : what it is of; empty where it is of the building.
    described : for those who do not see it.
    """

    photograph: Photograph
    of: str
    described: str


@dataclass(frozen=True, slots=True, kw_only=True)
class OfFinding:
    """The photographs that belong to a finding.

    Attributes
    ----------
    of_work : of what its decision in force ordered.
    others : of the finding and its checks, and of work ordered before.
    """

    of_work: tuple[Shown, ...]
    others: tuple[Shown, ...]


def shown(photographs: Iterable[Photograph]) -> list[Shown]:
    """Prepare photographs for a page; what they are of is to be selected with them."""
    return [_shown(photograph) for photograph in photographs]


def _shown(photograph: Photograph) -> Shown:
    of = key_words(photograph.check_key)
    if photograph.finding is not None:
        of = topic_words(photograph.finding.topic)
    elif photograph.carried_out is not None:
        topic = photograph.carried_out.decision.finding.topic
        of = f"{topic_words(topic)}, carried out"
    told = ", ".join(part for part in (photograph.caption, of) if part)
    return Shown(
        photograph=photograph,
        of=of,
        described=f"Photograph: {told}" if told else "Photograph",
    )


def of_building(building: Building, check: str, page: str | None) -> Page[Photograph]:
    """Every photograph of a building, the newest first; of some checks, if asked."""
    found = _with_all(Photograph.objects.filter(building=building))
    if check:
        found = found.filter(check_key__contains=check)
    return Paginator(found.order_by("-pk"), PHOTOGRAPHS_A_PAGE).get_page(page)


def of_position(building: Building, mark: str) -> list[Shown]:
    """Every photograph of one position: its checks, its findings, work on it."""
    topics = [f"{word}:{mark}" for word in OF_A_POSITION]
    topics += [f"plumb:{mark}.{axis}" for axis in AXES]
    found = Photograph.objects.filter(building=building).filter(
        about(mark)
        | Q(finding__topic__in=topics)
        | Q(carried_out__decision__finding__topic__in=topics)
    )
    return shown(_with_all(found).order_by("pk"))


def of_finding(finding: Finding) -> OfFinding:
    """Give a finding's photographs; its decisions are to be fetched with it."""
    found = Photograph.objects.filter(building=finding.building).filter(
        Q(finding=finding)
        | Q(carried_out__decision__finding=finding)
        | Q(check_key__in=finding.checks)
    )
    decisions = list(finding.decisions.all())
    holds = decisions[-1].pk if decisions else None
    work: list[Shown] = []
    others: list[Shown] = []
    for each in shown(_with_all(found).order_by("pk")):
        done = each.photograph.carried_out
        (work if done and done.decision_id == holds else others).append(each)
    return OfFinding(of_work=tuple(work), others=tuple(others))


def counted_by_check(building: Building) -> dict[str, int]:
    """How many photographs there are of each check."""
    found = Photograph.objects.filter(building=building).exclude(check_key="")
    counts = found.order_by().values_list("check_key").annotate(Count("pk"))
    return dict(counts)


def _with_all(photographs: QuerySet[Photograph]) -> QuerySet[Photograph]:
    """Fetch what they are of with them, without its long documents."""
    work = "carried_out__decision"
    long = [f"{work}__basis", f"{work}__remedy", f"{work}__finding__remedies"]
    return photographs.select_related(
        "recorded_by", "finding", f"{work}__finding"
    ).defer("finding__remedies", *long)
