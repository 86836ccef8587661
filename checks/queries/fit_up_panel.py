"""The fit-up of a building for its page: conclusion, worst bay, plates to open."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import timedelta
from fractions import Fraction
from typing import Literal

from django.utils.timezone import now

from checks.drawings.fit_up import find_worst_element
from checks.evaluation.finding_topics import TopicKind
from checks.evaluation.fit_up import LeftOutReason
from checks.labels import describe_topic
from checks.models import Evaluation, EvaluationSupplement
from checks.queries.evaluated_plan import EvaluatedPlan
from core.formatting import format_count, format_percent, format_probability
from core.vocabulary import FitUpConclusion, Verdict
from jobs.exchange.result.findings import OpenedPlateResult
from jobs.exchange.result.fit_up import (
    FitUpLeftOutResult,
    FitUpResult,
    GridMoveResult,
)

ProbabilityState = Literal["computed", "pending", "late", "failed"]

LATE_AFTER = timedelta(minutes=10)
"""A probability that is not there after this long waits for a worker to be started."""

MIN_SHOWN_MOVE_MM = 25.4 / 64
"""A smaller movement of the steel is none: no crew sets columns closer."""

MAX_LISTED_MARKS = 6
MAX_DECIDING = 3
LARGEST_DENOMINATOR = 10
EDGE = 0.05  # nearer to certain than this, a share of ten or less says nothing

NEVER_SURE = 1e-9

LEFT_OUT_LABELS = {
    "no_plate": "no plate on the plan",
    "line_not_measured": "reference line not measured",
    "rod_not_determined": "a rod not determined",
    "contradicted": "readings contradict each other",
}
CONCLUSION_VERDICTS = {
    FitUpConclusion.GOES_TOGETHER: Verdict.WITHIN,
    FitUpConclusion.DOES_NOT: Verdict.OUTSIDE,
    FitUpConclusion.NOT_SETTLED: Verdict.REMEASURE,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class FitUpPanel:
    """The fit-up as its page shows it. Lengths in mm.

    Attributes
    ----------
    verdict : whose shape and colour the conclusion has.
    label, sentence : the conclusion in a word and in a sentence.
    misfit : radius that the worst holes lack; less than zero is slack.
    worst, missing : the worst bay or frame, empty where every one keeps its length,
        and the length it lacks, None where no length would do.
    worst_misfit : radius that its own holes lack on each side.
    open : plates whose opening would do, the largest opening first.
    grid : least movement of the whole steel; None where it need not move.
    state : of the probability; late where no worker seems to run.
    probability, bound : as text; empty where not computed.
    deciding : positions that decide it, with their share.
    alone : plates that do not go on even by themselves; each has a finding of its own.
    explained_by : findings that the misfit follows from.
    left_out : positions that are not in it, by reason.
    """

    verdict: Verdict
    label: str
    sentence: str
    misfit: float
    worst: str
    worst_misfit: float | None
    missing: float | None
    open: list[OpenedPlateResult]
    grid: GridMoveResult | None
    state: ProbabilityState
    probability: str
    bound: str
    deciding: str
    alone: list[str]
    explained_by: list[str]
    left_out: list[str]

    @property
    def slack(self) -> float:
        """Amount that the tightest hole has to spare. [mm]"""
        return max(-self.misfit, 0.0)


def build_fit_up_panel(evaluated: EvaluatedPlan) -> FitUpPanel | None:
    """Build the panel; None where no position takes part in the fit-up yet."""
    result, evaluation = evaluated.result, evaluated.evaluation
    fit_up = result.get("fit_up") if result else None
    if not result or not fit_up or evaluation is None:
        return None
    worst = find_worst_element(fit_up)
    probability, bound = fit_up["probability"], fit_up["probability_bound"]
    verdict, label, sentence = _describe_conclusion(fit_up)
    return FitUpPanel(
        verdict=verdict,
        label=label,
        sentence=sentence,
        misfit=fit_up["misfit"],
        worst=f"{worst[0].capitalize()} {' to '.join(worst[1]['marks'])}"
        if worst
        else "",
        worst_misfit=worst[1]["misfit"] if worst else None,
        missing=worst[1]["missing_length"] if worst else None,
        open=fit_up["open"],
        grid=fit_up["grid"] if fit_up["grid"]["least"] > MIN_SHOWN_MOVE_MM else None,
        state=_get_state(evaluation, fit_up),
        probability="" if probability is None else describe_chance(probability),
        bound="" if bound is None else describe_chance(bound),
        deciding=", ".join(
            f"{each['mark']} ({format_percent(each['share'])})"
            for each in fit_up["worst"][:MAX_DECIDING]
        ),
        alone=_list_alone(evaluated, fit_up),
        explained_by=[
            describe_topic(row["finding"])
            for row in result["findings"]
            if TopicKind.FIT_UP in row.get("consequences", ())
        ],
        left_out=_list_left_out(fit_up["not_included"]),
    )


def describe_chance(probability: float) -> str:
    """Describe a probability: about 3 in 4 (76.2%); near certainty in percent only."""
    # Drawn, not certain: none of some thousand draws is no proof.
    percent = format_probability(min(max(probability, NEVER_SURE), 1.0 - NEVER_SURE))
    if not EDGE <= probability <= 1.0 - EDGE:
        return percent
    share = Fraction(probability).limit_denominator(LARGEST_DENOMINATOR)
    return f"about {share.numerator} in {share.denominator} ({percent})"


def _describe_conclusion(fit_up: FitUpResult) -> tuple[Verdict, str, str]:
    """Return verdict, word and sentence; as measured while there is no probability."""
    together = fit_up["goes_together_as_read"]
    conclusion = fit_up["conclusion"]
    if together and _count_unmeasured(fit_up):
        return Verdict.UNMEASURED, "Not settled", _describe_so_far(fit_up)
    if conclusion is None:
        verdict = Verdict.WITHIN if together else Verdict.OUTSIDE
        label = "Goes together" if together else "Does not go together"
        return verdict, f"{label} as measured", _describe_as_read(together=together)
    word = FitUpConclusion(conclusion)
    sentence = _describe_as_read(together=together)
    if word is FitUpConclusion.NOT_SETTLED and together:
        sentence = (
            "As measured it goes together, but what the readings leave open can still"
            " keep it from doing so. Measure again what decides it."
        )
    elif word is FitUpConclusion.NOT_SETTLED:
        sentence = (
            "As measured it does not go together, but it may all the same: what the"
            " readings leave open is enough. Measure again before anything is cut."
        )
    return CONCLUSION_VERDICTS[word], word.label, sentence


def _count_unmeasured(fit_up: FitUpResult) -> int:
    return sum(
        each["reason"] != LeftOutReason.NO_PLATE for each in fit_up["not_included"]
    )


def _describe_so_far(fit_up: FitUpResult) -> str:
    unmeasured = _count_unmeasured(fit_up)
    others = "The other is" if unmeasured == 1 else f"The other {unmeasured} are"
    return (
        f"{format_count(len(fit_up['plates']), 'column')} measured so far can stand"
        f" together as measured. {others} still to be measured."
    )


def _describe_as_read(*, together: bool) -> str:
    if together:
        return (
            "As measured, every column can stand on its lines and every bay and frame"
            " keeps its length."
        )
    return (
        "As measured, not every column can stand on its lines with every bay and frame"
        " at its length."
    )


def _get_state(evaluation: Evaluation, fit_up: FitUpResult) -> ProbabilityState:
    if fit_up["probability"] is not None:
        return "computed"
    if getattr(evaluation, "supplement", None) is not None:
        return "failed"
    since = now() - LATE_AFTER
    if evaluation.made_at > since:
        return "pending"
    # Older ones wait, too, while a worker is busy with others.
    working = EvaluationSupplement.objects.filter(made_at__gt=since).exists()
    return "pending" if working else "late"


def _list_alone(evaluated: EvaluatedPlan, fit_up: FitUpResult) -> list[str]:
    placed = {each["mark"] for each in fit_up["plates"]}
    left_out = {each["mark"] for each in fit_up["not_included"]}
    marks = [position.mark for position in evaluated.plan.positions]
    return [mark for mark in marks if mark not in placed | left_out]


def _list_left_out(rows: Iterable[FitUpLeftOutResult]) -> list[str]:
    """List the reasons with their positions; of many the rest is counted."""
    by_reason: dict[str, list[str]] = {}
    for row in rows:
        by_reason.setdefault(row["reason"], []).append(row["mark"])
    listed = []
    for reason, marks in by_reason.items():
        more = len(marks) - MAX_LISTED_MARKS
        names = ", ".join(marks[:MAX_LISTED_MARKS])
        names += f" and {more} more" if more > 0 else ""
        listed.append(f"{names}: {LEFT_OUT_LABELS.get(reason, reason)}")
    return listed
