"""Hold points: what is missing between a building and each of its releases."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from checks.models import Evaluation, Finding, Release
from checks.reading_times import ReadingTimes, load_reading_times
from core.vocabulary import ReleaseKind, StageKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_plan

State = Finding.State
SHIP_STAGES = (StageKind.FOUNDATION, StageKind.VERIFICATION)


class RequirementCode(StrEnum):
    """Requirements that a release can wait for."""

    NOT_EVALUATED = "not_evaluated"
    NOT_MEASURED = "not_measured"
    REPEATS_DISAGREE = "repeats_disagree"
    MEASURED_BEFORE_POUR = "measured_before_pour"
    ERECTION_OUTSIDE = "erection_outside"
    UNDECIDED = "undecided"
    DECISION_OUTDATED = "decision_outdated"
    TO_REMEASURE = "to_remeasure"
    WORK_NOT_DONE = "work_not_done"
    WORK_NOT_VERIFIED = "work_not_verified"
    NO_SPECIFIED_STRENGTH = "no_specified_strength"
    NO_SAMPLE = "no_sample"
    SAMPLES_REJECTED = "samples_rejected"
    STRENGTH_NOT_MET = "strength_not_met"
    CYLINDERS_DISAGREE = "cylinders_disagree"
    RELEASE_NOT_SIGNED = "release_not_signed"


STRENGTH_CODES = {
    Verdict.OUTSIDE: RequirementCode.STRENGTH_NOT_MET,
    Verdict.REMEASURE: RequirementCode.CYLINDERS_DISAGREE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingRequirement:
    """One thing that a release waits for.

    Attributes
    ----------
    code : what is missing; `checks.labels` has its text, the views its address.
    blocks : whether somebody must decide or wait, rather than go on measuring.
    keys : the checks, the topics of the findings or the release that it concerns.
    finding_ids : the findings that it concerns.
    detail : why no sample counts, as the evaluation says it.
    """

    code: RequirementCode
    blocks: bool = False
    keys: tuple[str, ...] = ()
    finding_ids: tuple[int, ...] = ()
    detail: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingStatus:
    """The state of a building that its hold points are derived from.

    Attributes
    ----------
    findings : the open ones.
    verdicts : of every check that has one, by key.
    """

    building: Building
    revision: PlanRevision
    plan: Plan
    evaluation: Evaluation | None
    findings: tuple[Finding, ...]
    releases: tuple[Release, ...]
    verdicts: Mapping[str, str]
    times: ReadingTimes

    @property
    def result(self) -> Mapping[str, Any]:
        """The latest result; empty before the first evaluation."""
        return self.evaluation.result if self.evaluation else {}

    def signed_release(self, kind: str) -> Release | None:
        """Return the release in force: of the plan in force, for the pour of any plan.

        What was poured stays poured when the plan is revised. Whether the steel still
        fits it is for the later releases to say.
        """
        signed = [
            release
            for release in self.releases
            if release.kind == kind
            and (kind == ReleaseKind.POUR or release.revision_id == self.revision.pk)
        ]
        return signed[-1] if signed else None

    def required_checks(self, *stages: str) -> list[Check]:
        """List the checks that these stages require, in walk order."""
        return [
            check
            for check in build_check_sheet(self.plan)
            if check.required and check.stage in stages
        ]


def get_building_status(
    building: Building,
    evaluation: Evaluation | None = None,
    *,
    revision: PlanRevision | None = None,
    plan: Plan | None = None,
    times: ReadingTimes | None = None,
    findings: Sequence[Finding] | None = None,
) -> BuildingStatus:
    """Load the state of a building.

    Parameters
    ----------
    building : whose state it is.
    evaluation, revision, plan, times, findings : where they are loaded already, the
        findings being the open ones.
    """
    revision = revision or building.current_revision()
    if evaluation is None:
        evaluation = (
            Evaluation.objects.filter(building=building)
            .select_related("supplement")
            .order_by("-pk")
            .first()
        )
    if findings is None:
        findings = list(Finding.objects.filter(building=building).open())
    rows = evaluation.result["checks"] if evaluation else []
    return BuildingStatus(
        building=building,
        revision=revision,
        plan=plan or load_plan(revision),
        evaluation=evaluation,
        findings=tuple(findings),
        releases=tuple(
            Release.objects.filter(building=building)
            .select_related("signed_by")
            .defer("record")
            .order_by("pk")
        ),
        verdicts={row["check"]: row["verdict"] for row in rows},
        times=times or load_reading_times(building),
    )


def find_missing_requirements(
    building: Building, kind: str
) -> list[MissingRequirement]:
    """List what a release of this kind waits for; empty when it can be signed."""
    return list_missing(get_building_status(building), kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseGate:
    """One release of a building: signed, or what it waits for."""

    kind: ReleaseKind
    label: str
    release: Release | None
    missing: tuple[MissingRequirement, ...]


def list_release_gates(building: Building) -> list[ReleaseGate]:
    """List a building's releases in their order, with what each waits for."""
    status = get_building_status(building)
    return [
        ReleaseGate(
            kind=kind,
            label=kind.label,
            release=(signed := status.signed_release(kind)),
            missing=() if signed else tuple(list_missing(status, kind)),
        )
        for kind in ReleaseKind
    ]


