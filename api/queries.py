"""Reads of the API, each with a constant number of queries."""

from collections import Counter
from collections.abc import Mapping
from typing import Any

from django.db.models import Prefetch, Q, QuerySet

from checks.engine import cautions
from checks.evaluation.plan_review import review_plan
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
from jobs.plans.plan_cache import load_plan
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
    """Return the buildings this person may see, with job and stages."""
    stages = Prefetch("stages", Stage.objects.order_by("pk"))
    rows = Building.objects.visible_to(person).select_related("job")
    return rows.prefetch_related(stages).order_by("name", "pk")


def prefetch_job_details(jobs: QuerySet[Job], person: Person) -> QuerySet[Job]:
    """Prefetch the buildings of jobs and the person's roles: three queries more."""
    mine = Prefetch("memberships", Membership.objects.of(person), to_attr="mine")
    return prefetch_buildings(jobs).prefetch_related(mine)


def summarize_building(
    building: Building, evaluation: Evaluation | None = None
) -> dict[str, Any]:
    """Summarise a building after its latest evaluation, where that is loaded already.

    Else the evaluation is loaded here.
    """
    evaluation = evaluation or get_latest_evaluation(building)
    checks = evaluation.result["checks"] if evaluation else []
    return {
        "id": evaluation.pk if evaluation else None,
        "due": building.evaluation_due_since is not None,
        "evaluated_at": evaluation.made_at if evaluation else None,
        "evaluated_with": evaluation.made_with if evaluation else None,
        "required_checks": building.required_checks,
        "settled_checks": building.settled_checks,
        "open_findings": building.open_findings,
        "undecided_findings": building.undecided_findings,
        "verdicts": dict(Counter(row["verdict"] for row in checks)),
    }


def list_verdicts(evaluation: Evaluation | None) -> dict[str, str]:
    """Return the verdict of each check; empty without an evaluation."""
    rows = evaluation.result["checks"] if evaluation else []
    return {row["check"]: row["verdict"] for row in rows}


def get_current_evaluation(
    building: Building, revision: PlanRevision
) -> Evaluation | None:
    """Return the latest evaluation of a revision."""
    rows = Evaluation.objects.filter(building=building, revision=revision)
    return rows.select_related("supplement").order_by("-pk").first()


def build_shim_plan(evaluation: Evaluation) -> dict[str, Any]:
    """Return the shims by position and the pack list of an evaluation."""
    levels = evaluation.result.get("levels") or {}
    members = ("height", "shim", "stack", "residual", "thread_left")
    return {
        "evaluated_at": evaluation.made_at,
        "pads": [
            {"mark": pad["mark"], "verdict": pad["verdict"]}
            | {name: pad.get(name) for name in members}
            for pad in levels.get("pads") or []
        ],
        "pack_list": levels.get("pack_list") or [],
        "lower_pad": levels.get("lower_pad"),
        "cautions": [cautions.UNDER_PLATE, cautions.SCREENING],
    }


# ---- the sheet --------------------------------------------------------------


def list_sheet_rows(building: Building, *, hidden: bool) -> list[dict[str, Any]]:
    """List every check in the order of the walk, with its result.

    With `hidden`, a check without a reading shows nothing that tells its nominal: the
    crew must not read what it expects.
    """
    return [
        _build_sheet_row(row, section.key, hidden=hidden and not row.reading_count)
        for section in build_walk(building)
        for row in section.rows
    ]


def _build_sheet_row(row: SheetRow, section: str, *, hidden: bool) -> dict[str, Any]:
    check = row.check
    result: Mapping[str, object] = row.result or {}
    members: dict[str, Any] = {
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
        "readings": row.reading_count,
        "measure_again": row.outdated_id or None,
        **{name: result.get(name) for name in VERDICT_MEMBERS},
    }
    if hidden:
        members |= dict.fromkeys(EXPECTED_MEMBERS)
    return members


# ---- readings ---------------------------------------------------------------


def filter_readings(building: Building, query: Mapping[str, Any]) -> QuerySet[Reading]:
    """Return a building's readings by the query parameters."""
    rows = Reading.objects.filter(building=building)
    if check := query.get("check"):
        rows = rows.filter(check_key=check)
    if mark := query.get("mark"):
        rows = rows.filter(match_position(mark))
    if since := query.get("since"):
        rows = rows.filter(recorded_at__gte=since)
    if query.get("standing"):
        rows = rows.current()
    return rows.select_related(
        "recorded_by", "supersedes", "replaced_by", "revision", "withdrawal"
    ).defer("revision__document")


def filter_concrete_entries(
    building: Building, query: Mapping[str, Any]
) -> QuerySet[ConcreteEntry]:
    """Return a building's concrete entries by the query parameters."""
    rows = ConcreteEntry.objects.filter(building=building)
    if kind := query.get("kind"):
        rows = rows.filter(kind=kind)
    if since := query.get("since"):
        rows = rows.filter(recorded_at__gte=since)
    if query.get("standing"):
        rows = rows.current()
    return rows.select_related("recorded_by", "supersedes", "replaced_by")


def filter_photographs(
    building: Building, query: Mapping[str, Any]
) -> QuerySet[Photograph]:
    """Return a building's photographs by the query parameters."""
    rows = Photograph.objects.filter(building=building)
    if check := query.get("check"):
        rows = rows.filter(check_key=check)
    if mark := query.get("mark"):
        rows = rows.filter(match_position(mark))
    if (finding := query.get("finding")) is not None:
        work = Q(work_report__decision__finding=finding)
        rows = rows.filter(Q(finding=finding) | work)
    if since := query.get("since"):
        rows = rows.filter(recorded_at__gte=since)
    return rows.select_related("recorded_by", "reading", "work_report")


# ---- findings and releases --------------------------------------------------


def filter_findings(person: Person, query: Mapping[str, Any]) -> QuerySet[Finding]:
    """Return the findings this person may see, by the query parameters."""
    rows = Finding.objects.visible_to(person).select_related("building")
    if query.get("undecided"):
        rows = rows.undecided()
    if state := query.get("state"):
        rows = rows.filter(state=state)
    if (building := query.get("building")) is not None:
        rows = rows.filter(building=building)
    if (job := query.get("job")) is not None:
        rows = rows.filter(building__job=job)
    return rows


def prefetch_history(findings: QuerySet[Finding]) -> QuerySet[Finding]:
    """Prefetch the events, decisions and photographs of findings."""
    photographs = Photograph.objects.select_related("recorded_by", "work_report")
    decisions = (
        Decision.objects.select_related("engineer", "work_report__person")
        .prefetch_related(
            Prefetch("work_report__photographs", photographs.order_by("pk"))
        )
        .order_by("pk")
    )
    return findings.prefetch_related("events__person", Prefetch("decisions", decisions))


def list_releases(person: Person) -> QuerySet[Release]:
    """Return the releases this person may see."""
    visible = Building.objects.visible_to(person)
    rows = Release.objects.filter(building__in=visible)
    return rows.select_related("revision", "signed_by").defer("revision__document")


def list_plan_warnings(building: Building) -> list[dict[str, str]]:
    """List the doubts about the plan in force, each with its place in the document."""
    plan = load_plan(building.current_revision())
    return [
        {"pointer": each.pointer, "message": each.message} for each in review_plan(plan)
    ]
