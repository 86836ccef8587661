"""Moves of the steel instead of the rods: the positions one rigid move would save.

Offered to the engineer where several plates do not fit; never applied by itself. The
allowance of a rod is its hole's clearance: a position needs rework when its plate, as
punched, does not fit over its rods after the move.
"""

from collections import defaultdict
from dataclasses import dataclass

import numpy as np

from checks.engine import cautions
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.engine.remedies.remedy import Remedy
from checks.engine.steel_shift import best_shift
from checks.evaluation.check_table import RodTable
from checks.evaluation.rod_positions import AsBuiltRods, PatternFits
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind
from jobs.exchange.result.findings import SteelShiftResult

MIN_BLOCKED_PLATES = 2
"""Plates that do not fit before a common move is searched for. Project choice."""

FRAME_LINE_TOLERANCE_MM = 1.0
"""Positions this near in plan share a frame line. Project choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelShiftOption:
    """One move of all the steel, or of one frame line, that leaves less to rework."""

    scope: str  # "steel", or the marks of the frame line
    marks: tuple[str, ...]
    move: best_shift.SteelShift

    def cures(self, mark: str) -> bool:
        """Return True where the position's plate fits after the move and not before."""
        if mark not in self.marks:
            return False
        i = self.marks.index(mark)
        return bool(self.move.rework_before[i] and not self.move.rework_after[i])

    def as_result(self) -> SteelShiftResult:
        """Return an entry of the result document's `steel_shifts`."""
        move = self.move
        return {
            "scope": self.scope,
            "shift_x": float(move.shift_mm[0]),
            "shift_y": float(move.shift_mm[1]),
            "turn": float(move.rotation_rad),
            "about_x": float(move.rotation_centre_mm[0]),
            "about_y": float(move.rotation_centre_mm[1]),
            "proven": bool(move.proven),
            "rework_before": int(move.rework_before.sum()),
            "rework_after": int(move.rework_after.sum()),
            "positions": [
                {
                    "mark": mark,
                    "miss_before": float(move.excess_before_mm[i]),
                    "miss_after": float(move.excess_after_mm[i]),
                    "rework_before": bool(move.rework_before[i]),
                    "rework_after": bool(move.rework_after[i]),
                }
                for i, mark in enumerate(self.marks)
            ],
        }

    def as_remedy(self, style: LengthStyle) -> Remedy:
        """Return the move as an alternative remedy of a position that it cures."""
        steel = "all the steel" if self.scope == "steel" else f"frame line {self.scope}"
        before, after = (
            int(rework.sum())
            for rework in (self.move.rework_before, self.move.rework_after)
        )
        return Remedy(
            kind=RemedyKind.SHIFT,
            approval=Approval.ENGINEER,
            reason=(
                f"Moving {steel} {describe_move(self.move.shift_mm, style)} leaves"
                f" {after} positions to rework instead of {before}."
            ),
            cautions=(cautions.SCREENING, cautions.NOTICES),
            quantities={
                "scope": self.scope,
                "shift_x": float(self.move.shift_mm[0]),
                "shift_y": float(self.move.shift_mm[1]),
                "turn": float(self.move.rotation_rad),
            },
            why_second="It moves steel whose own rods are in place.",
        )


def describe_move(shift_mm: FloatArray, style: LengthStyle) -> str:
    """Describe a move on the plan, such as `1/4" right and 3/8" down`."""
    none = format_length(0.0, style, 32)
    parts = []
    for mm, ways in zip(
        shift_mm.tolist(), (("right", "left"), ("up", "down")), strict=True
    ):
        length = format_length(abs(mm), style, 32)
        if length != none:
            parts.append(f"{length} {ways[0] if mm > 0 else ways[1]}")
    return " and ".join(parts) or none


def find_steel_shifts(
    rods: RodTable, as_built: AsBuiltRods, fits: PatternFits
) -> tuple[SteelShiftOption, ...]:
    """Find moves that leave fewer positions to rework, that of all the steel first."""
    fitted = fits.fitted_positions
    blocked = fits.remedy_positions[fits.overrun_as_drawn > SLACK_MM]
    # One plate is cheaper to rework than all the steel is to move.
    if blocked.size < MIN_BLOCKED_PLATES:
        return ()
    planned, built, allowance, real = _rods_on_plan_axes(rods, as_built, fitted)
    marks = [rods.groups[i].position.mark for i in fitted]
    options = [
        SteelShiftOption(
            scope="steel",
            marks=tuple(marks),
            move=best_shift.fit_steel_shift(
                planned,
                built,
                allowance,
                real,
                # Every evaluation runs it; the exact search takes far longer.
                effort="quick",
                own_interference_mm=fits.best_fit.interference_mm,
            ),
        )
    ]
    is_blocked = np.isin(fitted, blocked)
    for line, axis in _find_frame_lines(planned, real):
        if np.count_nonzero(is_blocked[line]) < MIN_BLOCKED_PLATES:
            continue
        move = best_shift.fit_frame_line_shift(
            planned[line], built[line], allowance[line], axis, real[line]
        )
        on_line = tuple(marks[i] for i in line)
        options.append(
            SteelShiftOption(scope="-".join(on_line), marks=on_line, move=move)
        )
    return tuple(option for option in options if option.move.positions_saved > 0)


def _rods_on_plan_axes(
    rods: RodTable, as_built: AsBuiltRods, positions: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Return planned and as-built rods on plan axes, clearances, and the real ones."""
    padded, real = rods.padded_rows
    rows = padded[positions]
    local = [rods.position_axes[position] for position in positions]
    origin = np.array([axes.origin for axes in local])[:, None]
    axes = np.array([(axes.along, axes.inward) for axes in local])
    planned, built = (
        origin + points[rows] @ axes for points in (rods.planned, as_built.points)
    )
    return planned, built, rods.clearance[rows], real[positions]


def _find_frame_lines(
    planned: FloatArray, real: BoolArray
) -> list[tuple[list[int], FloatArray]]:
    """Return positions that share an x or y, with the direction across their line."""
    weight = real / real.sum(axis=1, keepdims=True)
    centre = (planned * weight[..., None]).sum(axis=1)
    lines = []
    for ordinate in (0, 1):
        shared: dict[int, list[int]] = defaultdict(list)
        for i, value in enumerate(centre[:, ordinate]):
            shared[round(float(value) / FRAME_LINE_TOLERANCE_MM)].append(i)
        axis = np.eye(2)[ordinate]
        lines += [(members, axis) for members in shared.values() if len(members) > 1]
    return lines
