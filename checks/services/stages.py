"""Progress, stages and what blocks them, as the overview of the jobs shows them."""

from checks.labels import describe_requirement
from checks.models import Evaluation, Finding
from checks.services.hold_points import (
    SHIP_STAGES,
    BuildingStatus,
    MissingRequirement,
    get_building_status,
    list_missing,
)
from core.vocabulary import ReleaseKind, Verdict
from jobs.models import Building, Stage
from jobs.services import set_progress, set_stage_state

SETTLED_VERDICTS = (Verdict.WITHIN, Verdict.OUTSIDE)  # measured, and repeats agree
STAGE_RELEASES = {  # the releases that a stage leads to, in their order
    Stage.Kind.FOUNDATION: (ReleaseKind.POUR,),
    Stage.Kind.VERIFICATION: (ReleaseKind.SHIP,),
    Stage.Kind.ERECTION: (ReleaseKind.ERECT, ReleaseKind.COMPLETION),
}
RELEASE_ORDER = tuple(ReleaseKind)


def update_building_status(
    building: Building, evaluation: Evaluation | None = None
) -> None:
    """Write a building's progress and stages, in the caller's transaction."""
    write_building_status(get_building_status(building, evaluation))


def write_building_status(status: BuildingStatus) -> None:
    """Write progress and stages from a building's state that is loaded already."""
    verdicts = status.verdicts
    required = status.required_checks(*Stage.Kind)
    undecided = [
        finding
        for finding in status.findings
        if finding.state == Finding.State.OPEN or finding.flagged_at
    ]
    set_progress(
        status.building,
        required_checks=len(required),
        settled_checks=sum(
            verdicts.get(check.key) in SETTLED_VERDICTS for check in required
        ),
        open_findings=len(status.findings),
        undecided_findings=len(undecided),
        last_reading_at=status.times.last_taken_at,
    )
    stages = {stage.kind: stage for stage in status.building.stages.all()}
    for kind in Stage.Kind:
        state, blocked_by = _determine_state(status, kind)
        set_stage_state(
            status.building, kind, state, blocked_by, stage=stages.get(kind)
        )


def _determine_state(
    status: BuildingStatus, kind: Stage.Kind
) -> tuple[Stage.State, str]:
    """Determine the state of a stage from the first of its releases not signed yet."""
    latest = max(
        (
            RELEASE_ORDER.index(release)
            for release in RELEASE_ORDER
            if status.signed_release(release)
        ),
        default=-1,
    )
    # A release signed without the one before it (a slab was poured already when the
    # job began) ends the earlier stage too.
    ahead = [
        release
        for release in STAGE_RELEASES[kind]
        if RELEASE_ORDER.index(release) > latest
    ]
    if not ahead:
        return Stage.State.RELEASED, ""
    missing = list_missing(status, ahead[0])
    if not missing:
        return Stage.State.READY, ""
    if not _has_begun(status, kind, latest):
        return Stage.State.WAITING, ""
    held = any(item.blocks for item in missing)
    state = Stage.State.HELD if held else Stage.State.UNDER_WAY
    return state, _describe_missing(missing)


def _has_begun(status: BuildingStatus, kind: Stage.Kind, latest: int) -> bool:
    """Return whether a stage has a reading, or the release before it is signed."""
    before = RELEASE_ORDER.index(STAGE_RELEASES[kind][0]) - 1
    if 0 <= before <= latest:
        return True
    stages = SHIP_STAGES if kind == Stage.Kind.VERIFICATION else (str(kind),)
    measured = {
        key for key, verdict in status.verdicts.items() if verdict != Verdict.UNMEASURED
    }
    return any(check.key in measured for check in status.required_checks(*stages))


def _describe_missing(missing: list[MissingRequirement]) -> str:
    """Describe what blocks a stage; what needs a decision comes first."""
    ordered = sorted(missing, key=lambda item: not item.blocks)
    return "; ".join(
        describe_requirement(item.code, item.keys, item.detail) for item in ordered
    )
