"""The mistakes crews make, done to readings on purpose.

Each takes what the crew saw and spoils it the way people do; it gives back the keys
of the checks it spoilt, none where the building offers no place for it. The list is
the one the evaluation knows likely causes for; sizes are ours. No Django.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from checks.demo.crew import LEVEL_KINDS, BuiltFoundation, CrewReading
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan, Position

FOOT_MM = 304.8
INCH_MM = 25.4
GRADE_ROD_LENGTHS_MM = (4000.0, 5000.0, 13 * FOOT_MM, 16 * FOOT_MM, 25 * FOOT_MM)
FLANGE_WIDTHS_MM = (50.8, 63.5, 76.2, 88.9)

Generator = np.random.Generator
MistakeFunction = Callable[[BuiltFoundation, list[CrewReading], Generator], list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class CrewMistake:
    """A way to spoil readings, and the word the evaluation should find for it."""

    name: str
    cause: str
    apply: MistakeFunction


def _choose_reading(
    rng: Generator, things: Iterable[CrewReading]
) -> CrewReading | None:
    listed = list(things)
    return listed[int(rng.integers(len(listed)))] if listed else None


def _list_keys(taken: Iterable[CrewReading]) -> list[str]:
    return list(dict.fromkeys(each.check.key for each in taken))


def _select_kinds(taken: list[CrewReading], *kinds: CheckKind) -> list[CrewReading]:
    return [each for each in taken if each.check.kind in kinds]


def _find_position(plan: Plan, taken: CrewReading) -> Position | None:
    return next((p for p in plan.positions if p.mark == taken.check.mark), None)


def _group_by_wall(
    plan: Plan, taken: Iterable[CrewReading]
) -> dict[tuple[str, str], list[CrewReading]]:
    by_wall: dict[tuple[str, str], list[CrewReading]] = {}
    for each in taken:
        position = _find_position(plan, each)
        if position is not None and position.wall is not None:
            by_wall.setdefault(position.wall, []).append(each)
    return by_wall


def _choose_wall(
    built: BuiltFoundation, taken: Iterable[CrewReading], rng: Generator, least: int
) -> list[CrewReading]:
    """Readings on one wall where at least this many positions were read."""
    groups = [
        group
        for group in _group_by_wall(built.plan, taken).values()
        if len({each.check.mark for each in group}) >= least
    ]
    return groups[int(rng.integers(len(groups)))] if groups else []


def _group_by_mark(taken: Iterable[CrewReading]) -> dict[str, list[CrewReading]]:
    groups: dict[str, list[CrewReading]] = {}
    for each in taken:
        groups.setdefault(each.check.mark or "", []).append(each)
    return groups


def _add_error(taken: Iterable[CrewReading], mm: float) -> list[str]:
    listed = list(taken)
    for each in listed:
        each.mm += mm
    return _list_keys(listed)


def misread_foot(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """One long reading a foot off."""
    long = [
        each
        for each in _select_kinds(
            taken, CheckKind.DIAGONAL, CheckKind.WALL, CheckKind.LINE
        )
        if each.mm > 2.0 * FOOT_MM
    ]
    one = _choose_reading(rng, long)
    return [] if one is None else _add_error([one], FOOT_MM * rng.choice((-1.0, 1.0)))


def misread_inch(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """One reading an inch off."""
    kinds = (
        CheckKind.WALL,
        CheckKind.DIAGONAL,
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.OFFSET,
    )
    kind = kinds[int(rng.integers(len(kinds)))]
    one = _choose_reading(
        rng, (each for each in _select_kinds(taken, kind) if abs(each.mm) > 30.0)
    )
    return [] if one is None else _add_error([one], INCH_MM * rng.choice((-1.0, 1.0)))


def hold_foot_mark(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """The tape held at its 1 ft mark along a whole wall: each reading a foot long."""
    first = [each for each in _select_kinds(taken, CheckKind.LINE) if not each.start]
    return _add_error(_choose_wall(built, first, rng, 2), FOOT_MM)


def measure_from_outer_edge(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """A wall's setbacks, or its running dimensions, from the concrete's edge."""
    notch = built.plan.notch
    kind = (CheckKind.SETBACK, CheckKind.LINE)[int(rng.integers(2))]
    wall = _choose_wall(built, _select_kinds(taken, kind), rng, 2)
    return _add_error(wall, notch.width) if notch is not None else []


def measure_to_flange(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """Web-referenced members of one wall taken to the flange of the neighbour."""
    plan = built.plan
    webs = [
        each
        for each in _select_kinds(taken, CheckKind.LINE)
        if (position := _find_position(plan, each)) is not None
        and plan.details[position.detail].reference == "web"
    ]
    wall = _choose_wall(built, webs, rng, 2)
    width = float(rng.choice(FLANGE_WIDTHS_MM)) * float(rng.choice((-1.0, 1.0)))
    for each in wall:  # the flange is on the same side, from wherever it was measured
        each.mm += -width if each.start else width
    return _list_keys(wall)


def measure_setbacks_to_rod_edge(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """A wall's setbacks to the near edge of each rod, or all to the far edge."""
    wall = _choose_wall(built, _select_kinds(taken, CheckKind.SETBACK), rng, 2)
    sign = float(rng.choice((-1.0, 1.0)))
    for each in wall:
        each.mm += sign * _rod_diameter(built.plan, each) / 2.0
    return _list_keys(wall)


