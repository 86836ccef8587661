"""Targets: one rod each, many times larger than the pattern's own scale."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from checks.drawings.result_view import UNMEASURED, ResultView
from core.formatting import QuantityFormatter
from core.svg import FloatArray
from jobs.anchor_plan.values import Detail

TARGETS_PER_ROW = 4  # targets in a row
HALF_TARGET_UNITS = 44.0  # half of a target's square
HEAD_UNITS = 20.0  # room for the rod's number above it
FOOT_UNITS = 42.0  # and for two lines of figures below it


@dataclass(frozen=True, slots=True, kw_only=True)
class RodTarget:
    """One rod: tolerance, the room its hole leaves, and where it is."""

    rod: int
    verdict: str
    x: float  # the planned centre
    y: float
    left: float  # of its square
    top: float
    across: float
    tolerance: tuple[float, float, float, float] | None  # x, y, width, height
    hole_clearance: tuple[float, float, float] | None  # centre and radius
    built: tuple[float, float] | None
    off_scale: bool  # the rod is off the target and drawn at its edge
    d_along: float | None
    d_in: float | None
    head_y: float
    foot_y: float
    foot_2y: float


def place_targets(
    detail: Detail,
    entry: Mapping[str, Any],
    results: ResultView,
    built: FloatArray,
    holes: FloatArray,
    lengths: QuantityFormatter,
    *,
    top: float,
    width: float,
) -> tuple[tuple[RodTarget, ...], float, str]:
    """Place a target for each rod; also the bottom, and what their scale is.

    Parameters
    ----------
    detail : Detail
        The pattern and its plate.
    entry : mapping
        The position in the result; empty when nothing is known of it.
    results : Judged
        The result, for the limits of the rods' checks.
    built, holes : array, shape (n_rods, 2)
        Rods as built and holes at the plate's best fit, along and in. [mm]
    write : Writer
        How lengths are written.
    top, width : float
        Room on the sheet. [drawing units]
    """
    if np.isnan(built).all():
        return (), top, ""
    miss = built - np.array([(rod.along, rod.inward) for rod in detail.rods])
    limits = [_get_limits(results, entry["mark"], rod.number) for rod in detail.rods]
    scale = _choose_scale(miss, limits)
    drawn = []
    for index in range(len(detail.rods)):
        column, row = index % TARGETS_PER_ROW, index // TARGETS_PER_ROW
        x = width / TARGETS_PER_ROW * (column + 0.5)
        y = (
            top
            + 18
            + HEAD_UNITS
            + HALF_TARGET_UNITS
            + row * (HEAD_UNITS + 2 * HALF_TARGET_UNITS + FOOT_UNITS)
        )
        drawn.append(
            _draw_target(
                detail, entry, index, miss, limits[index], holes, scale, (x, y)
            )
        )
    rows = -(-len(detail.rods) // TARGETS_PER_ROW)
    note = f"Each rod about its planned centre, {lengths.format_fine(HALF_TARGET_UNITS / scale)} to the edge"
    return (
        tuple(drawn),
        top + 18 + rows * (HEAD_UNITS + 2 * HALF_TARGET_UNITS + FOOT_UNITS),
        note,
    )


def _get_limits(results: ResultView, mark: str, rod: int) -> tuple[float, float]:
    """Limits along and in, from the rod's own checks. [mm]"""
    usual = results.get_limit("rod_location") or 0.0
    found = []
    for kind in ("offset", "setback"):
        limit = results.checks.get(f"{kind}:{mark}.{rod}", {}).get("limit")
        found.append(usual if limit is None else float(limit))
    return found[0], found[1]


def _choose_scale(miss: FloatArray, limits: list[tuple[float, float]]) -> float:
    """Drawing units per mm, at which limits are large and misses still seen."""
    limit = max(max(pair) for pair in limits) or 3.175
    farthest = float(np.nanmax(np.abs(miss)))
    shown = max(2.0 * limit, min(1.15 * farthest, 8.0 * limit))
    return HALF_TARGET_UNITS / shown


def _draw_target(
    detail: Detail,
    entry: Mapping[str, Any],
    index: int,
    miss: FloatArray,
    limits: tuple[float, float],
    holes: FloatArray,
    scale: float,
    centre: tuple[float, float],
) -> RodTarget:
    rod = detail.rods[index]
    x, y = centre
    verdicts = {item["rod"]: item["verdict"] for item in entry.get("rods", [])}
    line = float(entry.get("line_deviation") or 0.0)
    known = not np.isnan(miss[index]).any()
    move = np.nan_to_num(miss[index]) * (scale, -scale)
    shown = np.clip(move, -HALF_TARGET_UNITS, HALF_TARGET_UNITS)
    half_x, half_y = limits[0] * scale, limits[1] * scale
    return RodTarget(
        rod=rod.number,
        verdict=verdicts.get(rod.number, UNMEASURED),
        x=round(x, 1),
        y=round(y, 1),
        left=round(x - HALF_TARGET_UNITS, 1),
        top=round(y - HALF_TARGET_UNITS, 1),
        across=2 * HALF_TARGET_UNITS,
        tolerance=(
            round(x + line * scale - half_x, 1),
            round(y - half_y, 1),
            round(2 * half_x, 1),
            round(2 * half_y, 1),
        ),
        hole_clearance=_hole_clearance(
            detail, entry, index, holes[index], scale, centre
        ),
        built=(round(x + float(shown[0]), 1), round(y + float(shown[1]), 1))
        if known
        else None,
        off_scale=bool(known and (shown != move).any()),
        d_along=float(miss[index][0]) if known else None,
        d_in=float(miss[index][1]) if known else None,
        head_y=round(y - HALF_TARGET_UNITS - 10, 1),
        foot_y=round(y + HALF_TARGET_UNITS + 12, 1),
        foot_2y=round(y + HALF_TARGET_UNITS + 28, 1),
    )


def _hole_clearance(
    detail: Detail,
    entry: Mapping[str, Any],
    index: int,
    hole: FloatArray,
    scale: float,
    centre: tuple[float, float],
) -> tuple[float, float, float] | None:
    """Circle the rod's centre must be in to pass its hole: x, y and radius."""
    if detail.plate is None or not entry.get("plate_fit"):
        return None
    rod = detail.rods[index]
    away = (hole - (rod.along, rod.inward)) * (scale, -scale)
    clearance = max(0.0, (detail.plate.hole_diameter - rod.diameter) / 2)
    return (
        round(centre[0] + float(away[0]), 1),
        round(centre[1] + float(away[1]), 1),
        round(clearance * scale, 1),
    )
