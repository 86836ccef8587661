"""What still stands between a building and each of its releases."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max
from django.urls import reverse

from checks.labels import describe_check_key, describe_topic
from checks.models import Evaluation, Finding, Reading, Release
from jobs.anchor_plan.check_keys import CheckKind, kind_of
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_plan

SHIP_STAGES = ("foundation", "verification")
STRENGTH_LABELS = {
    "outside": "strength not met",
    "remeasure": "companion cylinders disagree: strength to be looked at again",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class MissingRequirement:
    """One thing a release waits for, and where it is put right.

    Attributes
    ----------
    what : in a few words, "6 checks not measured".
    holds : whether somebody must decide or wait, rather than go on measuring.
    where : name of the page's address, with `args` and `query`.
    keys : the checks or findings meant.
    """

    what: str
    blocks: bool = False
    where: str = ""
    args: tuple[int, ...] = ()
    query: str = ""
    keys: tuple[str, ...] = ()

    @property
    def labels(self) -> list[str]:
        """The checks or findings in words."""
        return [
            describe_check_key(key) if kind_of(key) else describe_topic(key)
            for key in self.keys
        ]

    @property
    def url(self) -> str:
        """The address of the page where it is put right."""
        if not self.where:
            return ""
        return reverse(self.where, args=self.args) + (self.query and f"?{self.query}")


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingStatus:
    """Where a building stands: all that its hold points are judged by."""

    building: Building
    revision: PlanRevision
    plan: Plan
    evaluation: Evaluation | None
    findings: tuple[Finding, ...]  # open ones
    releases: tuple[Release, ...]
    verdicts: Mapping[str, str]  # of every check that has one, by key
    oldest_reading_at: Mapping[
        str, datetime
    ]  # when the oldest standing reading was taken

    @property
    def result(self) -> Mapping[str, Any]:
        """The latest result; empty while nothing was evaluated."""
        return self.evaluation.result if self.evaluation else {}

    def signed_release(self, kind: str) -> Release | None:
        """Give the release that counts: of the plan in force; any for the pour.

        What was poured stays poured when the plan is revised; whether the steel
        still fits it is what the later releases ask.
        """
        found = [
            release
            for release in self.releases
            if release.kind == kind
            and (kind == Release.Kind.POUR or release.revision_id == self.revision.pk)
        ]
        return found[-1] if found else None

    def required_checks(self, *stages: str) -> list[Check]:
        """Every check these stages ask for, in walk order."""
        return [
            check
            for check in build_check_sheet(self.plan)
            if check.required and check.stage in stages
        ]


def get_building_status(
    building: Building, evaluation: Evaluation | None = None
) -> BuildingStatus:
    """Gather where a building stands, by its latest evaluation unless one is given."""
    revision = building.current_revision()
    if evaluation is None:
        evaluation = (
            Evaluation.objects.filter(building=building).order_by("-pk").first()
        )
    oldest = Reading.objects.filter(building=building).standing()
    rows = evaluation.result["checks"] if evaluation else []
    return BuildingStatus(
        building=building,
        revision=revision,
        plan=load_plan(revision),
        evaluation=evaluation,
        findings=tuple(Finding.objects.filter(building=building).open()),
        releases=tuple(
            Release.objects.filter(building=building)
            .select_related("signed_by")
            .defer("record")
            .order_by("pk")
        ),
        verdicts={row["check"]: row["verdict"] for row in rows},
        oldest_reading_at=_find_oldest(oldest.values_list("check_key", "taken_at")),
    )


def find_missing_requirements(
    building: Building, kind: str
) -> list[MissingRequirement]:
    """List what a release of this kind still waits for; empty when it can be signed."""
    return list_missing(get_building_status(building), kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseGate:
    """One release of a building: signed, or what it waits for."""

    kind: str
    label: str
    release: Release | None
    missing: tuple[MissingRequirement, ...]


def list_release_gates(building: Building) -> list[ReleaseGate]:
    """List a building's releases in their order, with what each waits for."""
    standing = get_building_status(building)
    return [
        ReleaseGate(
            kind=kind,
            label=kind.label,
            release=(signed := standing.signed_release(kind)),
            missing=() if signed else tuple(list_missing(standing, kind)),
        )
        for kind in Release.Kind
    ]


