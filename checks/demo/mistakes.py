"""The mistakes of a crew, applied to its readings.

Each function changes readings in place and returns the keys of the changed checks, an
empty list where the building offers no place for the mistake. The evaluation knows a
likely cause for each of them; the sizes are a project choice. No Django.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from checks.demo.crew import LEVEL_KINDS, CrewReading
from checks.demo.foundation import BuiltFoundation
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
    """A mistake with the likely cause that the evaluation should name."""

    name: str
    cause: str
    apply: MistakeFunction


def _choose_reading(
    rng: Generator, things: Iterable[CrewReading]
) -> CrewReading | None:
    listed = list(things)
    return listed[int(rng.integers(len(listed)))] if listed else None


def _list_keys(readings: Iterable[CrewReading]) -> list[str]:
    return list(dict.fromkeys(each.check.key for each in readings))


def _select_kinds(readings: list[CrewReading], *kinds: CheckKind) -> list[CrewReading]:
    return [each for each in readings if each.check.kind in kinds]


def _find_position(plan: Plan, readings: CrewReading) -> Position | None:
    return next((p for p in plan.positions if p.mark == readings.check.mark), None)


def _group_by_wall(
    plan: Plan, readings: Iterable[CrewReading]
) -> dict[tuple[str, str], list[CrewReading]]:
    by_wall: dict[tuple[str, str], list[CrewReading]] = {}
    for each in readings:
        position = _find_position(plan, each)
        if position is not None and position.wall is not None:
            by_wall.setdefault(position.wall, []).append(each)
    return by_wall


def _choose_wall(
    foundation: BuiltFoundation,
    readings: Iterable[CrewReading],
    rng: Generator,
    least: int,
) -> list[CrewReading]:
    """Choose the readings of one wall with at least so many positions."""
    groups = [
        group
        for group in _group_by_wall(foundation.plan, readings).values()
        if len({each.check.mark for each in group}) >= least
    ]
    return groups[int(rng.integers(len(groups)))] if groups else []


def _group_by_mark(readings: Iterable[CrewReading]) -> dict[str, list[CrewReading]]:
    groups: dict[str, list[CrewReading]] = {}
    for each in readings:
        groups.setdefault(each.check.mark or "", []).append(each)
    return groups


def _add_error(readings: Iterable[CrewReading], mm: float) -> list[str]:
    listed = list(readings)
    for each in listed:
        each.mm += mm
    return _list_keys(listed)


def misread_foot(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Misread one long reading by a foot."""
    long = [
        each
        for each in _select_kinds(
            readings, CheckKind.DIAGONAL, CheckKind.WALL, CheckKind.LINE
        )
        if each.mm > 2.0 * FOOT_MM
    ]
    one = _choose_reading(rng, long)
    return [] if one is None else _add_error([one], FOOT_MM * rng.choice((-1.0, 1.0)))


