"""What the overview shows of a building: progress, stages and what blocks them."""

from checks.models import Evaluation, Finding, Release
from checks.services.hold_points import (
    SHIP_STAGES,
    BuildingStatus,
    MissingRequirement,
    find_last_reading_time,
    get_building_status,
    list_missing,
)
from jobs.models import Building, Stage
from jobs.services import set_progress, set_stage_state

SETTLED_VERDICTS = ("within", "outside")  # measured, and the repeats agree
STAGE_RELEASES = {  # the releases that a stage leads to, in their order
    Stage.Kind.FOUNDATION: (Release.Kind.POUR,),
    Stage.Kind.VERIFICATION: (Release.Kind.SHIP,),
    Stage.Kind.ERECTION: (Release.Kind.ERECT, Release.Kind.COMPLETION),
}
RELEASE_ORDER = tuple(Release.Kind)


def update_building_status(
    building: Building, evaluation: Evaluation | None = None
) -> None:
    """Write a building's progress and stages, in the caller's transaction."""
    standing = get_building_status(building, evaluation)
    verdicts = standing.verdicts
    required = standing.required_checks(*Stage.Kind)
    undecided = [
        finding
        for finding in standing.findings
        if finding.state == Finding.State.OPEN or finding.flagged_at
    ]
    set_progress(
        building,
        required_checks=len(required),
        settled_checks=sum(
            verdicts.get(check.key) in SETTLED_VERDICTS for check in required
        ),
        open_findings=len(standing.findings),
        undecided_findings=len(undecided),
        last_reading_at=find_last_reading_time(building),
    )
    for kind in Stage.Kind:
        state, blocked_by = _determine_state(standing, kind)
        set_stage_state(building, kind, state, blocked_by)


def _determine_state(standing: BuildingStatus, kind: Stage.Kind) -> tuple[str, str]:
    """Say where a stage stands: by the first of its gates not signed yet."""
    gates = STAGE_RELEASES[kind]
    latest = max(
        (
            RELEASE_ORDER.index(gate)
            for gate in RELEASE_ORDER
            if standing.signed_release(gate)
        ),
        default=-1,
    )
    # A gate passed without the one before it (a slab found poured) ends that too.
    ahead = [gate for gate in gates if RELEASE_ORDER.index(gate) > latest]
    if not ahead:
        return Stage.State.RELEASED, ""
    missing = list_missing(standing, ahead[0])
    if not missing:
        return Stage.State.READY, ""
    if not _has_begun(standing, kind, latest):
        return Stage.State.WAITING, ""
    held = any(item.blocks for item in missing)
    state = Stage.State.HELD if held else Stage.State.UNDER_WAY
    return state, _describe_missing(missing)


def _has_begun(standing: BuildingStatus, kind: Stage.Kind, latest: int) -> bool:
    """Whether anything of a stage was measured, or the gate before it was signed."""
    before = RELEASE_ORDER.index(STAGE_RELEASES[kind][0]) - 1
    if 0 <= before <= latest:
        return True
    stages = SHIP_STAGES if kind == Stage.Kind.VERIFICATION else (str(kind),)
    measured = {
        key for key, verdict in standing.verdicts.items() if verdict != "unmeasured"
    }
    return any(check.key in measured for check in standing.required_checks(*stages))


def _describe_missing(missing: list[MissingRequirement]) -> str:
    """Say what blocks, what needs somebody's decision first."""
    ordered = sorted(missing, key=lambda item: not item.blocks)
    return "; ".join(item.what for item in ordered)
