"""Rules of an outline: its corners are counter-clockwise, simple and unambiguous."""

from collections.abc import Sequence
from typing import NamedTuple

from jobs.anchor_plan.values import Corner

StepPoint = tuple[int, int]

STEPS_PER_MM = 1_000_000
"""Lengths are read to six decimals of a millimetre, so that in these steps they are
integers and every test here is exact."""


class OutlineIssue(NamedTuple):
    """An issue of an outline; its corner is None for the outline as a whole."""

    corner_index: int | None
    message: str


def find_outline_issues(corners: Sequence[Corner]) -> list[OutlineIssue]:
    """List what keeps corners from being an outline.

    Parameters
    ----------
    corners : sequence of Corner
        In order, at least three. [mm]
    """
    points = [
        (round(each.x * STEPS_PER_MM), round(each.y * STEPS_PER_MM)) for each in corners
    ]
    issues = _find_repeated_corners(corners, points)
    # A repeated corner makes an edge of no length, which would cross its neighbours.
    issues = issues or _find_crossing_edges(corners, points)
    if not issues and _doubled_area(points) < 0:
        order = ", ".join(each.name for each in reversed(corners))
        message = (
            "The corners run clockwise; list them counter-clockwise as seen from "
            f"above: {order}."
        )
        issues.append(OutlineIssue(None, message))
    return issues


def find_ambiguous_pairs(names: Sequence[str]) -> list[str]:
    """List the keys, such as `A-B-C`, that could mean two pairs of corners."""
    if not any("-" in name for name in names):
        return []
    met: set[str] = set()
    ambiguous: list[str] = []
    for first in names:
        for second in names:
            key = f"{first}-{second}"
            if first != second and key in met:
                ambiguous.append(key)
            met.add(key)
    return ambiguous


def _rotate(points: Sequence[StepPoint]) -> list[StepPoint]:
    return [*points[1:], points[0]]


def _doubled_area(points: Sequence[StepPoint]) -> int:
    return sum(
        a[0] * b[1] - b[0] * a[1] for a, b in zip(points, _rotate(points), strict=True)
    )


def _find_repeated_corners(
    corners: Sequence[Corner], points: Sequence[StepPoint]
) -> list[OutlineIssue]:
    first_at: dict[StepPoint, str] = {}
    issues: list[OutlineIssue] = []
    for index, (corner, point) in enumerate(zip(corners, points, strict=True)):
        if point in first_at:
            message = (
                f"Corner {corner.name} is at the same point as corner "
                f"{first_at[point]}. Each corner has its own point, and the first is "
                "not repeated at the end."
            )
            issues.append(OutlineIssue(index, message))
        first_at.setdefault(point, corner.name)
    return issues


def _find_crossing_edges(
    corners: Sequence[Corner], points: Sequence[StepPoint]
) -> list[OutlineIssue]:
    count = len(points)
    edges = list(zip(points, _rotate(points), strict=True))
    boxes = [(*map(min, a, b), *map(max, a, b)) for a, b in edges]
    issues: list[OutlineIssue] = []
    for j in range(count):
        for i in range(j):
            # Bounding boxes first: 400 corners have 80,000 pairs of edges.
            if not _overlap(boxes[j], boxes[i]):
                continue
            # Neighbouring edges always share a corner; they may only not run back on
            # it.
            if j - i == 1 or (i == 0 and j == count - 1):
                before, after = (i, j) if j - i == 1 else (j, i)
                if not _reverses(edges[before], edges[after]):
                    continue
            elif not _edges_touch(*edges[i], *edges[j]):
                continue
            message = (
                f"The edge from {_edge_label(corners, j)} crosses or touches the edge "
                f"from {_edge_label(corners, i)}. Edges of an outline meet only at "
                "its corners."
            )
            issues.append(OutlineIssue(j, message))
    return issues


def _overlap(box: Sequence[int], other: Sequence[int]) -> bool:
    return (
        box[0] <= other[2]
        and other[0] <= box[2]
        and box[1] <= other[3]
        and other[1] <= box[3]
    )


def _edge_label(corners: Sequence[Corner], index: int) -> str:
    return f"{corners[index].name} to {corners[(index + 1) % len(corners)].name}"


def _reverses(
    first: tuple[StepPoint, StepPoint], second: tuple[StepPoint, StepPoint]
) -> bool:
    """Return True if the second edge runs back along the first from its end."""
    (ax, ay), (bx, by) = first
    cx, cy = second[1]
    if _orientation(first[0], first[1], second[1]) != 0:
        return False
    return (bx - ax) * (cx - bx) + (by - ay) * (cy - by) < 0


def _orientation(a: StepPoint, b: StepPoint, c: StepPoint) -> int:
    """Return the side of the line from a to b that c is on: 1 left, -1 right, 0 on."""
    cross = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return (cross > 0) - (cross < 0)


def _edges_touch(a: StepPoint, b: StepPoint, c: StepPoint, d: StepPoint) -> bool:
    """Return True if two edges with overlapping bounding boxes share a point."""
    return (
        _orientation(a, b, c) * _orientation(a, b, d) <= 0
        and _orientation(c, d, a) * _orientation(c, d, b) <= 0
    )
