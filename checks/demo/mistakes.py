"""The mistakes crews make, done to readings on purpose.

Each takes what the crew saw and spoils it the way people do; it gives back the keys
of the checks it spoilt, none where the building offers no place for it. The list is
the one the evaluation knows likely causes for; sizes are ours. No Django.
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

import numpy as np

from checks.demo.crew import BY_LEVEL, Foundation, Taken
from jobs.plan.model import Plan, Position
from jobs.plan.sheet import Kind

FOOT_MM = 304.8
INCH_MM = 25.4
STAVES_MM = (4000.0, 5000.0, 13 * FOOT_MM, 16 * FOOT_MM, 25 * FOOT_MM)
FLANGES_MM = (50.8, 63.5, 76.2, 88.9)

Generator = np.random.Generator
Spoil = Callable[[Foundation, list[Taken], Generator], list[str]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Mistake:
    """A way to spoil readings, and the word the evaluation should find for it."""

    name: str
    cause: str
    spoil: Spoil


def _pick(rng: Generator, things: Iterable[Taken]) -> Taken | None:
    listed = list(things)
    return listed[int(rng.integers(len(listed)))] if listed else None


def _keys(taken: Iterable[Taken]) -> list[str]:
    return list(dict.fromkeys(each.check.key for each in taken))


def _of(taken: list[Taken], *kinds: Kind) -> list[Taken]:
    return [each for each in taken if each.check.kind in kinds]


def _position(plan: Plan, taken: Taken) -> Position | None:
    return next((p for p in plan.positions if p.mark == taken.check.mark), None)


def _on_wall(plan: Plan, taken: Iterable[Taken]) -> dict[tuple[str, str], list[Taken]]:
    by_wall: dict[tuple[str, str], list[Taken]] = {}
    for each in taken:
        position = _position(plan, each)
        if position is not None and position.wall is not None:
            by_wall.setdefault(position.wall, []).append(each)
    return by_wall


def _a_wall(
    built: Foundation, taken: Iterable[Taken], rng: Generator, least: int
) -> list[Taken]:
    """Readings on one wall where at least this many positions were read."""
    groups = [
        group
        for group in _on_wall(built.plan, taken).values()
        if len({each.check.mark for each in group}) >= least
    ]
    return groups[int(rng.integers(len(groups)))] if groups else []


def _by_mark(taken: Iterable[Taken]) -> dict[str, list[Taken]]:
    groups: dict[str, list[Taken]] = {}
    for each in taken:
        groups.setdefault(each.check.mark or "", []).append(each)
    return groups


def _add(taken: Iterable[Taken], mm: float) -> list[str]:
    listed = list(taken)
    for each in listed:
        each.mm += mm
    return _keys(listed)


def foot_misread(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """One long reading a foot off."""
    long = [
        each
        for each in _of(taken, Kind.DIAGONAL, Kind.WALL, Kind.LINE)
        if each.mm > 2.0 * FOOT_MM
    ]
    one = _pick(rng, long)
    return [] if one is None else _add([one], FOOT_MM * rng.choice((-1.0, 1.0)))


def inch_misread(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """One reading an inch off."""
    kinds = (Kind.WALL, Kind.DIAGONAL, Kind.LINE, Kind.SETBACK, Kind.OFFSET)
    kind = kinds[int(rng.integers(len(kinds)))]
    one = _pick(rng, (each for each in _of(taken, kind) if abs(each.mm) > 30.0))
    return [] if one is None else _add([one], INCH_MM * rng.choice((-1.0, 1.0)))


def foot_mark(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """The tape held at its 1 ft mark along a whole wall: each reading a foot long."""
    first = [each for each in _of(taken, Kind.LINE) if not each.start]
    return _add(_a_wall(built, first, rng, 2), FOOT_MM)


def outer_edge(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """A wall's setbacks, or its running dimensions, from the concrete's edge."""
    notch = built.plan.notch
    kind = (Kind.SETBACK, Kind.LINE)[int(rng.integers(2))]
    wall = _a_wall(built, _of(taken, kind), rng, 2)
    return _add(wall, notch.width) if notch is not None else []


def flange(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """Web-referenced members of one wall taken to the flange of the neighbour."""
    plan = built.plan
    webs = [
        each
        for each in _of(taken, Kind.LINE)
        if (position := _position(plan, each)) is not None
        and plan.details[position.detail].reference == "web"
    ]
    wall = _a_wall(built, webs, rng, 2)
    width = float(rng.choice(FLANGES_MM)) * float(rng.choice((-1.0, 1.0)))
    for each in wall:  # the flange is on the same side, from wherever it was measured
        each.mm += -width if each.start else width
    return _keys(wall)


def rod_edge(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """A wall's setbacks to the near edge of each rod, or all to the far edge."""
    wall = _a_wall(built, _of(taken, Kind.SETBACK), rng, 2)
    sign = float(rng.choice((-1.0, 1.0)))
    for each in wall:
        each.mm += sign * _diameter(built.plan, each) / 2.0
    return _keys(wall)


