"""Target of each rod, many times larger than the scale of its pattern."""

from dataclasses import dataclass

import numpy as np

from checks.drawings.result_view import ResultView
from core.formatting import QuantityFormatter
from core.svg import FloatArray
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.values import Detail
from jobs.exchange.result.document import PositionResult

TARGETS_PER_ROW = 4  # targets in a row
HALF_TARGET_UNITS = 44.0  # half of a target's square
HEAD_UNITS = 20.0  # above a target, for the rod's number
FOOT_UNITS = 42.0  # below a target, for two lines of text


@dataclass(frozen=True, slots=True, kw_only=True)
class RodTarget:
    """One rod: tolerance, the room its hole leaves, and where it is."""

    rod: int
    verdict: Verdict
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
    mark: str,
    results: ResultView,
    built: FloatArray,
    holes: FloatArray,
    lengths: QuantityFormatter,
    *,
    top: float,
    width: float,
) -> tuple[tuple[RodTarget, ...], float, str]:
    """Place a target for each rod, in rows.

    Parameters
    ----------
    detail : Detail
        The pattern and its plate.
    mark : str
        The position's mark.
    results : ResultView
        The result, for the rods and the limits of their checks.
    built, holes : array, shape (n_rods, 2)
        Rods as built and holes at the plate's best fit, along and in. [mm]
    lengths : QuantityFormatter
        Notation of lengths.
    top, width : float
        Upper edge and width of the free part of the sheet. [drawing units]

    Returns
    -------
    tuple of RodTarget, float, str
        The targets, their lower edge [drawing units], and a note on their scale.
    """
    if np.isnan(built).all():
        return (), top, ""
    miss = built - np.array([(rod.along, rod.inward) for rod in detail.rods])
    limits = [_get_limits(results, mark, rod.number) for rod in detail.rods]
    layout = _TargetScale(results.positions.get(mark), _choose_scale(miss, limits))
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
                detail, layout, index, miss[index], limits[index], holes[index], (x, y)
            )
        )
    rows = -(-len(detail.rods) // TARGETS_PER_ROW)
    edge = lengths.format_fine(HALF_TARGET_UNITS / layout.scale)
    note = f"Each rod about its planned centre; the edge is {edge} away"
    return (
        tuple(drawn),
        top + 18 + rows * (HEAD_UNITS + 2 * HALF_TARGET_UNITS + FOOT_UNITS),
        note,
    )


def _get_limits(results: ResultView, mark: str, rod: int) -> tuple[float, float]:
    """Return the limits along and in, from the rod's own checks. [mm]"""
    usual = results.get_limit("rod_location") or 0.0
    found = []
    for kind in (CheckKind.OFFSET, CheckKind.SETBACK):
        check = results.checks.get(CheckKey.for_rod(kind, mark, rod))
        limit = check["limit"] if check else None
        found.append(usual if limit is None else limit)
    return found[0], found[1]


def _choose_scale(miss: FloatArray, limits: list[tuple[float, float]]) -> float:
    """Choose drawing units per mm so that limits are large and misses still seen."""
    limit = max(max(pair) for pair in limits) or 3.175
    farthest = float(np.nanmax(np.abs(miss)))
    shown = max(2.0 * limit, min(1.15 * farthest, 8.0 * limit))
    return HALF_TARGET_UNITS / shown


@dataclass(frozen=True, slots=True)
class _TargetScale:
    """The position that targets are drawn of, and their scale."""

    entry: PositionResult | None
    scale: float  # drawing units per mm

    @property
    def line_deviation(self) -> float:
        """Deviation of the reference line, which the tolerance moves with. [mm]"""
        return (self.entry.get("line_deviation") if self.entry else None) or 0.0

    def get_verdict(self, rod: int) -> Verdict:
        """Return the verdict of a rod."""
        rods = self.entry["rods"] if self.entry else []
        found = (Verdict(row["verdict"]) for row in rods if row["rod"] == rod)
        return next(found, Verdict.UNMEASURED)


def _draw_target(
    detail: Detail,
    layout: _TargetScale,
    index: int,
    miss: FloatArray,
    limits: tuple[float, float],
    hole: FloatArray,
    centre: tuple[float, float],
) -> RodTarget:
    rod, scale = detail.rods[index], layout.scale
    x, y = centre
    line = layout.line_deviation
    known = not np.isnan(miss).any()
    move = np.nan_to_num(miss) * (scale, -scale)
    shown = np.clip(move, -HALF_TARGET_UNITS, HALF_TARGET_UNITS)
    half_x, half_y = limits[0] * scale, limits[1] * scale
    return RodTarget(
        rod=rod.number,
        verdict=layout.get_verdict(rod.number),
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
        hole_clearance=_hole_clearance(detail, layout, index, hole, centre),
        built=(round(x + float(shown[0]), 1), round(y + float(shown[1]), 1))
        if known
        else None,
        off_scale=bool(known and (shown != move).any()),
        d_along=float(miss[0]) if known else None,
        d_in=float(miss[1]) if known else None,
        head_y=round(y - HALF_TARGET_UNITS - 10, 1),
        foot_y=round(y + HALF_TARGET_UNITS + 12, 1),
        foot_2y=round(y + HALF_TARGET_UNITS + 28, 1),
    )


def _hole_clearance(
    detail: Detail,
    layout: _TargetScale,
    index: int,
    hole: FloatArray,
    centre: tuple[float, float],
) -> tuple[float, float, float] | None:
    """Return the circle that a rod's centre must be in to pass its hole.

    Returns
    -------
    tuple or None
        x, y and radius [drawing units]; None where the plate was not fitted.
    """
    entry, scale = layout.entry, layout.scale
    if detail.plate is None or not (entry and entry.get("plate_fit")):
        return None
    rod = detail.rods[index]
    away = (hole - (rod.along, rod.inward)) * (scale, -scale)
    clearance = max(0.0, (detail.plate.hole_diameter - rod.diameter) / 2)
    return (
        round(centre[0] + float(away[0]), 1),
        round(centre[1] + float(away[1]), 1),
        round(clearance * scale, 1),
    )
