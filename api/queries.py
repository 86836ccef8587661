"""Reads for the interface, each in a constant number of queries."""

from collections import Counter
from collections.abc import Mapping
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from checks.engine import cautions
from checks.models import (
    ConcreteEntry,
    Decision,
    Evaluation,
    Finding,
    Photograph,
    Reading,
    Release,
)
from checks.queries.reading_history import match_position
from checks.queries.walk import SheetRow, build_walk, get_latest_evaluation
from core.models import Person
from jobs.anchor_plan.check_keys import CheckKind
from jobs.models import Building, Job, Membership, PlanRevision, Stage
from jobs.queries import prefetch_buildings

EXPECTED_MEMBERS = ("nominal", "deviation", "limit", "lower", "upper", "observed")
VERDICT_MEMBERS = (
    "observed",
    "deviation",
    "limit",
    "lower",
    "upper",
    "uncertainty",
    "probability",
    "close_to_limit",
    "reason",
    "reading_ids",
)


def list_buildings(person: Person) -> QuerySet[Building]:
    """Give the buildings this person may see, with job and stages."""
    stages = Prefetch("stages", Stage.objects.order_by("pk"))
    found = Building.objects.visible_to(person).select_related("job")
    return found.prefetch_related(stages).order_by("name", "pk")


def prefetch_job_details(jobs: QuerySet[Job], person: Person) -> QuerySet[Job]:
    """Give jobs with what is told of each, in three queries more."""
    mine = Prefetch("memberships", Membership.objects.of(person), to_attr="mine")
    return prefetch_buildings(jobs).prefetch_related(mine)


def summarize_building(building: Building) -> dict[str, Any]:
    """Say where a building stands after its latest evaluation."""
    evaluation = get_latest_evaluation(building)
    checks = evaluation.result["checks"] if evaluation else []
    return {
        "due": building.evaluation_due_since is not None,
        "evaluated_at": evaluation.made_at if evaluation else None,
        "evaluated_with": evaluation.made_with if evaluation else None,
        "required_checks": building.required_checks,
        "settled_checks": building.settled_checks,
        "open_findings": building.open_findings,
        "undecided_findings": building.undecided_findings,
        "verdicts": dict(Counter(row["verdict"] for row in checks)),
    }


def get_latest_verdicts(building: Building) -> dict[str, str]:
    """Give the latest verdict of each check; none while an evaluation is due."""
    if building.evaluation_due_since is not None:
        return {}
    evaluation = get_latest_evaluation(building)
    rows = evaluation.result["checks"] if evaluation else []
    return {row["check"]: row["verdict"] for row in rows}


def get_current_evaluation(
    building: Building, revision: PlanRevision
) -> Evaluation | None:
    """Give the newest evaluation of the plan in force."""
    found = Evaluation.objects.filter(building=building, revision=revision)
    return found.order_by("-pk").first()


def build_shim_plan(evaluation: Evaluation) -> dict[str, Any]:
    """Say where shims go and what to order, by one evaluation."""
    levels = evaluation.result.get("levels") or {}
    figures = ("height", "shim", "stack", "residual", "thread_left")
    return {
        "evaluated_at": evaluation.made_at,
        "pads": [
            {"mark": pad["mark"], "verdict": pad["verdict"]}
            | {name: pad.get(name) for name in figures}
            for pad in levels.get("pads") or []
        ],
        "pack_list": levels.get("pack_list") or [],
        "lower_pad": levels.get("lower_pad"),
        "cautions": [cautions.UNDER_PLATE, cautions.SCREENING],
    }


# ---- the sheet --------------------------------------------------------------


def build_check_sheet(building: Building, *, hidden: bool) -> list[dict[str, Any]]:
    """List every check in the order of the walk, with what is known of it.

    With `hidden`, a check without a reading tells nothing of what is expected.
    """
    return [
        _build_sheet_row(row, section.key, hidden=hidden and not row.current_readings)
        for section in build_walk(building)
        for row in section.rows
    ]


