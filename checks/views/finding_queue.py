"""The rows of the review queue as the page shows them."""

from dataclasses import dataclass

from checks.models import Finding
from checks.queries.finding_groups import FindingGroup
from checks.views.finding_page import describe_state
from core.models import Role
from core.requests import AuthenticatedRequest
from jobs.models import Building, Membership


@dataclass(frozen=True, slots=True, kw_only=True)
class QueueItem:
    """One row: a finding, or several that can be decided together.

    Attributes
    ----------
    summary : the proposal, or the reason a closed finding ended.
    bulk_label : the label of the link to the page that decides all of them; empty for
        a single finding.
    remeasured_note : what measuring again came to; empty where it was not done.
    """

    group: FindingGroup
    finding: Finding
    building: Building
    label: str
    state: str
    is_likely_mistake: bool
    is_closed: bool
    bulk_label: str
    remeasured_note: str


def list_queue_items(
    request: AuthenticatedRequest, groups: list[FindingGroup], state: str
) -> list[QueueItem]:
    """Prepare groups of findings for the page.

    Parameters
    ----------
    request : AuthenticatedRequest
        Of the reader, who decides only on the jobs where they are the engineer.
    groups : list of FindingGroup
        The rows of this page.
    state : str
        The tab of the queue that is shown.
    """
    jobs = set(
        Membership.objects.of(request.user)
        .filter(role=Role.ENGINEER)
        .values_list("job", flat=True)
    )
    return [
        _build_item(
            group, may_decide=state == "waiting" and group.building.job_id in jobs
        )
        for group in groups
    ]


def _build_item(group: FindingGroup, *, may_decide: bool) -> QueueItem:
    finding, remeasured = group.first.finding, group.first.remeasured
    cause = finding.likely_cause
    verb = "Decide" if may_decide else "View"
    return QueueItem(
        group=group,
        finding=finding,
        building=group.building,
        label=group.label,
        state=describe_state(finding),
        is_likely_mistake=bool(cause) and remeasured is None,
        is_closed=finding.closed_at is not None,
        bulk_label=f"{verb} {len(group.members)} together" if group.has_several else "",
        remeasured_note=_describe_remeasurement(group),
    )


def _describe_remeasurement(group: FindingGroup) -> str:
    remeasured, cause = group.first.remeasured, group.first.finding.likely_cause
    if remeasured is None:
        return ""
    if not cause:
        return remeasured.text
    return f"{remeasured.text} Reason for measuring again: {cause['explanation']}"
