"""Findings on the plan itself: what no measurement makes right."""

from collections.abc import Iterator, Sequence

from checks.engine import cautions
from checks.engine.remedies.remedy import Advice, Remedy
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.computed_findings import ComputedFinding
from checks.evaluation.finding_topics import FindingTopic, TopicKind
from checks.evaluation.plan_review import DoubtKind, PlanWarning
from core.vocabulary import Approval, RemedyKind

MAX_LISTED_DOUBTS = 3
"""Doubts about one subject that a reason lists; the rest is counted."""

RODS_DOUBTED = frozenset({DoubtKind.THREADS, DoubtKind.HOLE, DoubtKind.EDGE})
"""Doubts that somebody on site may want to cure at the rod or its plate."""

REVISE_PLAN = "Revise the plan, or accept it in writing."


def find_plan_findings(evaluation: BuildingEvaluation) -> Iterator[ComputedFinding]:
    """Yield one finding for each detail, position or group of marks that is doubted.

    A detail that no position uses has its warning, and no finding: nothing is built
    from it.
    """
    plan = evaluation.plan
    unused = set(plan.details) - {position.detail for position in plan.positions}
    by_subject: dict[str, list[PlanWarning]] = {}
    for warning in evaluation.plan_warnings:
        if not (warning.pointer.startswith("/details/") and warning.subject in unused):
            by_subject.setdefault(warning.subject, []).append(warning)
    for subject, warnings in by_subject.items():
        yield ComputedFinding(
            topic=FindingTopic.for_subject(TopicKind.PLAN, subject),
            checks=(),
            cause=None,
            advice=Advice(remedies=(_refer_plan(warnings),)),
        )


def _refer_plan(warnings: Sequence[PlanWarning]) -> Remedy:
    """Refer the doubts about one subject to the engineer."""
    listed = [warning.message for warning in warnings[:MAX_LISTED_DOUBTS]]
    more = len(warnings) - len(listed)
    if more:
        listed.append(f"And {more} more.")
    rods = any(warning.kind in RODS_DOUBTED for warning in warnings)
    return Remedy(
        kind=RemedyKind.REFER,
        approval=Approval.ENGINEER,
        reason=" ".join([*listed, REVISE_PLAN]),
        cautions=(cautions.SCREENING, cautions.RODS) if rods else (cautions.SCREENING,),
        quantities={
            "plan_doubts": [
                {
                    "kind": warning.kind.value,
                    "place": warning.place,
                    "amount": warning.amount,
                }
                for warning in warnings
            ]
        },
    )