def misread_inch(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Misread one reading by an inch."""
    kinds = (
        CheckKind.WALL,
        CheckKind.DIAGONAL,
        CheckKind.LINE,
        CheckKind.SETBACK,
        CheckKind.OFFSET,
    )
    kind = kinds[int(rng.integers(len(kinds)))]
    one = _choose_reading(
        rng, (each for each in _select_kinds(readings, kind) if abs(each.mm) > 30.0)
    )
    return [] if one is None else _add_error([one], INCH_MM * rng.choice((-1.0, 1.0)))


def hold_foot_mark(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Hold the tape at its 1 ft mark along a wall: each reading is a foot long."""
    # From the other corner the reading would be a foot short, not long.
    first = [each for each in _select_kinds(readings, CheckKind.LINE) if not each.start]
    return _add_error(_choose_wall(foundation, first, rng, 2), FOOT_MM)


def measure_from_outer_edge(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Measure setbacks or running dimensions from the outer edge of the concrete."""
    notch = foundation.plan.notch
    kind = (CheckKind.SETBACK, CheckKind.LINE)[int(rng.integers(2))]
    wall = _choose_wall(foundation, _select_kinds(readings, kind), rng, 2)
    return _add_error(wall, notch.width) if notch is not None else []


def measure_to_flange(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Measure the C-shaped members of a wall to the flange, not to the web."""
    plan = foundation.plan
    webs = [
        each
        for each in _select_kinds(readings, CheckKind.LINE)
        if (position := _find_position(plan, each)) is not None
        and plan.details[position.detail].reference == "web"
    ]
    wall = _choose_wall(foundation, webs, rng, 2)
    width = float(rng.choice(FLANGE_WIDTHS_MM)) * float(rng.choice((-1.0, 1.0)))
    for each in wall:
        each.mm += -width if each.start else width
    return _list_keys(wall)


def measure_setbacks_to_rod_edge(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Measure the setbacks of a wall to the near, or to the far, edge of each rod."""
    wall = _choose_wall(foundation, _select_kinds(readings, CheckKind.SETBACK), rng, 2)
    sign = float(rng.choice((-1.0, 1.0)))
    for each in wall:
        each.mm += sign * _rod_diameter(foundation.plan, each) / 2.0
    return _list_keys(wall)


def measure_offsets_to_rod_edge(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Measure the offsets of one position to the nearer edge of each rod."""
    groups = list(_group_by_mark(_select_kinds(readings, CheckKind.OFFSET)).values())
    if not groups:
        return []
    chosen = groups[int(rng.integers(len(groups)))]
    for each in chosen:
        each.mm -= np.sign(each.mm) * _rod_diameter(foundation.plan, each) / 2.0
    return _list_keys(chosen)


def _rod_diameter(plan: Plan, readings: CrewReading) -> float:
    position = _find_position(plan, readings)
    if position is None:
        return 0.0
    return plan.details[position.detail].rods[readings.check.rods[0] - 1].diameter


def exchange_lines(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Exchange two running dimensions of one wall."""
    first = [each for each in _select_kinds(readings, CheckKind.LINE) if not each.start]
    wall = _choose_wall(foundation, first, rng, 2)
    if not wall:
        return []
    place = int(rng.integers(len(wall) - 1))
    return _swap_values(wall[place], wall[place + 1])


def exchange_setback_and_offset(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Exchange the setback and the offset of one rod."""
    setback = _choose_reading(rng, _select_kinds(readings, CheckKind.SETBACK))
    if setback is None:
        return []
    key = setback.check.key.replace("setback:", "offset:")
    offset = next(each for each in readings if each.check.key == key)
    sign = np.sign(offset.mm) or 1.0
    setback.mm, offset.mm = abs(offset.mm), sign * setback.mm
    return _list_keys([setback, offset])


def exchange_setbacks(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Exchange the setbacks of two rows of one position."""
    groups = list(_group_by_mark(_select_kinds(readings, CheckKind.SETBACK)).values())
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
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Turn a detail around that is not symmetrical."""
    plan = foundation.plan
    ways = [
        (mark, sign)
        for mark, group in _group_by_mark(
            _select_kinds(readings, CheckKind.SETBACK, CheckKind.OFFSET)
        ).items()
        for sign in ((-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0))
        if _is_asymmetric(plan, group[0], sign)
    ]
    if not ways:
        return []
    mark, sign = ways[int(rng.integers(len(ways)))]
    position = next(p for p in plan.positions if p.mark == mark)
    inward = [rod.inward for rod in plan.details[position.detail].rods]
    ends = min(inward) + max(inward)
    mine = [each for each in readings if each.check.mark == mark]
    changed = []
    for each in _select_kinds(mine, CheckKind.OFFSET):
        if sign[0] < 0.0:
            each.mm = -each.mm
            changed.append(each)
    for each in _select_kinds(mine, CheckKind.SETBACK):
        if sign[1] < 0.0:
            each.mm = ends - each.mm
            changed.append(each)
    return _list_keys(changed)


def _is_asymmetric(
    plan: Plan, readings: CrewReading, sign: tuple[float, float]
) -> bool:
    """Return True if the turned detail is another set of points. [mm]"""
    position = _find_position(plan, readings)
    if position is None:
        return False
    rods = plan.details[position.detail].rods
    planned = np.array([(rod.along, rod.inward) for rod in rods])
    middle = np.array([0.0, planned[:, 1].min() + planned[:, 1].max()])
    turned = planned * np.array(sign) + middle * (np.array(sign) < 0.0)
    distance = np.linalg.norm(turned[:, None] - planned[None], axis=2).min(axis=1)
    return bool(distance.max() > 12.0)


def invert_grade_rod(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Read the grade rod upside down once."""
    one = _choose_reading(rng, _select_kinds(readings, CheckKind.LEVEL))
    if one is None:
        return []
    one.mm = float(rng.choice(GRADE_ROD_LENGTHS_MM)) - one.mm
    return _list_keys([one])


def knock_setup(
    foundation: BuiltFoundation, readings: list[CrewReading], rng: Generator
) -> list[str]:
    """Disturb the level during a set-up."""
    levels = _select_kinds(readings, *LEVEL_KINDS)
    names = sorted({each.setup or "" for each in levels})
    if not names:
        return []
    setup = names[int(rng.integers(len(names)))]
    mine = [each for each in levels if each.setup == setup]
    # At least the last pad and the closing sight are affected: they show the mistake.
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
