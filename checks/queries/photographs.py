"""Photographs of a building, a position, a finding or its work, as rows."""

from collections.abc import Iterable
from dataclasses import dataclass

from django.core.paginator import Page, Paginator
from django.db.models import Count, Q, QuerySet

from checks.evaluation.finding_topics import (
    GROUP_TOPICS,
    PATTERN_TOPICS,
    FindingTopic,
    TopicKind,
)
from checks.labels import describe_check_key, describe_topic
from checks.models import Finding, Photograph
from checks.queries.reading_history import match_position
from jobs.anchor_plan.check_keys import AXES, CheckKey
from jobs.models import Building

PHOTOGRAPHS_PER_PAGE = 24
POSITION_TOPICS = sorted(PATTERN_TOPICS | GROUP_TOPICS | {TopicKind.LEVEL})


@dataclass(frozen=True, slots=True, kw_only=True)
class PhotographRow:
    """A photograph with its caption.

    Attributes
    ----------
    subject : str
        What it shows; empty where it is of the building.
    alt_text : str
        For readers who do not see it.
    """

    photograph: Photograph
    subject: str
    alt_text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingPhotographs:
    """The photographs that belong to a finding.

    Attributes
    ----------
    work : tuple of PhotographRow
        Of the work that its decision in force ordered.
    others : tuple of PhotographRow
        Of the finding, its checks, and work that was ordered before.
    """

    work: tuple[PhotographRow, ...]
    others: tuple[PhotographRow, ...]


def build_photograph_rows(photographs: Iterable[Photograph]) -> list[PhotographRow]:
    """Build rows of photographs that were loaded with their subjects."""
    return [_build_photograph_row(photograph) for photograph in photographs]


def _build_photograph_row(photograph: Photograph) -> PhotographRow:
    subject = describe_check_key(photograph.check_key)
    if photograph.finding is not None:
        subject = describe_topic(photograph.finding.topic)
    elif photograph.work_report is not None:
        topic = photograph.work_report.decision.finding.topic
        subject = f"{describe_topic(topic)}, carried out"
    text = ", ".join(part for part in (photograph.caption, subject) if part)
    return PhotographRow(
        photograph=photograph,
        subject=subject,
        alt_text=f"Photograph: {text}" if text else "Photograph",
    )


def paginate_photographs(
    building: Building, check: str, page: str | None
) -> Page[Photograph]:
    """Return a page of a building's photographs, the newest first."""
    found = _select_subjects(Photograph.objects.filter(building=building))
    if check:
        found = found.filter(check_key__contains=check)
    return Paginator(found.order_by("-pk"), PHOTOGRAPHS_PER_PAGE).get_page(page)


def list_position_photographs(building: Building, mark: str) -> list[PhotographRow]:
    """List the photographs of one position: of its checks, findings and work."""
    topics: list[str] = [
        FindingTopic.for_subject(kind, mark) for kind in POSITION_TOPICS
    ]
    topics += [CheckKey.for_plumb(mark, axis) for axis in AXES]
    found = Photograph.objects.filter(building=building).filter(
        match_position(mark)
        | Q(finding__topic__in=topics)
        | Q(work_report__decision__finding__topic__in=topics)
    )
    return build_photograph_rows(_select_subjects(found).order_by("pk"))


def list_finding_photographs(finding: Finding) -> FindingPhotographs:
    """List the photographs of a finding that was loaded with its decisions."""
    found = Photograph.objects.filter(building=finding.building).filter(
        Q(finding=finding)
        | Q(work_report__decision__finding=finding)
        | Q(check_key__in=finding.checks)
    )
    decisions = list(finding.decisions.all())
    in_force = decisions[-1].pk if decisions else None
    work: list[PhotographRow] = []
    others: list[PhotographRow] = []
    for each in build_photograph_rows(_select_subjects(found).order_by("pk")):
        report = each.photograph.work_report
        is_work = report is not None and report.decision_id == in_force
        (work if is_work else others).append(each)
    return FindingPhotographs(work=tuple(work), others=tuple(others))


def count_photographs(building: Building) -> dict[str, int]:
    """Count the photographs of each check."""
    found = Photograph.objects.filter(building=building).exclude(check_key="")
    counts = found.order_by().values_list("check_key").annotate(Count("pk"))
    return dict(counts)


def _select_subjects(photographs: QuerySet[Photograph]) -> QuerySet[Photograph]:
    """Load the subjects of photographs with them, without their long documents."""
    # Snapshots and remedies of decisions are large and not shown with a photograph.
    work = "work_report__decision"
    long_documents = [
        f"{work}__snapshot",
        f"{work}__remedy",
        f"{work}__finding__remedies",
    ]
    return photographs.select_related(
        "recorded_by", "finding", f"{work}__finding"
    ).defer("finding__remedies", *long_documents)
