"""What the overview shows of a building: progress, stages and what blocks them."""

from checks.models import Evaluation, Finding, Release
from checks.services.hold_points import (
    SHIPPED_KINDS,
    Missing,
    Standing,
    last_reading_at,
    missing_for,
    standing_of,
)
from jobs.models import Building, Stage
from jobs.services import set_progress, set_stage_state

SETTLED = ("within", "outside")  # measured, and the repeats agree
GATES = {  # the releases that a stage leads to, in their order
    Stage.Kind.FOUNDATION: (Release.Kind.POUR,),
    Stage.Kind.VERIFICATION: (Release.Kind.SHIP,),
    Stage.Kind.ERECTION: (Release.Kind.ERECT, Release.Kind.COMPLETION),
}
ORDER = tuple(Release.Kind)


def write_standing(building: Building, evaluation: Evaluation | None = None) -> None:
    """Write a building's progress and stages, in the caller's transaction."""
    standing = standing_of(building, evaluation)
    verdicts = standing.verdicts
    required = standing.required(*Stage.Kind)
    undecided = [
        finding
        for finding in standing.findings
        if finding.state == Finding.State.OPEN or finding.flagged_at
    ]
    set_progress(
        building,
        required_checks=len(required),
        settled_checks=sum(verdicts.get(check.key) in SETTLED for check in required),
        open_findings=len(standing.findings),
        undecided_findings=len(undecided),
        last_reading_at=last_reading_at(building),
    )
    for kind in Stage.Kind:
        state, blocked_by = _state(standing, kind)
        set_stage_state(building, kind, state, blocked_by)


def _state(standing: Standing, kind: Stage.Kind) -> tuple[str, str]:
    """Say where a stage stands: by the first of its gates not signed yet."""
    gates = GATES[kind]
    latest = max(
        (ORDER.index(gate) for gate in ORDER if standing.signed(gate)), default=-1
    )
    # A gate passed without the one before it (a slab found poured) ends that too.
    ahead = [gate for gate in gates if ORDER.index(gate) > latest]
    if not ahead:
        return Stage.State.RELEASED, ""
    missing = missing_for(standing, ahead[0])
    if not missing:
        return Stage.State.READY, ""
    if not _begun(standing, kind, latest):
        return Stage.State.WAITING, ""
    held = any(item.holds for item in missing)
    state = Stage.State.HELD if held else Stage.State.UNDER_WAY
    return state, _words(missing)


def _begun(standing: Standing, kind: Stage.Kind, latest: int) -> bool:
    """Whether anything of a stage was measured, or the gate before it was signed."""
    before = ORDER.index(GATES[kind][0]) - 1
    if 0 <= before <= latest:
        return True
    stages = SHIPPED_KINDS if kind == Stage.Kind.VERIFICATION else (str(kind),)
    measured = {
        key for key, verdict in standing.verdicts.items() if verdict != "unmeasured"
    }
    return any(check.key in measured for check in standing.required(*stages))


def _words(missing: list[Missing]) -> str:
    """Say what blocks, what needs somebody's decision first."""
    ordered = sorted(missing, key=lambda item: not item.holds)
    return "; ".join(item.what for item in ordered)
