"""Warnings on the plan itself, before anything is measured.

A plan can be drawn so that no measurement makes it right: threads short on paper, an
edge too narrow, rods or plates that overlap, two marks that nobody can tell apart. None
of these is refused, because a drawing may have its reasons; none is passed in silence.
"""

import unicodedata
from collections import defaultdict
from collections.abc import Iterator
from enum import StrEnum
from functools import lru_cache
from itertools import combinations
from typing import NamedTuple

import numpy as np

from checks.engine import fasteners
from checks.engine.conformity import SLACK_MM
from checks.engine.constants import INCH_MM
from core.formatting import get_default_style
from core.units import LengthStyle, format_length
from jobs.anchor_plan.geometry import local_rods, rod_points
from jobs.anchor_plan.values import Detail, Plan, PlanKey

INVISIBLE_CATEGORIES = frozenset({"Cf", "Cc", "Zs", "Zl", "Zp"})
"""Unicode categories of characters that leave no ink."""

MARKS = "marks"
"""Subject of the doubts about marks that look alike."""


class DoubtKind(StrEnum):
    """Kinds of doubt about a plan."""

    HOLE = "hole"
    EDGE = "edge"
    THREADS = "threads"
    RODS_OVERLAP = "rods_overlap"
    MARKS = "marks"
    POSITIONS_OVERLAP = "positions_overlap"


class PlanWarning(NamedTuple):
    """One doubt about the plan.

    Attributes
    ----------
    pointer : JSON Pointer to its place.
    message : the doubt as a sentence.
    kind : what is doubted.
    subject : name of the detail, mark of the position, or `MARKS`.
    amount : how much is missing, in mm; 0.0 for marks.
    place : what of the subject it concerns, such as "rods 1, 2".
    """

    pointer: str
    message: str
    kind: DoubtKind
    subject: str
    amount: float
    place: str = ""


def review_plan(plan: Plan) -> tuple[PlanWarning, ...]:
    """Return every warning on a plan, in the order of the document.

    Parameters
    ----------
    plan : the plan; details that no position uses are reviewed, too.
    """
    return _review_plan(PlanKey(plan))


def list_warning_messages(plan: Plan) -> tuple[str, ...]:
    """List the warnings on a plan as sentences, for the pages where it is drawn up."""
    return tuple(each.message for each in review_plan(plan))


@lru_cache(maxsize=32)
def _review_plan(key: PlanKey) -> tuple[PlanWarning, ...]:
    plan = key.plan
    metric = get_default_style(plan.length_unit) == "metric"
    style: LengthStyle = "metric" if metric else "imperial"
    warnings = [
        PlanWarning(
            pointer=f"/details/{_escape(name)}{doubt.step}",
            message=f"Detail {name}: {doubt.message}",
            kind=doubt.kind,
            subject=name,
            amount=doubt.amount,
            place=doubt.place,
        )
        for name, detail in plan.details.items()
        for doubt in _review_detail(detail, style)
    ]
    warnings += _review_marks(plan)
    warnings += _review_neighbours(plan, style)
    return tuple(warnings)


def _escape(step: str) -> str:
    """Escape a step of a JSON Pointer (RFC 6901)."""
    return step.replace("~", "~0").replace("/", "~1")


class _DetailDoubt(NamedTuple):
    """A doubt about a detail; `step` is the pointer below it."""

    step: str
    message: str
    kind: DoubtKind
    amount: float
    place: str = ""


def _review_detail(detail: Detail, style: LengthStyle) -> Iterator[_DetailDoubt]:
    """Yield each doubt about a detail."""
    yield from _review_holes(detail, style)
    yield from _review_threads(detail, style)
    points = local_rods(detail)
    for a, b in combinations(range(len(detail.rods)), 2):
        apart = float(np.hypot(*(points[a] - points[b])))
        touch = (detail.rods[a].diameter + detail.rods[b].diameter) / 2.0
        hole = 0.0 if detail.plate is None else detail.plate.hole_diameter
        if apart < max(touch, hole) - SLACK_MM:
            what = "rods" if apart < touch - SLACK_MM else "holes"
            yield _DetailDoubt(
                f"/rods/{b}",
                f"the {what} {a + 1} and {b + 1} overlap,"
                f" {format_length(apart, style, 32)} from centre to centre.",
                DoubtKind.RODS_OVERLAP,
                max(touch, hole) - apart,
                f"rods {a + 1}, {b + 1}",
            )


