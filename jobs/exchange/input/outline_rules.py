"""What makes a list of corners an outline: counter-clockwise, simple, unambiguous."""

from collections.abc import Sequence

from jobs.anchor_plan.values import Corner

StepPoint = tuple[int, int]

STEPS_PER_MM = 1_000_000
"""Lengths are read to six decimals of a millimetre: in these steps they are whole."""


def find_outline_errors(corners: Sequence[Corner]) -> list[tuple[int | None, str]]:
    """Say what keeps corners from being an outline.

    Parameters
    ----------
    corners : sequence of Corner
        In order, at least three. [mm]

    Returns
    -------
    list of (index or None, message)
        The corner it is about, None for the outline as a whole. Exact: the
        arithmetic is done in whole steps of 1e-6 mm.
    """
    points = [
        (round(each.x * STEPS_PER_MM), round(each.y * STEPS_PER_MM)) for each in corners
    ]
    faults = _find_repeated_corners(corners, points) or _find_crossing_edges(
        corners, points
    )
    if not faults:
        area = sum(
            a[0] * b[1] - b[0] * a[1]
            for a, b in zip(points, _rotate(points), strict=True)
        )
        if area < 0:
            order = ", ".join(each.name for each in reversed(corners))
            faults.append(
                (
                    None,
                    f"The corners run clockwise; list them counter-clockwise as "
                    f"seen from above: {order}.",
                )
            )
    return faults


def _rotate(points: Sequence[StepPoint]) -> list[StepPoint]:
    return [*points[1:], points[0]]


def _find_repeated_corners(
    corners: Sequence[Corner], points: Sequence[StepPoint]
) -> list[tuple[int | None, str]]:
    first_at: dict[StepPoint, str] = {}
    faults: list[tuple[int | None, str]] = []
    for index, (corner, point) in enumerate(zip(corners, points, strict=True)):
        if point in first_at:
            faults.append(
                (
                    index,
                    f"Corner {corner.name} stands where corner {first_at[point]} "
                    f"does; every corner has its own place, and the first is not "
                    f"repeated at the end.",
                )
            )
        first_at.setdefault(point, corner.name)
    return faults


def _find_crossing_edges(
    corners: Sequence[Corner], points: Sequence[StepPoint]
) -> list[tuple[int | None, str]]:
    count = len(points)
    ends = list(zip(points, _rotate(points), strict=True))
    boxes = [(*map(min, a, b), *map(max, a, b)) for a, b in ends]
    faults: list[tuple[int | None, str]] = []
    for j in range(count):
        for i in range(j):
            mine, other = boxes[j], boxes[i]
            if (
                mine[0] > other[2]
                or other[0] > mine[2]
                or mine[1] > other[3]
                or other[1] > mine[3]
            ):
                continue
            if j - i == 1 or (i == 0 and j == count - 1):
                before, after = (i, j) if j - i == 1 else (j, i)
                if not _reverses(ends[before], ends[after]):
                    continue
            elif not _edges_touch(*ends[i], *ends[j]):
                continue
            faults.append(
                (
                    j,
                    f"The edge from {_edge_label(corners, j)} crosses or touches the edge "
                    f"from {_edge_label(corners, i)}; the edges of an outline meet only "
                    f"at their corners.",
                )
            )
    return faults


def _edge_label(corners: Sequence[Corner], index: int) -> str:
    return f"{corners[index].name} to {corners[(index + 1) % len(corners)].name}"


def _reverses(
    first: tuple[StepPoint, StepPoint], second: tuple[StepPoint, StepPoint]
) -> bool:
    """Whether the second edge runs back along the first, from where that ends."""
    (ax, ay), (bx, by) = first
    cx, cy = second[1]
    if _orientation(first[0], first[1], second[1]) != 0:
        return False
    return (bx - ax) * (cx - bx) + (by - ay) * (cy - by) < 0


def _orientation(a: StepPoint, b: StepPoint, c: StepPoint) -> int:
    """Tell the side of the line from a to b that c is on: 1 left, -1 right, 0 on it."""
    turn = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    return (turn > 0) - (turn < 0)


def _edges_touch(a: StepPoint, b: StepPoint, c: StepPoint, d: StepPoint) -> bool:
    """Whether two edges whose bounding boxes overlap have a point in common."""
    return (
        _orientation(a, b, c) * _orientation(a, b, d) <= 0
        and _orientation(c, d, a) * _orientation(c, d, b) <= 0
    )


def find_ambiguous_pairs(names: Sequence[str]) -> list[str]:
    """List the keys, such as `A-B-C`, that could mean two pairs of corners."""
    if not any("-" in name for name in names):
        return []
    seen: set[str] = set()
    twice: list[str] = []
    for first in names:
        for second in names:
            key = f"{first}-{second}"
            if first != second and key in seen:
                twice.append(key)
            seen.add(key)
    return twice
