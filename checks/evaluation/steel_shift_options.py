"""Moving the steel instead of the rods: what one rigid move would save.

Offered to the engineer where several plates do not go on; never applied by itself.
The allowance of a rod is its hole's clearance: a position is to be reworked when its
plate, as punched, does not go over its rods at the moved place.
"""

from collections import defaultdict
from dataclasses import dataclass
from typing import Any

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
from jobs.anchor_plan.values import Plan

MIN_BLOCKED_PLATES = 2  # ours: plates that do not go on before a common move is sought
FRAME_LINE_TOLERANCE_MM = 1.0  # ours: positions this near in plan share a frame line


@dataclass(frozen=True, slots=True, kw_only=True)
class SteelShiftOption:
    """One move of all the steel, or of one frame line, that leaves less to rework."""

    scope: str  # "steel", or the marks of the frame line
    marks: tuple[str, ...]
    move: best_shift.SteelShift

    def cures(self, mark: str) -> bool:
        """Whether this position's plate goes on after the move, and not before."""
        if mark not in self.marks:
            return False
        i = self.marks.index(mark)
        return bool(self.move.rework_before[i] and not self.move.rework_after[i])

    def as_result(self) -> dict[str, Any]:
        """One of the result document's `steel_shifts`."""
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
        """The move as an alternative remedy of a position that it cures."""
        x, y = (format_length(float(v), style, 32) for v in self.move.shift_mm)
        what = "all the steel" if self.scope == "steel" else f"frame line {self.scope}"
        return Remedy(
            kind=RemedyKind.SHIFT,
            approval=Approval.ENGINEER,
            reason=(
                f"Moving {what} by {x} right and {y} up leaves"
                f" {int(self.move.rework_after.sum())} instead of"
                f" {int(self.move.rework_before.sum())} positions to rework."
            ),
            cautions=(cautions.SCREENING, cautions.NOTICES),
            quantities={
                "scope": self.scope,
                "shift_x": float(self.move.shift_mm[0]),
                "shift_y": float(self.move.shift_mm[1]),
                "turn": float(self.move.rotation_rad),
            },
            why_second="It moves steel that has nothing wrong with it.",
        )


def find_steel_shifts(
    plan: Plan, rods: RodTable, as_built: AsBuiltRods, groups: PatternFits
) -> tuple[SteelShiftOption, ...]:
    """Moves that would leave fewer positions to rework, the whole steel's first."""
    which = groups.fitted_positions
    stuck = groups.remedy_positions[groups.overrun_as_drawn > SLACK_MM]
    if stuck.size < MIN_BLOCKED_PLATES:
        return ()
    planned, built, allowance, real = _rods_on_plan_axes(plan, rods, as_built, which)
    marks = [rods.groups[i].position.mark for i in which]
    found = [
        SteelShiftOption(
            scope="steel",
            marks=tuple(marks),
            move=best_shift.fit_steel_shift(
                planned,
                built,
                allowance,
                real,
                effort="quick",
                own_interference_mm=groups.best_fit.interference_mm,
            ),
        )
    ]
    out = np.isin(which, stuck)
    for line, axis in _find_frame_lines(planned, real):
        if np.count_nonzero(out[line]) < MIN_BLOCKED_PLATES:
            continue
        move = best_shift.fit_frame_line_shift(
            planned[line], built[line], allowance[line], axis, real[line]
        )
        on_line = tuple(marks[i] for i in line)
        found.append(
            SteelShiftOption(scope="-".join(on_line), marks=on_line, move=move)
        )
    return tuple(shift for shift in found if shift.move.positions_saved > 0)


def _rods_on_plan_axes(
    plan: Plan, rods: RodTable, as_built: AsBuiltRods, which: IntArray
) -> tuple[FloatArray, FloatArray, FloatArray, BoolArray]:
    """Planned and as-built rods on plan axes, clearances, and which are real."""
    rows, real = rods.padded_rows
    at = rows[which]
    frames = [rods.frames[group] for group in which]
    origin = np.array([frame.origin for frame in frames])[:, None]
    axes = np.array([(frame.along, frame.inward) for frame in frames])
    planned, built = (origin + of[at] @ axes for of in (rods.planned, as_built.points))
    clearance = (rods.hole_diameter - rods.diameter) / 2.0
    return planned, built, clearance[at], real[which]


def _find_frame_lines(
    planned: FloatArray, real: BoolArray
) -> list[tuple[list[int], FloatArray]]:
    """Positions that share a plan ordinate, with the direction across their line."""
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
