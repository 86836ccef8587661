"""The screen of replacement rods, from what the plan and the readings give.

Each rod out of place is screened as if cut off and replaced where the plan has it: its
old stub is then its miss away. A rod that is within stays as it is, unless none is out
and the plate still does not fit: then the rods that the plate misses are screened.
Values that neither plan nor readings give (concrete temperature, steel grade) stay
unknown, and every assumption is listed.
"""

from typing import TypedDict

import numpy as np

from checks.engine import fasteners, reanchor
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.evaluation.building_evaluation import BuildingEvaluation
from core.units import format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.geometry import outline_points, to_plan_axes
from jobs.exchange.result.findings import (
    BasicStrengthsResult,
    ScreenedRodResult,
    ScreeningConditionResult,
)

EMBEDMENT_DIAMETERS = 12.0
"""Embedment that is screened: the middle of ACI 318-19's 4 to 20. Project choice."""

ASSUMPTIONS = (
    "The new rod stands where the plan has it; the old stub stays in the concrete.",
    f"The new rod is embedded {EMBEDMENT_DIAMETERS:g} diameters deep.",
    "The edge of the concrete is the steel line. A nearer edge is not known.",
    "The concrete is as old as on the day of the latest reading of the position.",
    "The concrete has the specified strength, is cracked, and stands outdoors.",
)


class ReanchorScreenResult(TypedDict):
    """The quantities of a `re_anchor` remedy."""

    heading: str
    assumptions: list[str]
    rods: list[ScreenedRodResult]


def screen_reanchoring(
    evaluation: BuildingEvaluation, index: int
) -> ReanchorScreenResult:
    """Screen the rods of a position that have to be replaced.

    Parameters
    ----------
    evaluation : the building.
    index : of the position in the plan.
    """
    group = evaluation.rods.groups[index]
    planned = evaluation.rods.planned[group.rows]
    built = evaluation.as_built.points[group.rows]
    out = np.flatnonzero(_rods_to_replace(evaluation, index))
    neighbours = _neighbour_distances(planned, built, out)
    edges = _edge_distances(evaluation, index)
    age = concrete_age_days(evaluation, index)
    return {
        "heading": reanchor.SCREEN_HEADING,
        "assumptions": list(ASSUMPTIONS),
        "rods": [
            _screen_rod(evaluation, group.rows.start + i, i + 1, neighbour, edge, age)
            for i, neighbour, edge in zip(
                out.tolist(), neighbours[out].tolist(), edges[out].tolist(), strict=True
            )
        ],
    }


def _screen_rod(
    evaluation: BuildingEvaluation,
    row: int,
    number: int,
    neighbour: float,
    edge: float,
    age: float | None,
) -> ScreenedRodResult:
    """Screen one rod, by its row in the rod table."""
    miss = float(evaluation.as_built.miss[row])
    diameter = float(evaluation.rods.diameter[row])
    embedment = EMBEDMENT_DIAMETERS * diameter
    screen = reanchor.screen_replacement_rod(
        reanchor.ReplacementRod(
            diameter_mm=diameter,
            embedment_mm=embedment,
            old_stub_mm=miss,
            neighbour_mm=neighbour if np.isfinite(neighbour) else None,
            edge_mm=edge,
            concrete_age_days=age,
            concrete_strength_mpa=evaluation.plan.concrete.specified_strength,
        ),
        fasteners.find_thread(diameter),
    )
    return {
        "rod": number,
        "miss": miss,
        "miss_text": format_length(miss, evaluation.style),
        "diameter": diameter,
        "embedment": embedment,
        "outcome": screen.outcome.value,
        "conditions": [_condition_result(each) for each in screen.conditions],
        "strengths": _strengths_result(screen.strengths),
    }


def _condition_result(condition: reanchor.ScreenCondition) -> ScreeningConditionResult:
    return {
        "name": condition.name,
        "value": condition.value,
        "least": condition.least,
        "most": condition.most,
        "unit": condition.unit,
        "outcome": condition.outcome.value,
        "source": condition.source,
    }


