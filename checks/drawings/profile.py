"""Drawing of the levels as a profile along each wall: pads, tolerance band, shims.

Heights are counted from the highest pad of the building, which is the line at the
top; they are drawn many times larger than lengths along the wall.

        0 ----+---+--------+---+----- highest pad
      band    |pad|  [==]  |pad|
     limit -- +---+--[==]--+---+---   shims bring a low pad up
                     |pad|
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from checks.drawings.legend import LegendEntry, layout_entries, list_verdict_entries
from checks.drawings.result_view import ResultView
from core.formatting import DisplayStyle, QuantityFormatter, get_default_style
from core.svg import FloatArray, format_coordinate
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.geometry import list_walls
from jobs.anchor_plan.values import Plan, Position
from jobs.exchange.result.document import ResultDocument
from jobs.exchange.result.levels import PadResult

WIDTH_UNITS = 480.0
MAX_PADS_PER_PROFILE = 7  # a longer wall is drawn in parts
MIN_PAD_SPACING_UNITS = 58.0  # room for the text below each pad
PAD_WIDTH_UNITS = 26.0
SIDE_MARGIN_UNITS = 44.0
DATUM_UNITS = 52.0  # where the highest pad is drawn
PAD_DEPTH_UNITS = 110.0  # from the highest pad to the lowest
FOOT_UNITS = 26.0  # from the lowest pad to the ground
DEFAULT_LIMIT_MM = 3.175


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnShim:
    """One plate of a stack."""

    y: float
    height: float


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnPad:
    """One pad with its height and its shims."""

    mark: str
    href: str
    verdict: Verdict
    title: str
    x: float
    left: float
    top: float
    height: float
    shims: tuple[DrawnShim, ...]
    shims_top: float
    mm: float | None
    shim_mm: float | None
    refer: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class ProfileDrawing:
    """Values that the template writes. [drawing units]"""

    key: str  # prefix of ids, unique among the profiles of a page
    size: str
    width: float
    height: float
    title: str
    description: str
    datum_y: float
    band_height: float
    limit_y: float
    limit_mm: float
    ground: str
    pads: tuple[DrawnPad, ...]
    pad_width: float
    shim_left: float
    shim_width: float
    hit_height: float
    mark_y: float
    height_y: float
    shim_y: float
    legend: tuple[LegendEntry, ...]


@dataclass(frozen=True, kw_only=True)
class _HeightScale:
    """Conversion of heights to drawing units, and values that all pads share."""

    per_mm: float
    limit: float
    thickness: Mapping[str, float]  # of shims, by the plan's own text [mm]
    lengths: QuantityFormatter

    def y(self, height_mm: float) -> float:
        return DATUM_UNITS - height_mm * self.per_mm

    @property
    def bottom(self) -> float:
        return DATUM_UNITS + PAD_DEPTH_UNITS + FOOT_UNITS


def draw_profiles(
    plan: Plan,
    result: ResultDocument | None,
    *,
    href: Callable[[str], str] | None = None,
    units: DisplayStyle | None = None,
) -> tuple[ProfileDrawing, ...]:
    """Draw every wall that has pads, and the pads inside the building.

    Parameters
    ----------
    plan : Plan
        The anchor plan.
    result : ResultDocument, optional
        Without levels in it there is nothing to draw.
    href : callable, optional
        Address of a position's page, from its mark.
    units : DisplayStyle, optional
        Notation of lengths; that of the plan's own unit when left out.
    """
    results = ResultView(result)
    if not any(pad["height"] is not None for pad in results.pads.values()):
        return ()
    scale = _build_scale(
        plan, results, QuantityFormatter(units or get_default_style(plan.length_unit))
    )
    drawings: list[ProfileDrawing] = []
    for name, positions in _group_by_wall(plan, results):
        count = -(-len(positions) // MAX_PADS_PER_PROFILE)
        for number, part in enumerate(np.array_split(np.array(positions), count), 1):
            title = f"{name}, part {number} of {count}" if count > 1 else name
            drawings.append(
                _draw_profile(
                    list(part), results, scale, title, len(drawings) + 1, href
                )
            )
    return tuple(drawings)


def _group_by_wall(plan: Plan, results: ResultView) -> list[tuple[str, list[Position]]]:
    """Group the levelled positions by wall in running order, then those inside."""
    groups = []
    for wall in list_walls(plan):
        on = [p for p in plan.positions if p.wall == wall and p.mark in results.pads]
        on.sort(key=lambda position: position.along or 0.0)
        groups.append(("Wall {}-{}".format(*wall), on))
    points = [p for p in plan.positions if p.wall is None and p.mark in results.pads]
    groups.append(("Inside", points))
    return [(name, on) for name, on in groups if on]


def _build_scale(
    plan: Plan, results: ResultView, lengths: QuantityFormatter
) -> _HeightScale:
    limit = results.get_limit("pad_level")
    if limit is None:
        limits = [
            abs(check["limit"])
            for check in results.checks.values()
            if check["kind"] == CheckKind.LEVEL and check["limit"] is not None
        ]
        limit = min(limits, default=DEFAULT_LIMIT_MM)
    lowest = min(
        pad["height"] for pad in results.pads.values() if pad["height"] is not None
    )
    return _HeightScale(
        per_mm=PAD_DEPTH_UNITS / max(-lowest, 2.0 * limit),
        limit=limit,
        thickness={plate.text: float(plate.mm) for plate in plan.shim_thicknesses},
        lengths=lengths,
    )


def _draw_profile(
    positions: Sequence[Position],
    results: ResultView,
    scale: _HeightScale,
    title: str,
    number: int,
    href: Callable[[str], str] | None,
) -> ProfileDrawing:
    places = _spread_pads(positions)
    pads = tuple(
        _draw_pad(results.pads[position.mark], float(x), scale, href)
        for position, x in zip(positions, places, strict=True)
    )
    tops = [
        f"{format_coordinate(pad.x)} {format_coordinate(pad.top)}"
        for pad in pads
        if pad.mm is not None
    ]
    legend, end = layout_entries(_list_legend(pads), WIDTH_UNITS, scale.bottom + 62)
    return ProfileDrawing(
        key=f"profile-{number}",
        size="s",
        width=WIDTH_UNITS,
        height=round(end + 2, 1),
        title=title,
        description=_describe_drawing(pads),
        datum_y=DATUM_UNITS,
        band_height=round(scale.limit * scale.per_mm, 1),
        limit_y=round(scale.y(-scale.limit), 1),
        limit_mm=-scale.limit,
        ground=f"M{' L'.join(tops)}" if len(tops) > 1 else "",
        pads=pads,
        pad_width=PAD_WIDTH_UNITS,
        shim_left=-PAD_WIDTH_UNITS / 2 - 3,
        shim_width=PAD_WIDTH_UNITS + 6,
        hit_height=round(scale.bottom + 20 - DATUM_UNITS, 1),
        mark_y=round(scale.bottom + 14, 1),
        height_y=round(scale.bottom + 31, 1),
        shim_y=round(scale.bottom + 47, 1),
        legend=legend,
    )


def _spread_pads(positions: Sequence[Position]) -> FloatArray:
    """Place pads along the wall: to scale, but with room for the text below each."""
    along = np.array(
        [
            float(index) if position.along is None else position.along
            for index, position in enumerate(positions)
        ]
    )
    span = float(np.ptp(along)) or 1.0
    room = WIDTH_UNITS - 2 * SIDE_MARGIN_UNITS - MIN_PAD_SPACING_UNITS / 2
    start = SIDE_MARGIN_UNITS + MIN_PAD_SPACING_UNITS / 2
    if len(along) == 1:
        return np.array([WIDTH_UNITS / 2])
    places = start + (along - along[0]) / span * (room - MIN_PAD_SPACING_UNITS / 2)
    for index in range(1, len(places)):  # push to the right, then back to the left
        places[index] = max(places[index], places[index - 1] + MIN_PAD_SPACING_UNITS)
    places[-1] = min(places[-1], start + room - MIN_PAD_SPACING_UNITS / 2)
    for index in range(len(places) - 2, -1, -1):
        places[index] = min(places[index], places[index + 1] - MIN_PAD_SPACING_UNITS)
    return np.asarray(places)


def _draw_pad(
    entry: PadResult,
    x: float,
    scale: _HeightScale,
    href: Callable[[str], str] | None,
) -> DrawnPad:
    height = entry["height"]
    top = scale.y(height if height is not None else 0.0)
    shims, at = [], top
    for plate in entry.get("stack") or []:  # thickest first, so it lies lowest
        thick = scale.thickness.get(plate, 0.0) * scale.per_mm
        at -= thick
        shims.append(DrawnShim(y=round(at, 1), height=round(thick, 1)))
    return DrawnPad(
        mark=entry["mark"],
        href=href(entry["mark"]) if href else "",
        verdict=Verdict(entry["verdict"]),
        title=_pad_title(entry, scale),
        x=round(x, 1),
        left=round(x - PAD_WIDTH_UNITS / 2, 1),
        top=round(top, 1),
        height=round(scale.bottom - top, 1),
        shims=tuple(shims),
        shims_top=round(at - 12, 1),
        mm=height,
        shim_mm=entry.get("shim") or None,
        refer=entry["verdict"] == Verdict.OUTSIDE and not shims,
    )


def _pad_title(entry: PadResult, scale: _HeightScale) -> str:
    mark, verdict = entry["mark"], Verdict(entry["verdict"]).label
    if entry["height"] is None:
        return f"{mark}: {verdict}"
    title = f"{mark}: {scale.lengths.format_deviation(entry['height'])}, {verdict}"
    stack = entry.get("stack")
    return f"{title}; shims {' + '.join(stack)}" if stack else title


def _list_legend(pads: Sequence[DrawnPad]) -> list[LegendEntry]:
    entries = list_verdict_entries(pad.verdict for pad in pads)
    if any(pad.shims for pad in pads):
        entries.append(LegendEntry(line_class="shim-line", text="shims"))
    entries.append(LegendEntry(line_class="limit", text="lowest allowed without shims"))
    return entries


def _describe_drawing(pads: Sequence[DrawnPad]) -> str:
    return ". ".join(pad.title for pad in pads) + "."
