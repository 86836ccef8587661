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
from checks.engine.acceptance import SLACK_MM
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.evaluation.judged import Judged
from core.units import format_length
from jobs.plan.geometry import outline_points, to_plan

EMBEDMENT_DIAMETERS = 12.0  # ours: the middle of ACI 318-19's 4 to 20
ASSUMPTIONS = (
    "The new rod stands where the plan has it; the old stub stays in the concrete.",
    f"It is embedded {EMBEDMENT_DIAMETERS:g} diameters deep.",
    "The edge of the concrete is the steel line; one that is nearer is not known.",
    "The concrete is as old as on the day of the latest reading of the position.",
    "The concrete has the specified strength, is cracked, and stands outdoors.",
)
NAMES = {
    each: tuple(field.name for field in fields(each))
    for each in (reanchor.Condition, reanchor.Strengths)
}


def re_anchor_figures(judged: Judged, order: int) -> dict[str, Any]:
    """Which rods of a position to replace, each with its screen; lengths in mm."""
    group = judged.rods.groups[order]
    miss = judged.solved.miss[group.rows]
    diameter = judged.rods.diameter[group.rows]
    out = np.flatnonzero(_out(judged, order))
    neighbour = _neighbours(
        judged.rods.planned[group.rows], judged.solved.as_built[group.rows], out
    )
    edge, age = _edges(judged, order), age_days(judged, order)
    rods = []
    for i in out.tolist():
        size = float(diameter[i])
        proposal = reanchor.Proposal(
            diameter_mm=size,
            embedment_mm=EMBEDMENT_DIAMETERS * size,
            old_stub_mm=float(miss[i]),
            neighbour_mm=float(neighbour[i]) if np.isfinite(neighbour[i]) else None,
            edge_mm=float(edge[i]),
            concrete_age_days=age,
            concrete_strength_mpa=judged.plan.concrete.specified_strength,
        )
        screen = reanchor.screen(proposal, fasteners.thread_of(size))
        rods.append(
            {
                "rod": i + 1,
                "miss": float(miss[i]),
                "miss_text": format_length(float(miss[i]), judged.style),
                "diameter": size,
                "embedment": proposal.embedment_mm,
                "outcome": str(screen.outcome),
                "conditions": [
                    {**_members(condition), "outcome": str(condition.outcome)}
                    for condition in screen.conditions
                ],
                "strengths": _members(screen.strengths),
            }
        )
    return {
        "heading": reanchor.HEADING,
        "assumptions": list(ASSUMPTIONS),
        "rods": rods,
    }


def _out(judged: Judged, order: int) -> BoolArray:
    """Which rods (m,) of a position are to be replaced.

    Those that are out by themselves; where the reference line is out as well, those
    that are out with it.
    """
    rows, solved = judged.rods.groups[order].rows, judged.solved
    mark, diameter = judged.rods.groups[order].position.mark, judged.rods.diameter[rows]
    line = judged.table.index.get(f"line:{mark}")
    with_line = line is not None and judged.words[line] == "outside"
    off = np.abs((solved.deviation if with_line else solved.from_line)[rows])
    limit = judged.limits.rod_location(diameter)[:, None]
    words = np.array(judged.rod_words[rows], dtype=object)
    out: BoolArray = (off > limit + SLACK_MM).any(axis=1) | (words == "outside")
    if out.any():
        return out
    clearance = (judged.rods.hole_diameter[rows] - diameter) / 2.0
    missed: BoolArray = solved.miss[rows] > clearance + SLACK_MM
    return missed


def _members(screened: reanchor.Condition | reanchor.Strengths) -> dict[str, Any]:
    """A flat record as a dictionary, in its own order."""
    return {name: getattr(screened, name) for name in NAMES[type(screened)]}


def _neighbours(planned: FloatArray, built: FloatArray, out: IntArray) -> FloatArray:
    """Distance (m,) from each planned place to the nearest other rod or stub."""
    stubs = np.linalg.norm(planned[:, None] - built, axis=2)
    anew = np.full_like(stubs, np.inf)
    anew[:, out] = np.linalg.norm(planned[:, None] - planned[out], axis=2)
    apart = np.minimum(stubs, anew)
    np.fill_diagonal(apart, np.inf)
    nearest: FloatArray = np.nan_to_num(apart, nan=np.inf).min(axis=1)
    return nearest


def _edges(judged: Judged, order: int) -> FloatArray:
    """Distance (m,) from each planned place to the nearest wall's steel line."""
    group = judged.rods.groups[order]
    points = to_plan(judged.rods.frames[order], judged.rods.planned[group.rows])[
        :, None
    ]
    start = outline_points(judged.plan)
    along = np.roll(start, -1, axis=0) - start
    away = points - start
    share = (away * along).sum(axis=2) / (along * along).sum(axis=1)
    foot = start + np.clip(share, 0.0, 1.0)[..., None] * along
    nearest: FloatArray = np.linalg.norm(points - foot, axis=2).min(axis=1)
    return nearest


def age_days(judged: Judged, order: int) -> float | None:
    """Days from placing the concrete to the position's latest reading.

    Negative where the concrete was yet to be placed; None where either is not said.

    Parameters
    ----------
    judged : the building.
    order : the position's place in the plan.
    """
    placed = judged.plan.concrete.placed_on
    days = [
        reading.at.date()
        for row in np.flatnonzero(judged.table.position == order)
        for reading in judged.observed.readings[row]
        if reading.at is not None
    ]
    if placed is None or not days:
        return None
    return float((max(days) - placed).days)
