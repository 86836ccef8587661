"""A building's plan in force with its latest result."""

from dataclasses import dataclass

from checks.drawings.result_view import ResultView
from checks.models import Evaluation
from core.models import Person
from core.vocabulary import Verdict
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.document import ResultDocument
from jobs.exchange.result.levels import LevelsResult
from jobs.models import Building, PlanRevision
from jobs.plans.plan_cache import load_plan


@dataclass(frozen=True, kw_only=True)
class EvaluatedPlan:
    """A building, its plan in force, and the latest result on that plan.

    Attributes
    ----------
    evaluation : Evaluation or None
        The latest of the plan in force.
    results : ResultView
        Look-ups in its result; empty while nothing has been measured.
    """

    building: Building
    revision: PlanRevision
    plan: Plan
    evaluation: Evaluation | None
    results: ResultView

    @property
    def result(self) -> ResultDocument | None:
        """The result document; None where nothing has been measured."""
        return self.results.result

    @property
    def levels(self) -> LevelsResult | None:
        """The levels; None where no level was read."""
        return self.results.levels


def get_evaluated_plan(person: Person, pk: int) -> EvaluatedPlan | None:
    """Load a building with plan and result; None where this person cannot see it."""
    building = (
        Building.objects.visible_to(person).select_related("job").filter(pk=pk).first()
    )
    return None if building is None else load_evaluated_plan(building)


def load_evaluated_plan(building: Building) -> EvaluatedPlan:
    """Load the plan in force and its latest result."""
    revision = building.current_revision()
    # A result of an earlier plan may have checks that this plan does not have.
    evaluation = (
        Evaluation.objects.filter(building=building, revision=revision)
        .select_related("supplement")
        .order_by("-pk")
        .first()
    )
    # Every plan is evaluated when it is issued, before anything is measured.
    measured = evaluation is not None and any(
        check["verdict"] != Verdict.UNMEASURED for check in evaluation.result["checks"]
    )
    return EvaluatedPlan(
        building=building,
        revision=revision,
        plan=load_plan(revision),
        evaluation=evaluation,
        results=ResultView(
            evaluation.complete_result if evaluation and measured else None
        ),
    )