def _strengths_result(strengths: reanchor.BasicStrengths) -> BasicStrengthsResult:
    return {
        "breakout_n": strengths.breakout_n,
        "edge_factor": strengths.edge_factor,
        "breakout_at_edge_n": strengths.breakout_at_edge_n,
        "bond_n": strengths.bond_n,
        "bond_edge_mm": strengths.bond_edge_mm,
        "steel_n": strengths.steel_n,
        "least": strengths.least,
    }


def _rods_to_replace(evaluation: BuildingEvaluation, index: int) -> BoolArray:
    """Return which rods (m,) of a position are to be replaced.

    Rods out of place against their reference line; where that line is out as well,
    rods out of place against the plan.
    """
    group, as_built = evaluation.rods.groups[index], evaluation.as_built
    rows = group.rows
    key = CheckKey.for_position(CheckKind.LINE, group.position.mark)
    line = evaluation.table.index.get(key)
    line_is_out = line is not None and evaluation.verdicts[line] == Verdict.OUTSIDE
    deviation = (as_built.deviation if line_is_out else as_built.from_line)[rows]
    limit = evaluation.limits.rod_location(evaluation.rods.diameter[rows])[:, None]
    verdicts = np.array(evaluation.rod_verdicts[rows], dtype=object)
    beyond = (np.abs(deviation) > limit + SLACK_MM).any(axis=1)
    if evaluation.limits.rods_from_plan:
        beyond = as_built.miss[rows] > limit[:, 0] + SLACK_MM
    out: BoolArray = beyond | (verdicts == Verdict.OUTSIDE)
    if out.any():
        return out
    # No rod is out by itself: replace those that the plate cannot reach.
    clearance = evaluation.rods.clearance[rows]
    missed: BoolArray = as_built.miss[rows] > clearance + SLACK_MM
    return missed


def _neighbour_distances(
    planned: FloatArray, built: FloatArray, out: IntArray
) -> FloatArray:
    """Return the distance (m,) from each planned rod to the nearest rod or stub."""
    to_stubs = np.linalg.norm(planned[:, None] - built, axis=2)
    to_new_rods = np.full_like(to_stubs, np.inf)
    to_new_rods[:, out] = np.linalg.norm(planned[:, None] - planned[out], axis=2)
    distance = np.minimum(to_stubs, to_new_rods)
    # A new rod's own old stub is screened apart, by `old_stub_mm`.
    np.fill_diagonal(distance, np.inf)
    nearest: FloatArray = np.nan_to_num(distance, nan=np.inf).min(axis=1)
    return nearest


def _edge_distances(evaluation: BuildingEvaluation, index: int) -> FloatArray:
    """Return the distance (m,) from each planned rod to the nearest steel line."""
    group = evaluation.rods.groups[index]
    points = to_plan_axes(
        evaluation.rods.position_axes[index], evaluation.rods.planned[group.rows]
    )[:, None]
    start = outline_points(evaluation.plan)
    along = np.roll(start, -1, axis=0) - start
    away = points - start
    share = (away * along).sum(axis=2) / (along * along).sum(axis=1)
    foot = start + np.clip(share, 0.0, 1.0)[..., None] * along
    nearest: FloatArray = np.linalg.norm(points - foot, axis=2).min(axis=1)
    return nearest


def concrete_age_days(evaluation: BuildingEvaluation, index: int) -> float | None:
    """Return the days from placing the concrete to the position's latest reading.

    Negative where the concrete was placed later; None where either day is unknown.

    Parameters
    ----------
    evaluation : the building.
    index : of the position in the plan.
    """
    placed = evaluation.plan.concrete.placed_on
    days = [
        reading.at.date()
        for row in np.flatnonzero(evaluation.table.position == index)
        for reading in evaluation.observations.readings[row]
        if reading.at is not None
    ]
    if placed is None or not days:
        return None
    return float((max(days) - placed).days)