def list_missing(standing: BuildingStatus, kind: str) -> list[MissingRequirement]:
    """List what is missing, given where the building stands."""
    gates: dict[str, Callable[[BuildingStatus], Iterable[MissingRequirement]]] = {
        Release.Kind.POUR: _list_missing_for_pour,
        Release.Kind.SHIP: _list_missing_for_ship,
        Release.Kind.ERECT: _list_missing_for_erect,
        Release.Kind.COMPLETION: _list_missing_for_completion,
    }
    return [*_require_evaluation(standing), *gates[kind](standing)]


def _list_missing_for_pour(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    """Outline, lines and rods measured, and nothing undecided."""
    yield from _require_readings(standing, "foundation")
    yield from _require_agreeing_repeats(standing)
    yield from _require_decisions(standing)


def _list_missing_for_ship(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    """Every required check measured as built, every finding decided, none flagged."""
    yield from _require_readings(standing, *SHIP_STAGES)
    yield from _require_readings_since_pour(standing)
    yield from _require_agreeing_repeats(standing)
    yield from _require_decisions(standing)


def _list_missing_for_erect(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    """Steel released, strength gate met, every decision carried out and settled."""
    yield from _require_release(standing, Release.Kind.SHIP)
    yield from _require_strength(standing)
    yield from _require_decisions(standing)
    yield from _require_work_done(standing)


def _list_missing_for_completion(
    standing: BuildingStatus,
) -> Iterable[MissingRequirement]:
    """Columns allowed to be set, plumb measured and within, nothing left open."""
    yield from _require_release(standing, Release.Kind.ERECT)
    yield from _require_readings(standing, "erection")
    leaning = tuple(
        check.key
        for check in standing.required_checks("erection")
        if standing.verdicts.get(check.key) in ("outside", "remeasure")
    )
    if leaning:
        words, query = "of the erection not within", f"check={leaning[0]}"
        yield _make_check_requirement(standing, leaning, words, query, holds=True)
    yield from _require_decisions(standing)
    yield from _require_work_done(standing)


def _require_evaluation(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    if standing.building.evaluation_due_since or standing.evaluation is None:
        yield MissingRequirement(
            what="readings or a plan revision not evaluated yet",
            where="building",
            args=(standing.building.pk,),
        )


def _require_readings(
    standing: BuildingStatus, *stages: str
) -> Iterable[MissingRequirement]:
    verdicts = standing.verdicts
    keys = tuple(
        check.key
        for check in standing.required_checks(*stages)
        if verdicts.get(check.key, "unmeasured") == "unmeasured"
    )
    if keys:
        yield _make_check_requirement(standing, keys, "not measured", "show=unmeasured")


def _require_agreeing_repeats(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    """Repeats that disagree settle nothing, whether a finding says so or not."""
    in_finding = {key for finding in standing.findings for key in finding.checks}
    keys = tuple(
        check.key
        for check in standing.required_checks(*SHIP_STAGES)
        if standing.verdicts.get(check.key) == "remeasure"
        and check.key not in in_finding
    )
    if keys:
        yield _make_check_requirement(
            standing, keys, "to be measured again", "show=again"
        )


def _require_readings_since_pour(
    standing: BuildingStatus,
) -> Iterable[MissingRequirement]:
    """Ask for the dimensions as built: rods move while concrete is placed."""
    pour = standing.signed_release(Release.Kind.POUR)
    if pour is None:
        return
    keys = tuple(
        check.key
        for check in standing.required_checks("foundation")
        if check.key in standing.oldest_reading_at
        and standing.oldest_reading_at[check.key] <= pour.signed_at
    )
    if keys:
        yield _make_check_requirement(
            standing, keys, "not measured again since the pour", "show=again"
        )


def _require_decisions(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    waiting = [f for f in standing.findings if f.state == "open" and not f.flagged_at]
    again = [f for f in standing.findings if f.flagged_at]
    remeasure = [
        f for f in standing.findings if f.state == "remeasure" and not f.flagged_at
    ]
    for found, words, tab in (
        (waiting, "wait for the engineer|waits for the engineer", "waiting"),
        (again, "decided on other readings|decided on other readings", "waiting"),
        (remeasure, "to be measured again|to be measured again", "field"),
    ):
        if found:
            yield _make_finding_requirement(standing, found, words, tab)


def _require_work_done(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    """Find decisions made but not carried out, or carried out but not verified."""
    for state, words in (
        ("decided", "decided, not carried out|decided, not carried out"),
        (
            "carried_out",
            "carried out, not measured within or accepted since"
            "|carried out, not measured within or accepted since",
        ),
    ):
        found = [f for f in standing.findings if f.state == state and not f.flagged_at]
        if found:
            yield _make_finding_requirement(standing, found, words, "field")


def _make_check_requirement(
    standing: BuildingStatus,
    keys: tuple[str, ...],
    words: str,
    query: str,
    *,
    holds: bool = False,
) -> MissingRequirement:
    """Say how many there are, and lead to the walk, or to the record of one."""
    return MissingRequirement(
        what=f"{_count_noun(keys, 'check')} {words}",
        blocks=holds,
        where="checks:reading_history" if holds else "checks:measure",
        args=(standing.building.pk,),
        query=query,
        keys=keys,
    )


def _make_finding_requirement(
    standing: BuildingStatus, found: list[Finding], words: str, tab: str
) -> MissingRequirement:
    """Say how many there are; several lead to the tab of the queue that has them."""
    many, one = words.split("|")
    single = len(found) == 1
    return MissingRequirement(
        what=f"{_count_noun(found, 'finding')} {one if single else many}",
        blocks=True,
        where="checks:finding" if single else "checks:findings",
        args=(found[0].pk,) if single else (),
        query="" if single else f"state={tab}&building={standing.building.pk}",
        keys=tuple(finding.topic for finding in found),
    )


def _require_strength(standing: BuildingStatus) -> Iterable[MissingRequirement]:
    """Hold for the gate of 29 CFR 1926.752(a)(1): samples open it, decisions do not."""
    concrete = standing.result.get("concrete") or {}
    verdict = concrete.get("verdict", "unmeasured")
    if verdict == "within":
        return
    asked = standing.plan.concrete
    if asked.specified_strength is None and asked.sufficient_strength is None:
        yield MissingRequirement(
            what="no strength specified on the plan",
            blocks=True,
            where="jobs:plan",
            args=(standing.building.pk,),
            keys=("strength",),
        )
        if any(
            key.startswith(f"{CheckKind.STRENGTH}:")
            for key in standing.oldest_reading_at
        ):
            return
    yield MissingRequirement(
        what=STRENGTH_LABELS.get(verdict, _describe_missing_sample(concrete)),
        blocks=verdict != "unmeasured",
        where="checks:concrete",
        args=(standing.building.pk,),
        query="add=sample",
        keys=("strength",),
    )


def _describe_missing_sample(concrete: Mapping[str, Any]) -> str:
    """Say that no sample counts: none was tested, or why those tested do not."""
    if reason := concrete.get("reason"):
        return f"no field-cured sample that counts ({reason.rstrip('.')})"
    return "no field-cured sample tested"


def _require_release(
    standing: BuildingStatus, kind: Release.Kind
) -> Iterable[MissingRequirement]:
    if standing.signed_release(kind) is None:
        yield MissingRequirement(
            what=f"{kind.label} not signed",
            blocks=True,
            where="checks:releases",
            args=(standing.building.pk,),
            keys=(str(kind),),
        )


def _find_oldest(rows: Iterable[tuple[str, datetime]]) -> dict[str, datetime]:
    oldest: dict[str, datetime] = {}
    for key, taken_at in rows:
        oldest[key] = min(taken_at, oldest.get(key, taken_at))
    return oldest


def _count_noun(things: Iterable[object], noun: str) -> str:
    number = len(list(things))
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def find_last_reading_time(building: Building) -> datetime | None:
    """When the newest reading was taken."""
    newest = Reading.objects.filter(building=building).aggregate(at=Max("taken_at"))
    at: datetime | None = newest["at"]
    return at