def list_missing(status: BuildingStatus, kind: str) -> list[MissingRequirement]:
    """List what a release waits for in a given state of the building."""
    rules: dict[str, Callable[[BuildingStatus], Iterable[MissingRequirement]]] = {
        ReleaseKind.POUR: _list_missing_for_pour,
        ReleaseKind.SHIP: _list_missing_for_ship,
        ReleaseKind.ERECT: _list_missing_for_erect,
        ReleaseKind.COMPLETION: _list_missing_for_completion,
    }
    return [*_require_evaluation(status), *rules[kind](status)]


# ---- one rule for each release ----------------------------------------------


def _list_missing_for_pour(status: BuildingStatus) -> Iterator[MissingRequirement]:
    """Require outline, lines and rods measured, and every finding decided."""
    yield from _require_readings(status, StageKind.FOUNDATION)
    yield from _require_agreeing_repeats(status)
    yield from _require_decisions(status)


def _list_missing_for_ship(status: BuildingStatus) -> Iterator[MissingRequirement]:
    """Require every check measured as built, and every finding decided."""
    yield from _require_readings(status, *SHIP_STAGES)
    yield from _require_readings_since_pour(status)
    yield from _require_agreeing_repeats(status)
    yield from _require_decisions(status)


def _list_missing_for_erect(status: BuildingStatus) -> Iterator[MissingRequirement]:
    """Require the ship release, the strength gate, and all work done and verified."""
    yield from _require_release(status, ReleaseKind.SHIP)
    yield from _require_strength(status)
    yield from _require_decisions(status)
    yield from _require_work_done(status)


def _list_missing_for_completion(
    status: BuildingStatus,
) -> Iterator[MissingRequirement]:
    """Require the erect release, plumb measured and within, and nothing left open."""
    yield from _require_release(status, ReleaseKind.ERECT)
    yield from _require_readings(status, StageKind.ERECTION)
    outside = tuple(
        check.key
        for check in status.required_checks(StageKind.ERECTION)
        if status.verdicts.get(check.key) in (Verdict.OUTSIDE, Verdict.REMEASURE)
    )
    if outside:
        yield MissingRequirement(
            code=RequirementCode.ERECTION_OUTSIDE, blocks=True, keys=outside
        )
    yield from _require_decisions(status)
    yield from _require_work_done(status)


# ---- requirements that several releases share -------------------------------


def _require_evaluation(status: BuildingStatus) -> Iterator[MissingRequirement]:
    if status.building.evaluation_due_since or status.evaluation is None:
        yield MissingRequirement(code=RequirementCode.NOT_EVALUATED)


def _require_readings(
    status: BuildingStatus, *stages: str
) -> Iterator[MissingRequirement]:
    keys = tuple(
        check.key
        for check in status.required_checks(*stages)
        if status.verdicts.get(check.key, Verdict.UNMEASURED) == Verdict.UNMEASURED
    )
    if keys:
        yield MissingRequirement(code=RequirementCode.NOT_MEASURED, keys=keys)


