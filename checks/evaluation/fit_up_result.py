"""The `fit_up` object of the result document."""

import numpy as np

from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.fit_up import FitUp, FitUpElement
from checks.evaluation.fit_up_finding import list_openings
from checks.evaluation.fit_up_probability import bound_probability
from checks.evaluation.json_values import to_json_number
from jobs.exchange.result.fit_up import FitUpElementResult, FitUpResult

MIN_LISTED_SHARE = 0.01
MAX_LISTED_POSITIONS = 8


def fit_up_result(evaluation: BuildingEvaluation) -> FitUpResult | None:
    """Return the `fit_up` object; None where there is no fit-up.

    Its probability and conclusion are null: they are computed apart from it, by
    `fit_up_probability`, with a closer bound.
    """
    fit_up = evaluation.fit_up
    if fit_up is None:
        return None
    marks = [position.mark for position in evaluation.plan.positions]
    grid = fit_up.placed.grid
    size = np.linalg.norm(grid * np.array([1.0, 1.0, fit_up.problem.reach]))
    return {
        "misfit": fit_up.best.misfit,
        "slack": max(-fit_up.best.misfit, 0.0),
        "goes_together_as_read": fit_up.goes_together,
        "grid": {
            "x": float(grid[0]),
            "y": float(grid[1]),
            "turn": float(grid[2]),
            "least": float(size),
        },
        "probability": None,
        "probability_bound": bound_probability(evaluation, fit_up),
        "conclusion": None,
        "worst": [
            {"mark": marks[fit_up.positions[i]], "share": float(fit_up.best.share[i])}
            for i in np.argsort(-fit_up.best.share, kind="stable")[
                :MAX_LISTED_POSITIONS
            ]
            if fit_up.best.share[i] >= MIN_LISTED_SHARE
        ],
        "bays": _element_results(fit_up, marks, is_bay=True),
        "frames": _element_results(fit_up, marks, is_bay=False),
        "open": [
            {"mark": each.mark, "hole": each.hole, "exact": each.exact}
            for each in list_openings(evaluation, fit_up, fit_up.opening)
        ],
        "plates": [
            {
                "mark": marks[position],
                "shift_along": float(fit_up.placed.shift[i, 0]),
                "shift_in": float(fit_up.placed.shift[i, 1]),
                "turn": float(fit_up.placed.turn[i]),
            }
            for i, position in enumerate(fit_up.positions)
            if fit_up.own_misfit[i] == 0.0
        ],
        "not_included": [
            {"mark": marks[position], "reason": reason.value}
            for position, reason in fit_up.left_out
        ],
    }


def _element_results(
    fit_up: FitUp, marks: list[str], *, is_bay: bool
) -> list[FitUpElementResult]:
    def as_result(element: FitUpElement) -> FitUpElementResult:
        return {
            "marks": [marks[element.first], marks[element.second]],
            "misfit": element.misfit,
            "missing_length": to_json_number(element.missing_length),
        }

    return [as_result(each) for each in fit_up.elements if each.is_bay is is_bay]
