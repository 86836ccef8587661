"""Warnings on the plan itself, before anything is measured.

A plan can be drawn so that no measurement makes it right: threads short on paper, an
edge too narrow, rods or plates that overlap, two marks that nobody can tell apart. None
of these is refused, because a drawing may have its reasons; none is passed in silence.
"""

import unicodedata
from collections import defaultdict
from collections.abc import Iterator
from itertools import combinations
from typing import NamedTuple

import numpy as np
from scipy.spatial import cKDTree

from checks.engine import fasteners
from checks.engine.conformity import SLACK_MM
from checks.engine.constants import INCH_MM
from core.formatting import get_default_style
from core.units import LengthStyle, format_length
from jobs.anchor_plan.geometry import local_rods, rod_points
from jobs.anchor_plan.values import Detail, Plan

INVISIBLE_CATEGORIES = frozenset({"Cf", "Cc", "Zs", "Zl", "Zp"})
"""Unicode categories of characters that leave no ink."""


class PlanWarning(NamedTuple):
    """One doubt about the plan, with the JSON Pointer to its place."""

    pointer: str
    message: str


def review_plan(plan: Plan) -> list[PlanWarning]:
    """Return every warning on a plan, in the order of the document.

    Parameters
    ----------
    plan : the plan; details that no position uses are reviewed, too.
    """
    metric = get_default_style(plan.length_unit) == "metric"
    style: LengthStyle = "metric" if metric else "imperial"
    warnings = [
        PlanWarning(f"/details/{_escape(name)}{step}", f"Detail {name}: {message}")
        for name, detail in plan.details.items()
        for step, message in _review_detail(detail, style)
    ]
    warnings += _review_marks(plan)
    warnings += _review_neighbours(plan, style)
    return warnings


def _escape(step: str) -> str:
    """Escape a step of a JSON Pointer (RFC 6901)."""
    return step.replace("~", "~0").replace("/", "~1")


def _review_detail(detail: Detail, style: LengthStyle) -> Iterator[tuple[str, str]]:
    """Yield pointer below the detail and message of each doubt about it."""
    yield from _review_holes(detail, style)
    yield from _review_threads(detail, style)
    points = local_rods(detail)
    for a, b in combinations(range(len(detail.rods)), 2):
        apart = float(np.hypot(*(points[a] - points[b])))
        touch = (detail.rods[a].diameter + detail.rods[b].diameter) / 2.0
        hole = 0.0 if detail.plate is None else detail.plate.hole_diameter
        if apart < max(touch, hole) - SLACK_MM:
            what = "rods" if apart < touch - SLACK_MM else "holes"
            yield (
                f"/rods/{b}",
                f"the {what} {a + 1} and {b + 1} overlap,"
                f" {format_length(apart, style, 32)} from centre to centre.",
            )


def _review_holes(detail: Detail, style: LengthStyle) -> Iterator[tuple[str, str]]:
    plate, largest = detail.plate, max(rod.diameter for rod in detail.rods)
    if plate is None:
        return
    rod_text = format_length(largest, style, 32)
    if plate.hole_diameter < largest - SLACK_MM:
        hole = format_length(plate.hole_diameter, style, 32)
        yield (
            "/plate/hole_diameter",
            f"the hole, {hole}, is smaller than the rod, {rod_text}.",
        )
    needed = fasteners.min_edge_distance_mm(largest)
    if plate.edge_distance is not None and plate.edge_distance < needed - SLACK_MM:
        edge, least = (
            format_length(mm, style, 32) for mm in (plate.edge_distance, needed)
        )
        yield (
            "/plate/edge_distance",
            f"the edge distance, {edge}, is less than the {least} of AISC 360 Table"
            f" J3.4 for a {rod_text} rod.",
        )


def _review_threads(detail: Detail, style: LengthStyle) -> Iterator[tuple[str, str]]:
    plate = detail.plate
    if plate is None or plate.thickness is None:
        return
    for number, rod in enumerate(detail.rods):
        thread = fasteners.find_thread(rod.diameter)
        washers = fasteners.list_washers(rod.diameter)
        if rod.projection is None or thread is None or not washers:
            continue
        washer = max(each.thickness_mm for each in washers)
        left = rod.projection - plate.thickness - washer - thread.nut_max_mm
        if left < -SLACK_MM:
            short, projection = (
                format_length(mm, style, 32) for mm in (-left, rod.projection)
            )
            yield (
                f"/rods/{number}/projection",
                f"rod {number + 1} projects {projection}: {short} too little for plate,"
                " washer and nut, before any shim.",
            )


def _review_marks(plan: Plan) -> Iterator[PlanWarning]:
    """Yield the marks that look alike: case, Unicode form or invisible characters."""
    alike: dict[str, list[str]] = defaultdict(list)
    for number, position in enumerate(plan.positions):
        mark = position.mark
        earlier = alike[_fold_mark(mark)]
        pointer = f"/positions/{number}/mark"
        if earlier:
            yield PlanWarning(
                pointer,
                f"The marks {earlier[0]} and {mark} differ only in case, in the form of"
                " a character or in one that nobody sees. Rename one of them.",
            )
        elif any(unicodedata.category(each) == "Cf" for each in mark):
            yield PlanWarning(
                pointer, f"The mark {mark} has an invisible character. Type it again."
            )
        earlier.append(mark)


def _fold_mark(mark: str) -> str:
    """Return what a person sees of a mark, whatever its case."""
    folded = unicodedata.normalize("NFKC", mark).casefold()
    return "".join(
        each
        for each in folded
        if unicodedata.category(each) not in INVISIBLE_CATEGORIES
    )


def _review_neighbours(plan: Plan, style: LengthStyle) -> Iterator[PlanWarning]:
    """Yield the pairs of positions whose rods or plates overlap."""
    if len(plan.positions) < 2:
        return
    points, owner, reach = [], [], []
    for number, position in enumerate(plan.positions):
        detail = plan.details[position.detail]
        rods = rod_points(plan, position)
        edge = detail.plate.edge_distance if detail.plate else None
        points.append(rods)
        owner += [number] * len(rods)
        reach += [edge or max(max(r.diameter for r in detail.rods), INCH_MM) / 2.0] * (
            len(rods)
        )
    places, index, width = np.concatenate(points), np.array(owner), np.array(reach)
    pairs = cKDTree(places).query_pairs(2.0 * float(width.max()), output_type="ndarray")
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    first, second = index[pairs[:, 0]], index[pairs[:, 1]]
    near = (first != second) & (
        apart < width[pairs[:, 0]] + width[pairs[:, 1]] - SLACK_MM
    )
    nearest: dict[tuple[int, int], float] = {}
    for a, b, mm in zip(first[near], second[near], apart[near], strict=True):
        key = (int(min(a, b)), int(max(a, b)))
        nearest[key] = min(float(mm), nearest.get(key, np.inf))
    for (a, b), mm in sorted(nearest.items()):
        marks = f"{plan.positions[a].mark} and {plan.positions[b].mark}"
        yield PlanWarning(
            f"/positions/{b}",
            f"{marks} overlap: two of their rods are {format_length(mm, style, 32)}"
            " apart, less than their plates reach.",
        )
