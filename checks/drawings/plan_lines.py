"""Lines of the plan drawing: walls, diagonals and frame lines, with verdicts."""

from dataclasses import dataclass

import numpy as np

from checks.drawings.plan_labels import (
    DimensionLabel,
    label_diagonal,
    label_wall,
)
from checks.drawings.plan_sheet import PlanSheet
from checks.drawings.result_view import get_worst_verdict
from core.svg import path_data
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKey, CheckKind
from jobs.anchor_plan.geometry import position_axes
from jobs.anchor_plan.neighbours import find_spans


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnLine:
    """A wall, diagonal or frame line as drawn."""

    path: str
    verdict: Verdict
    title: str
    label: DimensionLabel | None = None


def draw_walls(sheet: PlanSheet) -> list[DrawnLine]:
    """Draw the walls as built, each with its length and verdict."""
    lines = []
    names = [corner.name for corner in sheet.plan.outline]
    for first, second in zip(names, names[1:] + names[:1], strict=True):
        key = CheckKey.for_corners(CheckKind.WALL, (first, second))
        ends = np.array([sheet.locate_corner(first), sheet.locate_corner(second)])
        lines.append(
            DrawnLine(
                path=path_data(ends),
                verdict=sheet.results.get_verdict(key),
                title=f"Wall {first}-{second}",
                label=label_wall(sheet, (first, second), sheet.results.checks.get(key)),
            )
        )
    return lines


def draw_diagonal(sheet: PlanSheet, pair: tuple[str, str]) -> DrawnLine:
    """Draw a diagonal as built, with its length and verdict."""
    key = CheckKey.for_corners(CheckKind.DIAGONAL, pair)
    ends = np.array([sheet.locate_corner(name) for name in pair])
    return DrawnLine(
        path=path_data(ends),
        verdict=sheet.results.get_verdict(key),
        title="Diagonal {}-{}".format(*pair),
        label=label_diagonal(sheet, pair, sheet.results.checks.get(key)),
    )


def draw_frame_lines(sheet: PlanSheet) -> list[DrawnLine]:
    """Draw the frames between walls, from a position to the one opposite."""
    lines = []
    for pair in find_spans(sheet.plan):
        first, second = (sheet.plan.positions[i] for i in (pair.first, pair.second))
        if first.wall is None or second.wall is None:
            continue  # A point has no reference line to be measured.
        ends = np.array(
            [position_axes(sheet.plan, each).origin for each in (first, second)]
        )
        keys = (
            CheckKey.for_position(CheckKind.LINE, each.mark) for each in (first, second)
        )
        lines.append(
            DrawnLine(
                path=path_data(sheet.viewport.points(ends)),
                verdict=get_worst_verdict(
                    sheet.results.get_verdict(key) for key in keys
                ),
                title=f"Frame line {first.mark} to {second.mark}",
            )
        )
    return lines
