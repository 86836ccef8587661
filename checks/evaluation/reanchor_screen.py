"""The screen of replacement rods, from what the plan and the readings say.

Each rod out of place is screened as if cut off and set anew where the plan wants it:
its old stub is then its miss away. A rod that is within is left as it stands, unless
none is out and the plate still does not go on: then those it would not go over. What
neither plan nor readings say (concrete temperature, steel grade) stays unknown; what
had to be assumed is listed.
"""

from dataclasses import fields
from typing import Any

import numpy as np

from checks.engine import fasteners, reanchor
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.evaluation.building_evaluation import BuildingEvaluation
from core.units import format_length
from jobs.anchor_plan.geometry import outline_points, to_plan_axes

EMBEDMENT_DIAMETERS = 12.0  # ours: the middle of ACI 318-19's 4 to 20
ASSUMPTIONS = (
    "The new rod stands where the plan has it; the old stub stays in the concrete.",
    f"It is embedded {EMBEDMENT_DIAMETERS:g} diameters deep.",
    "The edge of the concrete is the steel line; one that is nearer is not known.",
    "The concrete is as old as on the day of the latest reading of the position.",
    "The concrete has the specified strength, is cracked, and stands outdoors.",
)
MEMBER_NAMES = {
    each: tuple(field.name for field in fields(each))
    for each in (reanchor.ScreenCondition, reanchor.BasicStrengths)
}


def screen_reanchoring(evaluation: BuildingEvaluation, order: int) -> dict[str, Any]:
    """Which rods of a position to replace, each with its screen; lengths in mm."""
    group = evaluation.rods.groups[order]
    miss = evaluation.as_built.miss[group.rows]
    diameter = evaluation.rods.diameter[group.rows]
    out = np.flatnonzero(_rods_to_replace(evaluation, order))
    neighbour = _neighbour_distances(
        evaluation.rods.planned[group.rows], evaluation.as_built.points[group.rows], out
    )
    edge, age = _edge_distances(evaluation, order), concrete_age_days(evaluation, order)
    rods = []
    for i in out.tolist():
        size = float(diameter[i])
        proposal = reanchor.ReplacementRod(
            diameter_mm=size,
            embedment_mm=EMBEDMENT_DIAMETERS * size,
            old_stub_mm=float(miss[i]),
            neighbour_mm=float(neighbour[i]) if np.isfinite(neighbour[i]) else None,
            edge_mm=float(edge[i]),
            concrete_age_days=age,
            concrete_strength_mpa=evaluation.plan.concrete.specified_strength,
        )
        screen = reanchor.screen_replacement_rod(proposal, fasteners.find_thread(size))
        rods.append(
            {
                "rod": i + 1,
                "miss": float(miss[i]),
                "miss_text": format_length(float(miss[i]), evaluation.style),
                "diameter": size,
                "embedment": proposal.embedment_mm,
                "outcome": str(screen.outcome),
                "conditions": [
                    {**_to_dict(condition), "outcome": str(condition.outcome)}
                    for condition in screen.conditions
                ],
                "strengths": _to_dict(screen.strengths),
            }
        )
    return {
        "heading": reanchor.SCREEN_HEADING,
        "assumptions": list(ASSUMPTIONS),
        "rods": rods,
    }


def _rods_to_replace(evaluation: BuildingEvaluation, order: int) -> BoolArray:
    """Which rods (m,) of a position are to be replaced.

    Those that are out by themselves; where the reference line is out as well, those
    that are out with it.
    """
    rows, as_built = evaluation.rods.groups[order].rows, evaluation.as_built
    mark, diameter = (
        evaluation.rods.groups[order].position.mark,
        evaluation.rods.diameter[rows],
    )
    line = evaluation.table.index.get(f"line:{mark}")
    with_line = line is not None and evaluation.verdicts[line] == "outside"
    off = np.abs((as_built.deviation if with_line else as_built.from_line)[rows])
    limit = evaluation.limits.rod_location(diameter)[:, None]
    words = np.array(evaluation.rod_verdicts[rows], dtype=object)
    out: BoolArray = (off > limit + SLACK_MM).any(axis=1) | (words == "outside")
    if out.any():
        return out
    clearance = (evaluation.rods.hole_diameter[rows] - diameter) / 2.0
    missed: BoolArray = as_built.miss[rows] > clearance + SLACK_MM
    return missed


def _to_dict(
    screened: reanchor.ScreenCondition | reanchor.BasicStrengths,
) -> dict[str, Any]:
    """A flat record as a dictionary, in its own order."""
    return {name: getattr(screened, name) for name in MEMBER_NAMES[type(screened)]}


def _neighbour_distances(
    planned: FloatArray, built: FloatArray, out: IntArray
) -> FloatArray:
    """Distance (m,) from each planned place to the nearest other rod or stub."""
    stubs = np.linalg.norm(planned[:, None] - built, axis=2)
    anew = np.full_like(stubs, np.inf)
    anew[:, out] = np.linalg.norm(planned[:, None] - planned[out], axis=2)
    apart = np.minimum(stubs, anew)
    np.fill_diagonal(apart, np.inf)
    nearest: FloatArray = np.nan_to_num(apart, nan=np.inf).min(axis=1)
    return nearest


def _edge_distances(evaluation: BuildingEvaluation, order: int) -> FloatArray:
    """Distance (m,) from each planned place to the nearest wall's steel line."""
    group = evaluation.rods.groups[order]
    points = to_plan_axes(
        evaluation.rods.frames[order], evaluation.rods.planned[group.rows]
    )[:, None]
    start = outline_points(evaluation.plan)
    along = np.roll(start, -1, axis=0) - start
    away = points - start
    share = (away * along).sum(axis=2) / (along * along).sum(axis=1)
    foot = start + np.clip(share, 0.0, 1.0)[..., None] * along
    nearest: FloatArray = np.linalg.norm(points - foot, axis=2).min(axis=1)
    return nearest


def concrete_age_days(evaluation: BuildingEvaluation, order: int) -> float | None:
    """Days from placing the concrete to the position's latest reading.

    Negative where the concrete was yet to be placed; None where either is not said.

    Parameters
    ----------
    evaluation : the building.
    order : the position's place in the plan.
    """
    placed = evaluation.plan.concrete.placed_on
    days = [
        reading.at.date()
        for row in np.flatnonzero(evaluation.table.position == order)
        for reading in evaluation.observations.readings[row]
        if reading.at is not None
    ]
    if placed is None or not days:
        return None
    return float((max(days) - placed).days)
