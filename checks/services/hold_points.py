"""What still stands between a building and each of its releases."""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max
from django.urls import reverse

from checks.models import Evaluation, Finding, Reading, Release
from checks.wording import KEYS, key_words, topic_words
from jobs.models import Building, PlanRevision
from jobs.plan.model import Plan
from jobs.plan.sheet import Check, Kind, check_sheet
from jobs.plans import plan_of

SHIPPED_KINDS = ("foundation", "verification")
GATE_WORDS = {
    "outside": "strength not met",
    "remeasure": "companion cylinders disagree: strength to be looked at again",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Missing:
    """One thing a release waits for, and where it is put right.

    Attributes
    ----------
    what : in a few words, "6 checks not measured".
    holds : whether somebody must decide or wait, rather than go on measuring.
    where : name of the page's address, with `args` and `query`.
    keys : the checks or findings meant.
    """

    what: str
    holds: bool = False
    where: str = ""
    args: tuple[int, ...] = ()
    query: str = ""
    keys: tuple[str, ...] = ()

    @property
    def names(self) -> list[str]:
        """The checks or findings in words."""
        return [
            key_words(key) if key.partition(":")[0] in KEYS else topic_words(key)
            for key in self.keys
        ]

    @property
    def url(self) -> str:
        """The address of the page where it is put right."""
        if not self.where:
            return ""
        return reverse(self.where, args=self.args) + (self.query and f"?{self.query}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """Where a building stands: all that its hold points are judged by."""

    building: Building
    revision: PlanRevision
    plan: Plan
    evaluation: Evaluation | None
    findings: tuple[Finding, ...]  # open ones
    releases: tuple[Release, ...]
    verdicts: Mapping[str, str]  # of every check that has one, by key
    oldest: Mapping[str, datetime]  # when the oldest standing reading was taken

    @property
    def result(self) -> Mapping[str, Any]:
        """The latest result; empty while nothing was evaluated."""
        return self.evaluation.result if self.evaluation else {}

    def signed(self, kind: str) -> Release | None:
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

    def required(self, *stages: str) -> list[Check]:
        """Every check these stages ask for, in walk order."""
        return [
            check
            for check in check_sheet(self.plan)
            if check.required and check.stage in stages
        ]


def standing_of(building: Building, evaluation: Evaluation | None = None) -> Standing:
    """Gather where a building stands, by its latest evaluation unless one is given."""
    revision = building.current_revision()
    if evaluation is None:
        evaluation = (
            Evaluation.objects.filter(building=building).order_by("-pk").first()
        )
    oldest = Reading.objects.filter(building=building).standing()
    rows = evaluation.result["checks"] if evaluation else []
    return Standing(
        building=building,
        revision=revision,
        plan=plan_of(revision),
        evaluation=evaluation,
        findings=tuple(Finding.objects.filter(building=building).open()),
        releases=tuple(
            Release.objects.filter(building=building)
            .select_related("signed_by")
            .defer("record")
            .order_by("pk")
        ),
        verdicts={row["check"]: row["verdict"] for row in rows},
        oldest=_oldest(oldest.values_list("check_key", "taken_at")),
    )


def hold_points(building: Building, kind: str) -> list[Missing]:
    """List what a release of this kind still waits for; empty when it can be signed."""
    return missing_for(standing_of(building), kind)


@dataclass(frozen=True, slots=True, kw_only=True)
class Gate:
    """One release of a building: signed, or what it waits for."""

    kind: str
    label: str
    release: Release | None
    missing: tuple[Missing, ...]


def gates(building: Building) -> list[Gate]:
    """List a building's releases in their order, with what each waits for."""
    standing = standing_of(building)
    return [
        Gate(
            kind=kind,
            label=kind.label,
            release=(signed := standing.signed(kind)),
            missing=() if signed else tuple(missing_for(standing, kind)),
        )
        for kind in Release.Kind
    ]


def missing_for(standing: Standing, kind: str) -> list[Missing]:
    """List what is missing, given where the building stands."""
    gates: dict[str, Callable[[Standing], Iterable[Missing]]] = {
        Release.Kind.POUR: _pour,
        Release.Kind.SHIP: _ship,
        Release.Kind.ERECT: _erect,
        Release.Kind.COMPLETION: _completion,
    }
    return [*_evaluated(standing), *gates[kind](standing)]


def _pour(standing: Standing) -> Iterable[Missing]:
    """Outline, lines and rods measured, and nothing undecided."""
    yield from _unmeasured(standing, "foundation")
    yield from _disagreeing(standing)
    yield from _undecided(standing)


def _ship(standing: Standing) -> Iterable[Missing]:
    """Every required check measured as built, every finding decided, none flagged."""
    yield from _unmeasured(standing, *SHIPPED_KINDS)
    yield from _before_the_pour(standing)
    yield from _disagreeing(standing)
    yield from _undecided(standing)


def _erect(standing: Standing) -> Iterable[Missing]:
    """Steel released, strength gate met, every decision carried out and settled."""
    yield from _unsigned(standing, Release.Kind.SHIP)
    yield from _strength(standing)
    yield from _undecided(standing)
    yield from _unsettled(standing)


def _completion(standing: Standing) -> Iterable[Missing]:
    """Columns allowed to be set, plumb measured and within, nothing left open."""
    yield from _unsigned(standing, Release.Kind.ERECT)
    yield from _unmeasured(standing, "erection")
    leaning = tuple(
        check.key
        for check in standing.required("erection")
        if standing.verdicts.get(check.key) in ("outside", "remeasure")
    )
    if leaning:
        words, query = "of the erection not within", f"check={leaning[0]}"
        yield _of_checks(standing, leaning, words, query, holds=True)
    yield from _undecided(standing)
    yield from _unsettled(standing)


def _evaluated(standing: Standing) -> Iterable[Missing]:
    if standing.building.evaluation_due_since or standing.evaluation is None:
        yield Missing(
            what="readings or a plan revision not evaluated yet",
            where="building",
            args=(standing.building.pk,),
        )


def _unmeasured(standing: Standing, *stages: str) -> Iterable[Missing]:
    verdicts = standing.verdicts
    keys = tuple(
        check.key
        for check in standing.required(*stages)
        if verdicts.get(check.key, "unmeasured") == "unmeasured"
    )
    if keys:
        yield _of_checks(standing, keys, "not measured", "show=unmeasured")


def _disagreeing(standing: Standing) -> Iterable[Missing]:
    """Repeats that disagree settle nothing, whether a finding says so or not."""
    in_finding = {key for finding in standing.findings for key in finding.checks}
    keys = tuple(
        check.key
        for check in standing.required(*SHIPPED_KINDS)
        if standing.verdicts.get(check.key) == "remeasure"
        and check.key not in in_finding
    )
    if keys:
        yield _of_checks(standing, keys, "to be measured again", "show=again")


def _before_the_pour(standing: Standing) -> Iterable[Missing]:
    """Ask for the dimensions as built: rods move while concrete is placed."""
    pour = standing.signed(Release.Kind.POUR)
    if pour is None:
        return
    keys = tuple(
        check.key
        for check in standing.required("foundation")
        if check.key in standing.oldest and standing.oldest[check.key] <= pour.signed_at
    )
    if keys:
        yield _of_checks(
            standing, keys, "not measured again since the pour", "show=again"
        )


def _undecided(standing: Standing) -> Iterable[Missing]:
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
            yield _of_findings(standing, found, words, tab)


def _unsettled(standing: Standing) -> Iterable[Missing]:
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
            yield _of_findings(standing, found, words, "field")


def _of_checks(
    standing: Standing,
    keys: tuple[str, ...],
    words: str,
    query: str,
    *,
    holds: bool = False,
) -> Missing:
    """Say how many there are, and lead to the walk, or to the record of one."""
    return Missing(
        what=f"{_count(keys, 'check')} {words}",
        holds=holds,
        where="checks:record" if holds else "checks:measure",
        args=(standing.building.pk,),
        query=query,
        keys=keys,
    )


def _of_findings(
    standing: Standing, found: list[Finding], words: str, tab: str
) -> Missing:
    """Say how many there are; several lead to the tab of the queue that has them."""
    many, one = words.split("|")
    single = len(found) == 1
    return Missing(
        what=f"{_count(found, 'finding')} {one if single else many}",
        holds=True,
        where="checks:finding" if single else "checks:findings",
        args=(found[0].pk,) if single else (),
        query="" if single else f"state={tab}&building={standing.building.pk}",
        keys=tuple(finding.topic for finding in found),
    )


def _strength(standing: Standing) -> Iterable[Missing]:
    """Hold for the gate of 29 CFR 1926.752(a)(1): samples open it, decisions do not."""
    concrete = standing.result.get("concrete") or {}
    verdict = concrete.get("verdict", "unmeasured")
    if verdict == "within":
        return
    asked = standing.plan.concrete
    if asked.specified_strength is None and asked.sufficient_strength is None:
        yield Missing(
            what="no strength specified on the plan",
            holds=True,
            where="jobs:plan",
            args=(standing.building.pk,),
            keys=("strength",),
        )
        if any(key.startswith(f"{Kind.STRENGTH}:") for key in standing.oldest):
            return
    yield Missing(
        what=GATE_WORDS.get(verdict, _without_sample(concrete)),
        holds=verdict != "unmeasured",
        where="checks:concrete",
        args=(standing.building.pk,),
        query="add=sample",
        keys=("strength",),
    )


def _without_sample(concrete: Mapping[str, Any]) -> str:
    """Say that no sample counts: none was tested, or why those tested do not."""
    if reason := concrete.get("reason"):
        return f"no field-cured sample that counts ({reason.rstrip('.')})"
    return "no field-cured sample tested"


def _unsigned(standing: Standing, kind: Release.Kind) -> Iterable[Missing]:
    if standing.signed(kind) is None:
        yield Missing(
            what=f"{kind.label} not signed",
            holds=True,
            where="checks:releases",
            args=(standing.building.pk,),
            keys=(str(kind),),
        )


def _oldest(rows: Iterable[tuple[str, datetime]]) -> dict[str, datetime]:
    oldest: dict[str, datetime] = {}
    for key, taken_at in rows:
        oldest[key] = min(taken_at, oldest.get(key, taken_at))
    return oldest


def _count(things: Iterable[object], noun: str) -> str:
    number = len(list(things))
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"


def last_reading_at(building: Building) -> datetime | None:
    """When the newest reading was taken."""
    newest = Reading.objects.filter(building=building).aggregate(at=Max("taken_at"))
    at: datetime | None = newest["at"]
    return at
