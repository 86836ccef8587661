"""Photographs as pages show them: of a building, a position, a finding, or work."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from checks.labels import describe_check_key, describe_topic
from checks.models import Finding, Photograph
from checks.queries.reading_history import match_position
from jobs.models import Building

PHOTOGRAPHS_PER_PAGE = 24
POSITION_TOPICS = (
    "position",
    "projection",
    "level",
    "within_group",
    "rod_from_group_centre",
    "group_centre",
)
PLUMB_AXES = ("in", "along")


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographRow:
    """A photograph with what a page says beside it.

    Attributes
    ----------
    of : what it is of; empty where it is of the building.
    described : for those who do not see it.
    """

    photograph: Photograph
    subject: str
    alt_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingPhotographs:
    """The photographs that belong to a finding.

    Attributes
    ----------
    of_work : of what its decision in force ordered.
    others : of the finding and its checks, and of work ordered before.
    """

    work: tuple[PhotographRow, ...]
    others: tuple[PhotographRow, ...]


def build_photograph_rows(photographs: Iterable[Photograph]) -> list[PhotographRow]:
    """Prepare photographs for a page; what they are of is to be selected with them."""
    return [_build_photograph_row(photograph) for photograph in photographs]


def _build_photograph_row(photograph: Photograph) -> PhotographRow:
    of = describe_check_key(photograph.check_key)
    if photograph.finding is not None:
        of = describe_topic(photograph.finding.topic)
    elif photograph.work_report is not None:
        topic = photograph.work_report.decision.finding.topic
        of = f"{describe_topic(topic)}, carried out"
    told = ", ".join(part for part in (photograph.caption, of) if part)
    return PhotographRow(
        photograph=photograph,
        subject=of,
        alt_text=f"Photograph: {told}" if told else "Photograph",
    )


def paginate_photographs(
    building: Building, check: str, page: str | None
) -> Page[Photograph]:
    """Every photograph of a building, the newest first; of some checks, if asked."""
    found = _select_subjects(Photograph.objects.filter(building=building))
    if check:
        found = found.filter(check_key__contains=check)
    return Paginator(found.order_by("-pk"), PHOTOGRAPHS_PER_PAGE).get_page(page)


def list_position_photographs(building: Building, mark: str) -> list[PhotographRow]:
    """Every photograph of one position: its checks, its findings, work on it."""
    topics = [f"{word}:{mark}" for word in POSITION_TOPICS]
    topics += [f"plumb:{mark}.{axis}" for axis in PLUMB_AXES]
    found = Photograph.objects.filter(building=building).filter(
        match_position(mark)
        | Q(finding__topic__in=topics)
        | Q(work_report__decision__finding__topic__in=topics)
    )
    return build_photograph_rows(_select_subjects(found).order_by("pk"))


def list_finding_photographs(finding: Finding) -> FindingPhotographs:
    """Give a finding's photographs; its decisions are to be fetched with it."""
    found = Photograph.objects.filter(building=finding.building).filter(
        Q(finding=finding)
        | Q(work_report__decision__finding=finding)
        | Q(check_key__in=finding.checks)
    )
    decisions = list(finding.decisions.all())
    holds = decisions[-1].pk if decisions else None
    work: list[PhotographRow] = []
    others: list[PhotographRow] = []
    for each in build_photograph_rows(_select_subjects(found).order_by("pk")):
        done = each.photograph.work_report
        (work if done and done.decision_id == holds else others).append(each)
    return FindingPhotographs(work=tuple(work), others=tuple(others))


def count_photographs(building: Building) -> dict[str, int]:
    """How many photographs there are of each check."""
    found = Photograph.objects.filter(building=building).exclude(check_key="")
    counts = found.order_by().values_list("check_key").annotate(Count("pk"))
    return dict(counts)


def _select_subjects(photographs: QuerySet[Photograph]) -> QuerySet[Photograph]:
    """Fetch what they are of with them, without its long documents."""
    work = "work_report__decision"
    long = [f"{work}__snapshot", f"{work}__remedy", f"{work}__finding__remedies"]
    return photographs.select_related(
        "recorded_by", "finding", f"{work}__finding"
    ).defer("finding__remedies", *long)
