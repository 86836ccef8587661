"""The supplement of a result: members that take too long to compute inline.

The probability of fit-up takes up to a few seconds. It is computed apart from the
result, from the same input, and merged into it wherever it is given out
(`jobs.exchange.result.supplement`).
"""

from checks.evaluation.evaluate import compute_evaluation
from checks.evaluation.fit_up_probability import compute_fit_up_probability
from jobs.anchor_plan.values import BuildingInput
from jobs.exchange.result.supplement import Supplement

SEED_DIGITS = 16
"""Hexadecimal digits of the input's digest that seed the draws."""


def compute_supplement(building: BuildingInput, input_digest: str) -> Supplement:
    """Compute the members of a result that `evaluate` leaves out.

    Parameters
    ----------
    building : the plan and its readings.
    input_digest : SHA-256 of their document: the same record has the same supplement.

    Returns
    -------
    dict
        Members of `padstone.result/1`; empty where the building has no fit-up, or the
        solver finds no answer.
    """
    evaluation = compute_evaluation(building)
    seed = int(input_digest[:SEED_DIGITS], 16)
    probability = compute_fit_up_probability(evaluation, seed)
    return {} if probability is None else {"fit_up": dict(probability.as_result())}
