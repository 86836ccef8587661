"""Fit-up: the misfit of a bay, and the probability that it goes together."""

from math import sqrt

import numpy as np

from checks.engine.arrays import FloatArray
from checks.engine.fit_up.cone_program import solve_fit_up
from checks.engine.fit_up.elements import compute_single_misfits
from checks.engine.fit_up.posterior import ConditionedRods
from checks.engine.fit_up.probability import (
    CUTS,
    POSTERIORS_PER_CUT,
    evaluate_posteriors,
)
from checks.engine.fit_up.problem import (
    FitUpLimits,
    FitUpProblem,
    compute_grid_arms,
)
from checks.methods.example_values import (
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation

HOLES_MM = np.array([[-3.0, -3.0], [3.0, -3.0], [3.0, 3.0], [-3.0, 3.0]]) * INCH_MM
EIGHTH_MM = INCH_MM / 8.0
HALF_DEGREE_RAD = np.radians(0.5)
BAY_MM = 20.0 * 12.0 * INCH_MM
ROD_MM, HOLE_MM = 0.75 * INCH_MM, INCH_MM
HELD_MM = 1e-9  # a grid that is held: a solver needs some room


def _build_bay(displaced_mm: tuple[float, float], clearance_mm: float) -> FitUpProblem:
    """Build two columns in one bay, their groups displaced along it."""
    centre = np.array([[0.0, 0.0], [BAY_MM, 0.0]])
    arm, reach = compute_grid_arms(centre)
    rods = np.zeros((2, 4, 2))
    rods[:, :, 0] = np.array(displaced_mm)[:, None]
    return FitUpProblem(
        holes=np.broadcast_to(HOLES_MM, (2, 4, 2)),
        rods=rods,
        clearance=np.full((2, 4), clearance_mm),
        real=np.ones((2, 4), dtype=bool),
        axes=np.broadcast_to(np.eye(2), (2, 2, 2)),
        arm=arm,
        reach=reach,
        walls=np.eye(2),
        pairs=np.array([[0, 1]]),
        direction=np.array([[1.0, 0.0]]),
        pair_limit=np.array([EIGHTH_MM]),
        limits=FitUpLimits(line=EIGHTH_MM, turn=float(HALF_DEGREE_RAD), grid=HELD_MM),
    )


def calculate_stacked_bay() -> Calculation:
    """Compute the misfit of a bay whose two groups are off towards each other."""
    clearance = (HOLE_MM - ROD_MM) / 2.0
    problem = _build_bay((2.0 * EIGHTH_MM, -2.0 * EIGHTH_MM), clearance)
    found = solve_fit_up(problem)
    alone = compute_single_misfits(problem, np.array([0]))
    by_hand = (4.0 * EIGHTH_MM - 2.0 * clearance - EIGHTH_MM) / 2.0
    return Calculation(
        inputs=(
            describe_input("Rods", "{:length}", ROD_MM),
            describe_input("Holes", "{:length}", HOLE_MM),
            describe_input(
                "Each group off, towards the other", "{:length}", 2.0 * EIGHTH_MM
            ),
            describe_input("Limit of line and bay", "{:length} each", EIGHTH_MM),
        ),
        steps=(
            write_text(
                "Clearance: ({:length} − {:length}) ÷ 2 = {:length}.",
                HOLE_MM,
                ROD_MM,
                clearance,
            ),
            write_text(
                "Each plate alone goes on, its column {:length} off its line:"
                " {:length} − {:length} − {:length} = {:length}.",
                EIGHTH_MM,
                2.0 * EIGHTH_MM,
                EIGHTH_MM,
                clearance,
                0.0,
            ),
            write_text(
                "The bay is {:length} short. The two holes give {:length} each, the"
                " bay {:length}; each hole lacks half of what is left:"
                " ({:length} − {:length} − {:length}) ÷ 2 = {:length}.",
                4.0 * EIGHTH_MM,
                clearance,
                EIGHTH_MM,
                4.0 * EIGHTH_MM,
                2.0 * clearance,
                EIGHTH_MM,
                by_hand,
            ),
        ),
        results=(
            build_result(
                "Misfit of one plate alone",
                "length",
                alone[0],
                0.0,
                hand_tolerance=1e-6,
            ),
            build_result(
                "Misfit of the bay",
                "length",
                found.misfit,
                by_hand,
                hand_tolerance=1e-6,
            ),
            build_result(
                "Hole that would do",
                "length",
                HOLE_MM + 2.0 * found.misfit,
                HOLE_MM + 2.0 * by_hand,
                hand_tolerance=1e-6,
            ),
        ),
    )


def _know_groups(displaced_mm: FloatArray, sigma_mm: float) -> ConditionedRods:
    """Describe groups known to a standard uncertainty, their rods exactly."""
    width = 1 + 2 * len(HOLES_MM)
    mean = np.zeros((CUTS, 2, width))
    mean[:, :, 0] = displaced_mm
    covariance = np.broadcast_to(np.eye(width) * 1e-10, (CUTS, 2, width, width)).copy()
    covariance[:, :, 0, 0] = sigma_mm**2
    return ConditionedRods(
        mean=mean,
        covariance=covariance,
        by_common=np.zeros((CUTS, 2, width, 0)),
        common_mean=np.zeros((CUTS, 0)),
        common_covariance=np.zeros((CUTS, 0, 0)),
    )


def calculate_two_columns() -> Calculation:
    """Compute the probability of a bay that goes together as measured."""
    clearance, sigma = EIGHTH_MM, 1.0
    displaced = np.array([0.125, -0.15]) * INCH_MM
    problem = _build_bay((float(displaced[0]), float(displaced[1])), clearance)
    rods = _know_groups(displaced, sigma)
    found = evaluate_posteriors(
        problem, rods, [rods] * POSTERIORS_PER_CUT, np.random.default_rng(1)
    )
    apart = float(displaced[0] - displaced[1])
    room = 3.0 * EIGHTH_MM
    from scipy.special import ndtr

    by_hand = float(ndtr((room - apart) / (sigma * sqrt(2.0))))
    return Calculation(
        inputs=(
            describe_input("Clearance of each hole", "{:length}", clearance),
            describe_input("Limit of line and bay", "{:length} each", EIGHTH_MM),
            describe_input(
                "Groups off, towards each other",
                "{:length} and {:fine}",
                displaced[0],
                -displaced[1],
            ),
            describe_input("Each known to", "{:fine}", sigma),
        ),
        steps=(
            write_text(
                "Both go on while the groups are at most {:length} nearer than planned:"
                " two clearances and the bay's limit. Measured: {:fine}.",
                room,
                apart,
            ),
            write_text(
                "The difference of two groups has a standard uncertainty of {:fine}"
                " × √2 = {:fine}.",
                sigma,
                sigma * sqrt(2.0),
            ),
            write_text(
                "Φ(({:fine} − {:fine}) ÷ {:fine}) = {:2}.",
                room,
                apart,
                sigma * sqrt(2.0),
                by_hand,
            ),
        ),
        results=(
            # One cut is the whole problem here, so that the bound is exact.
            build_result(
                "Upper bound of the probability",
                "2",
                found.bound,
                by_hand,
                hand_tolerance=1e-5,
            ),
            build_result("Probability, by draws", "2", found.probability),
        ),
    )