def _review_holes(detail: Detail, style: LengthStyle) -> Iterator[_DetailDoubt]:
    plate, largest = detail.plate, max(rod.diameter for rod in detail.rods)
    if plate is None:
        return
    rod_text = format_length(largest, style, 32)
    if plate.hole_diameter < largest - SLACK_MM:
        hole = format_length(plate.hole_diameter, style, 32)
        yield _DetailDoubt(
            "/plate/hole_diameter",
            f"the hole, {hole}, is smaller than the rod, {rod_text}.",
            DoubtKind.HOLE,
            largest - plate.hole_diameter,
        )
    needed = fasteners.min_edge_distance_mm(largest)
    if plate.edge_distance is not None and plate.edge_distance < needed - SLACK_MM:
        edge, least = (
            format_length(mm, style, 32) for mm in (plate.edge_distance, needed)
        )
        yield _DetailDoubt(
            "/plate/edge_distance",
            f"the edge distance, {edge}, is less than the {least} of AISC 360 Table"
            f" J3.4 for a {rod_text} rod.",
            DoubtKind.EDGE,
            needed - plate.edge_distance,
        )


def _review_threads(detail: Detail, style: LengthStyle) -> Iterator[_DetailDoubt]:
    """Yield one doubt for all rods that miss the same length of thread."""
    plate = detail.plate
    if plate is None or plate.thickness is None:
        return
    short: dict[tuple[float, float], list[int]] = defaultdict(list)
    for number, rod in enumerate(detail.rods):
        nut, washer = fasteners.find_nut_and_washer_mm(rod.diameter)
        if rod.projection is None:
            continue
        left = rod.projection - plate.thickness - washer - nut
        if left < -SLACK_MM:  # never for a size that the tables lack
            short[(-left, rod.projection)].append(number)
    for (missing, projection), numbers in short.items():
        lack, length = (format_length(mm, style, 32) for mm in (missing, projection))
        several = len(numbers) > 1
        place = ", ".join(str(number + 1) for number in numbers)
        yield _DetailDoubt(
            f"/rods/{numbers[0]}/projection",
            f"rod{'s' if several else ''} {place} project{'' if several else 's'}"
            f" {length}: {lack} too little for plate, washer and nut, before any shim.",
            DoubtKind.THREADS,
            missing,
            f"rods {place}",
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
                DoubtKind.MARKS,
                MARKS,
                0.0,
                f"{earlier[0]}, {mark}",
            )
        elif any(unicodedata.category(each) == "Cf" for each in mark):
            yield PlanWarning(
                pointer,
                f"The mark {mark} has an invisible character. Type it again.",
                DoubtKind.MARKS,
                MARKS,
                0.0,
                mark,
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
    from scipy.spatial import cKDTree

    pairs = cKDTree(places).query_pairs(2.0 * float(width.max()), output_type="ndarray")
    apart = np.hypot(*(places[pairs[:, 0]] - places[pairs[:, 1]]).T)
    first, second = index[pairs[:, 0]], index[pairs[:, 1]]
    near = (first != second) & (
        apart < width[pairs[:, 0]] + width[pairs[:, 1]] - SLACK_MM
    )
    lack = width[pairs[:, 0]] + width[pairs[:, 1]] - apart
    worst: dict[tuple[int, int], tuple[float, float]] = {}
    for a, b, mm, missing in zip(
        first[near], second[near], apart[near], lack[near], strict=True
    ):
        key = (int(min(a, b)), int(max(a, b)))
        before = worst.get(key, (np.inf, 0.0))
        worst[key] = (min(float(mm), before[0]), max(float(missing), before[1]))
    for (a, b), (mm, missing) in sorted(worst.items()):
        marks = f"{plan.positions[a].mark} and {plan.positions[b].mark}"
        yield PlanWarning(
            f"/positions/{b}",
            f"{marks} overlap: two of their rods are {format_length(mm, style, 32)}"
            " apart, less than their plates reach.",
            DoubtKind.POSITIONS_OVERLAP,
            plan.positions[b].mark,
            missing,
            marks,
        )