def _build_sheet_row(row: SheetRow, section: str, *, hidden: bool) -> dict[str, Any]:
    check, judged = row.check, row.result or {}
    told: dict[str, Any] = {
        "check": check.key,
        "kind": str(check.kind),
        "section": section,
        "words": row.label,
        "mark": check.mark,
        "rods": list(check.rods),
        "corners": list(check.corners),
        "name": check.name,
        "axis": check.axis,
        "required": check.required,
        "stage": check.stage,
        "unit": "MPa" if check.kind is CheckKind.STRENGTH else "mm",
        "nominal": check.nominal,
        "verdict": row.verdict,
        "readings": len(row.current_readings),
        "measure_again": row.outdated.client_id if row.outdated else None,
        **{name: judged.get(name) for name in VERDICT_MEMBERS},
    }
    if hidden:
        told |= dict.fromkeys(EXPECTED_MEMBERS)
    return told


# ---- readings ---------------------------------------------------------------


def filter_readings(building: Building, wanted: Mapping[str, Any]) -> QuerySet[Reading]:
    """Give a building's readings in the order they were recorded."""
    found = Reading.objects.filter(building=building)
    if check := wanted.get("check"):
        found = found.filter(check_key=check)
    if mark := wanted.get("mark"):
        found = found.filter(match_position(mark))
    if since := wanted.get("since"):
        found = found.filter(recorded_at__gte=since)
    if wanted.get("standing"):
        found = found.current()
    return found.select_related(
        "recorded_by", "supersedes", "replaced_by", "revision"
    ).defer("revision__document")


def filter_concrete_entries(
    building: Building, wanted: Mapping[str, Any]
) -> QuerySet[ConcreteEntry]:
    """Give what became known of a building's concrete, in the order recorded."""
    found = ConcreteEntry.objects.filter(building=building)
    if kind := wanted.get("kind"):
        found = found.filter(kind=kind)
    if since := wanted.get("since"):
        found = found.filter(recorded_at__gte=since)
    if wanted.get("standing"):
        found = found.current()
    return found.select_related("recorded_by", "supersedes", "replaced_by")


def filter_photographs(
    building: Building, wanted: Mapping[str, Any]
) -> QuerySet[Photograph]:
    """Give a building's photographs in the order they were recorded."""
    found = Photograph.objects.filter(building=building)
    if check := wanted.get("check"):
        found = found.filter(check_key=check)
    if mark := wanted.get("mark"):
        found = found.filter(match_position(mark))
    if (finding := wanted.get("finding")) is not None:
        work = Q(work_report__decision__finding=finding)
        found = found.filter(Q(finding=finding) | work)
    if since := wanted.get("since"):
        found = found.filter(recorded_at__gte=since)
    return found.select_related("recorded_by", "reading", "work_report")


# ---- findings and releases --------------------------------------------------


def filter_findings(person: Person, wanted: Mapping[str, Any]) -> QuerySet[Finding]:
    """Give the findings this person may see."""
    found = Finding.objects.visible_to(person).select_related("building")
    if wanted.get("undecided"):
        found = found.undecided()
    if state := wanted.get("state"):
        found = found.filter(state=state)
    if (building := wanted.get("building")) is not None:
        found = found.filter(building=building)
    if (job := wanted.get("job")) is not None:
        found = found.filter(building__job=job)
    return found


def prefetch_history(findings: QuerySet[Finding]) -> QuerySet[Finding]:
    """Give findings with their events and decisions."""
    taken = Photograph.objects.select_related("recorded_by", "work_report")
    decisions = (
        Decision.objects.select_related("engineer", "work_report__person")
        .prefetch_related(Prefetch("work_report__photographs", taken.order_by("pk")))
        .order_by("pk")
    )
    return findings.prefetch_related("events__person", Prefetch("decisions", decisions))


def list_releases(person: Person) -> QuerySet[Release]:
    """Give the releases this person may see."""
    seen = Building.objects.visible_to(person)
    found = Release.objects.filter(building__in=seen)
    return found.select_related("revision", "signed_by").defer("revision__document")