def rod_edge_offset(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """One position's offsets to the edge of each rod nearest the reference line."""
    groups = list(_by_mark(_of(taken, Kind.OFFSET)).values())
    if not groups:
        return []
    chosen = groups[int(rng.integers(len(groups)))]
    for each in chosen:
        each.mm -= np.sign(each.mm) * _diameter(built.plan, each) / 2.0
    return _keys(chosen)


def _diameter(plan: Plan, taken: Taken) -> float:
    position = _position(plan, taken)
    if position is None:
        return 0.0
    return plan.details[position.detail].rods[taken.check.rods[0] - 1].diameter


def exchanged_lines(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """Two running dimensions of one wall, each written on the other's line."""
    first = [each for each in _of(taken, Kind.LINE) if not each.start]
    wall = _a_wall(built, first, rng, 2)
    if not wall:
        return []
    place = int(rng.integers(len(wall) - 1))
    return _exchange(wall[place], wall[place + 1])


def exchanged_rod(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """One rod's setback written as its offset, and the other way round."""
    setback = _pick(rng, _of(taken, Kind.SETBACK))
    if setback is None:
        return []
    key = setback.check.key.replace("setback:", "offset:")
    offset = next(each for each in taken if each.check.key == key)
    sign = np.sign(offset.mm) or 1.0
    setback.mm, offset.mm = abs(offset.mm), sign * setback.mm
    return _keys([setback, offset])


def exchanged_setbacks(
    built: Foundation, taken: list[Taken], rng: Generator
) -> list[str]:
    """Two setbacks of one position, each written for the other row of rods."""
    groups = list(_by_mark(_of(taken, Kind.SETBACK)).values())
    group = groups[int(rng.integers(len(groups)))]
    pairs = [
        (one, other)
        for one in group
        for other in group
        if other.check.rods > one.check.rods and abs(other.mm - one.mm) > 25.0
    ]
    return _exchange(*pairs[int(rng.integers(len(pairs)))]) if pairs else []


def _exchange(one: Taken, other: Taken) -> list[str]:
    one.mm, other.mm = other.mm, one.mm
    return _keys([one, other])


def detail_turned(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """A detail that is not symmetrical, read (or set) the wrong way round."""
    plan = built.plan
    ways = [
        (mark, sign)
        for mark, group in _by_mark(_of(taken, Kind.SETBACK, Kind.OFFSET)).items()
        for sign in ((-1.0, 1.0), (1.0, -1.0), (-1.0, -1.0))
        if _shows(plan, group[0], sign)
    ]
    if not ways:
        return []
    mark, sign = ways[int(rng.integers(len(ways)))]
    position = next(p for p in plan.positions if p.mark == mark)
    inward = [rod.inward for rod in plan.details[position.detail].rods]
    ends = min(inward) + max(inward)
    mine = [each for each in taken if each.check.mark == mark]
    spoilt = []
    for each in _of(mine, Kind.OFFSET):
        if sign[0] < 0.0:
            each.mm = -each.mm
            spoilt.append(each)
    for each in _of(mine, Kind.SETBACK):
        if sign[1] < 0.0:
            each.mm = ends - each.mm
            spoilt.append(each)
    return _keys(spoilt)


def _shows(plan: Plan, taken: Taken, sign: tuple[float, float]) -> bool:
    """Whether a detail the wrong way round is another set of points. [mm]"""
    position = _position(plan, taken)
    if position is None:
        return False
    rods = plan.details[position.detail].rods
    planned = np.array([(rod.along, rod.inward) for rod in rods])
    middle = np.array([0.0, planned[:, 1].min() + planned[:, 1].max()])
    turned = planned * np.array(sign) + middle * (np.array(sign) < 0.0)
    apart = np.linalg.norm(turned[:, None] - planned[None], axis=2).min(axis=1)
    return bool(apart.max() > 12.0)


def upside_down(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """One grade-rod reading with the rod on its head."""
    one = _pick(rng, _of(taken, Kind.LEVEL))
    if one is None:
        return []
    one.mm = float(rng.choice(STAVES_MM)) - one.mm
    return _keys([one])


def setup_knocked(built: Foundation, taken: list[Taken], rng: Generator) -> list[str]:
    """The level knocked part of the way through a set-up."""
    levels = _of(taken, *BY_LEVEL)
    names = sorted({each.setup or "" for each in levels})
    if not names:
        return []
    setup = names[int(rng.integers(len(names)))]
    mine = [each for each in levels if each.setup == setup]
    # Someone who knocks the level before the last pad spoils the closing sight too.
    since = int(rng.integers(2, max(3, len(mine) - 2)))
    step = float(rng.uniform(9.0, 40.0) * rng.choice((-1.0, 1.0)))
    return _add(mine[since:], step)


MISTAKES: tuple[Mistake, ...] = (
    Mistake(name="foot misread", cause="misread", spoil=foot_misread),
    Mistake(name="inch misread", cause="misread", spoil=inch_misread),
    Mistake(name="tape at its 1 ft mark", cause="foot_mark", spoil=foot_mark),
    Mistake(name="from the outer edge", cause="outer_edge", spoil=outer_edge),
    Mistake(name="to the flange", cause="flange_not_web", spoil=flange),
    Mistake(name="setbacks to the rod's edge", cause="rod_edge", spoil=rod_edge),
    Mistake(name="offsets to the rod's edge", cause="rod_edge", spoil=rod_edge_offset),
    Mistake(name="two lines exchanged", cause="exchanged", spoil=exchanged_lines),
    Mistake(name="two setbacks exchanged", cause="exchanged", spoil=exchanged_setbacks),
    Mistake(
        name="setback and offset exchanged", cause="exchanged", spoil=exchanged_rod
    ),
    Mistake(name="detail turned around", cause="detail_turned", spoil=detail_turned),
    Mistake(name="rod upside down", cause="rod_upside_down", spoil=upside_down),
    Mistake(name="set-up knocked", cause="setup_knocked", spoil=setup_knocked),
)


def mistake(name: str) -> Mistake:
    """Find a mistake by its name."""
    return next(each for each in MISTAKES if each.name == name)