def _require_agreeing_repeats(status: BuildingStatus) -> Iterator[MissingRequirement]:
    """Require repeats that agree, whether a finding says so or not."""
    in_findings = {key for finding in status.findings for key in finding.checks}
    keys = tuple(
        check.key
        for check in status.required_checks(*SHIP_STAGES)
        if status.verdicts.get(check.key) == Verdict.REMEASURE
        and check.key not in in_findings
    )
    if keys:
        yield MissingRequirement(code=RequirementCode.REPEATS_DISAGREE, keys=keys)


def _require_readings_since_pour(
    status: BuildingStatus,
) -> Iterator[MissingRequirement]:
    """Require the dimensions as built: rods move while concrete is placed."""
    pour = status.signed_release(ReleaseKind.POUR)
    if pour is None:
        return
    times = status.times.by_check
    keys = tuple(
        check.key
        for check in status.required_checks(StageKind.FOUNDATION)
        if check.key in times and times[check.key].oldest <= pour.signed_at
    )
    if keys:
        yield MissingRequirement(code=RequirementCode.MEASURED_BEFORE_POUR, keys=keys)


def _require_decisions(status: BuildingStatus) -> Iterator[MissingRequirement]:
    flagged = [each for each in status.findings if each.flagged_at]
    unflagged = [each for each in status.findings if not each.flagged_at]
    for code, findings in (
        (RequirementCode.UNDECIDED, _in_state(unflagged, State.OPEN)),
        (RequirementCode.DECISION_OUTDATED, flagged),
        (RequirementCode.TO_REMEASURE, _in_state(unflagged, State.REMEASURE)),
    ):
        if findings:
            yield _make_finding_requirement(code, findings)


def _require_work_done(status: BuildingStatus) -> Iterator[MissingRequirement]:
    """Require the work of every decision done and verified."""
    unflagged = [each for each in status.findings if not each.flagged_at]
    for code, state in (
        (RequirementCode.WORK_NOT_DONE, State.DECIDED),
        (RequirementCode.WORK_NOT_VERIFIED, State.CARRIED_OUT),
    ):
        if findings := _in_state(unflagged, state):
            yield _make_finding_requirement(code, findings)


def _in_state(findings: Iterable[Finding], state: str) -> list[Finding]:
    return [finding for finding in findings if finding.state == state]


def _make_finding_requirement(
    code: RequirementCode, findings: list[Finding]
) -> MissingRequirement:
    return MissingRequirement(
        code=code,
        blocks=True,
        keys=tuple(finding.topic for finding in findings),
        finding_ids=tuple(finding.pk for finding in findings),
    )


def _require_strength(status: BuildingStatus) -> Iterator[MissingRequirement]:
    """Require the gate of 29 CFR 1926.752(a)(1): samples open it, not decisions."""
    concrete = status.result.get("concrete") or {}
    verdict = concrete.get("verdict", Verdict.UNMEASURED)
    if verdict == Verdict.WITHIN:
        return
    on_plan = status.plan.concrete
    if on_plan.specified_strength is None and on_plan.sufficient_strength is None:
        yield MissingRequirement(
            code=RequirementCode.NO_SPECIFIED_STRENGTH, blocks=True, keys=("strength",)
        )
        sample = f"{CheckKind.STRENGTH}:"
        if any(key.startswith(sample) for key in status.times.by_check):
            return  # a sample is there: only the plan's strength is missing
    reason = str(concrete.get("reason") or "").rstrip(".")
    no_sample = (
        RequirementCode.SAMPLES_REJECTED if reason else RequirementCode.NO_SAMPLE
    )
    yield MissingRequirement(
        code=STRENGTH_CODES.get(verdict, no_sample),
        blocks=verdict != Verdict.UNMEASURED,
        keys=("strength",),
        detail=reason,
    )


def _require_release(
    status: BuildingStatus, kind: ReleaseKind
) -> Iterator[MissingRequirement]:
    if status.signed_release(kind) is None:
        yield MissingRequirement(
            code=RequirementCode.RELEASE_NOT_SIGNED, blocks=True, keys=(str(kind),)
        )