def measure_offsets_to_rod_edge(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """One position's offsets to the edge of each rod nearest the reference line."""
    groups = list(_group_by_mark(_select_kinds(taken, CheckKind.OFFSET)).values())
    if not groups:
        return []
    chosen = groups[int(rng.integers(len(groups)))]
    for each in chosen:
        each.mm -= np.sign(each.mm) * _rod_diameter(built.plan, each) / 2.0
    return _list_keys(chosen)


def _rod_diameter(plan: Plan, taken: CrewReading) -> float:
    position = _find_position(plan, taken)
    if position is None:
        return 0.0
    return plan.details[position.detail].rods[taken.check.rods[0] - 1].diameter


def exchange_lines(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """Two running dimensions of one wall, each written on the other's line."""
    first = [each for each in _select_kinds(taken, CheckKind.LINE) if not each.start]
    wall = _choose_wall(built, first, rng, 2)
    if not wall:
        return []
    place = int(rng.integers(len(wall) - 1))
    return _swap_values(wall[place], wall[place + 1])


def exchange_setback_and_offset(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """One rod's setback written as its offset, and the other way round."""
    setback = _choose_reading(rng, _select_kinds(taken, CheckKind.SETBACK))
    if setback is None:
        return []
    key = setback.check.key.replace("setback:", "offset:")
    offset = next(each for each in taken if each.check.key == key)
    sign = np.sign(offset.mm) or 1.0
    setback.mm, offset.mm = abs(offset.mm), sign * setback.mm
    return _list_keys([setback, offset])


def exchange_setbacks(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """Two setbacks of one position, each written for the other row of rods."""
    groups = list(_group_by_mark(_select_kinds(taken, CheckKind.SETBACK)).values())
    group = groups[int(rng.integers(len(groups)))]
    pairs = [
        (one, other)
        for one in group
        for other in group
        if other.check.rods > one.check.rods and abs(other.mm - one.mm) > 25.0
    ]
    return _swap_values(*pairs[int(rng.integers(len(pairs)))]) if pairs else []


def _swap_values(one: CrewReading, other: CrewReading) -> list[str]:
    one.mm, other.mm = other.mm, one.mm
    return _list_keys([one, other])


def turn_detail(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """A detail that is not symmetrical, read (or set) the wrong way round."""
    plan = built.plan
    ways = [
        (mark, sign)
        for mark, group in _group_by_mark(
            _select_kinds(taken, CheckKind.SETBACK, CheckKind.OFFSET)
        ).items()
        for sign in ((-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0))
        if _is_visible(plan, group[0], sign)
    ]
    if not ways:
        return []
    mark, sign = ways[int(rng.integers(len(ways)))]
    position = next(p for p in plan.positions if p.mark == mark)
    inward = [rod.inward for rod in plan.details[position.detail].rods]
    ends = min(inward) + max(inward)
    mine = [each for each in taken if each.check.mark == mark]
    spoilt = []
    for each in _select_kinds(mine, CheckKind.OFFSET):
        if sign[0] < 0.0:
            each.mm = -each.mm
            spoilt.append(each)
    for each in _select_kinds(mine, CheckKind.SETBACK):
        if sign[1] < 0.0:
            each.mm = ends - each.mm
            spoilt.append(each)
    return _list_keys(spoilt)


def _is_visible(plan: Plan, taken: CrewReading, sign: tuple[float, float]) -> bool:
    """Whether a detail the wrong way round is another set of points. [mm]"""
    position = _find_position(plan, taken)
    if position is None:
        return False
    rods = plan.details[position.detail].rods
    planned = np.array([(rod.along, rod.inward) for rod in rods])
    middle = np.array([0.0, planned[:, 1].min() + planned[:, 1].max()])
    turned = planned * np.array(sign) + middle * (np.array(sign) < 0.0)
    apart = np.linalg.norm(turned[:, None] - planned[None], axis=2).min(axis=1)
    return bool(apart.max() > 12.0)


def invert_grade_rod(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """One grade-rod reading with the rod on its head."""
    one = _choose_reading(rng, _select_kinds(taken, CheckKind.LEVEL))
    if one is None:
        return []
    one.mm = float(rng.choice(GRADE_ROD_LENGTHS_MM)) - one.mm
    return _list_keys([one])


def knock_setup(
    built: BuiltFoundation, taken: list[CrewReading], rng: Generator
) -> list[str]:
    """The level knocked part of the way through a set-up."""
    levels = _select_kinds(taken, *LEVEL_KINDS)
    names = sorted({each.setup or "" for each in levels})
    if not names:
        return []
    setup = names[int(rng.integers(len(names)))]
    mine = [each for each in levels if each.setup == setup]
    # Someone who knocks the level before the last pad spoils the closing sight too.
    since = int(rng.integers(2, max(3, len(mine) - 2)))
    step = float(rng.uniform(9.0, 40.0) * rng.choice((-1.0, 1.0)))
    return _add_error(mine[since:], step)


MISTAKES: tuple[CrewMistake, ...] = (
    CrewMistake(name="foot misread", cause="misread", apply=misread_foot),
    CrewMistake(name="inch misread", cause="misread", apply=misread_inch),
    CrewMistake(name="tape at its 1 ft mark", cause="foot_mark", apply=hold_foot_mark),
    CrewMistake(
        name="from the outer edge", cause="outer_edge", apply=measure_from_outer_edge
    ),
    CrewMistake(name="to the flange", cause="flange_not_web", apply=measure_to_flange),
    CrewMistake(
        name="setbacks to the rod's edge",
        cause="rod_edge",
        apply=measure_setbacks_to_rod_edge,
    ),
    CrewMistake(
        name="offsets to the rod's edge",
        cause="rod_edge",
        apply=measure_offsets_to_rod_edge,
    ),
    CrewMistake(name="two lines exchanged", cause="exchanged", apply=exchange_lines),
    CrewMistake(
        name="two setbacks exchanged", cause="exchanged", apply=exchange_setbacks
    ),
    CrewMistake(
        name="setback and offset exchanged",
        cause="exchanged",
        apply=exchange_setback_and_offset,
    ),
    CrewMistake(name="detail turned around", cause="detail_turned", apply=turn_detail),
    CrewMistake(
        name="rod upside down", cause="rod_upside_down", apply=invert_grade_rod
    ),
    CrewMistake(name="set-up knocked", cause="setup_knocked", apply=knock_setup),
)


def find_mistake(name: str) -> CrewMistake:
    """Find a mistake by its name."""
    return next(each for each in MISTAKES if each.name == name)
