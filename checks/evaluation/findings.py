"""Findings: what is out of tolerance, what explains it, what is proposed."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from checks.engine import outline_remedies, surface_remedies
from checks.engine.acceptance import SLACK_MM
from checks.engine.remedies import Advice, Remedy, measure_again, ranked, refer
from checks.evaluation.again import measure_first
from checks.evaluation.group_rules import GroupRule
from checks.evaluation.json_values import number
from checks.evaluation.judged import Judged
from checks.evaluation.pattern_findings import advise_position, with_stuck_plates
from checks.evaluation.suspects import LikelyCause
from checks.evaluation.table import PositionRods
from core.units import LengthStyle, format_length
from jobs.plan.sheet import Check, Kind

BAD = ("outside", "remeasure")
NAMED = 4  # cases a sentence lists; the rest is counted
POSITION_KINDS = (Kind.LINE, Kind.SETBACK, Kind.OFFSET, Kind.GAGE)


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing that needs a decision."""

    topic: str
    checks: tuple[str, ...]
    advice: Advice
    cause: LikelyCause | None

    def as_result(self) -> dict[str, Any]:
        """One of the result document's `findings`."""
        remedies = [_remedy(remedy) for remedy in self.advice.remedies]
        return {
            "finding": self.topic,
            "checks": list(self.checks),
            "severity": self.advice.remedies[0].approval,
            "likely_cause": None if self.cause is None else self.cause.as_result(),
            "remedies": remedies,
            "ruled_out": [
                {"remedy": remedy, "reason": reason}
                for remedy, reason in self.advice.ruled_out
            ],
        }


def _remedy(remedy: Remedy) -> dict[str, Any]:
    """One remedy as JSON; NaN becomes null."""
    figures = {
        key: number(value) if isinstance(value, float) else value
        for key, value in remedy.figures.items()
    }
    written = {
        "remedy": remedy.remedy,
        **figures,
        "approval": remedy.approval,
        "reason": remedy.reason,
        "cautions": list(remedy.cautions),
    }
    if remedy.why_second:
        written["why_second"] = remedy.why_second
    return written


def find(judged: Judged) -> list[Finding]:
    """Every finding, in the order of the walk round the building."""
    judged = with_stuck_plates(judged)
    return [
        finding
        for part in (
            _outline,
            _positions,
            _group_rules,
            _projections,
            _misclosure,
            _levels,
            _notch,
            _strength,
            _plumb,
        )
        for finding in part(judged)
    ]


def _bad(judged: Judged, *kinds: Kind) -> Iterator[tuple[int, Check]]:
    """Rows and checks of these kinds that are outside or to be measured again."""
    rows = judged.table.rows(*kinds)
    bad = np.logical_or.reduce([judged.words[rows] == word for word in BAD])
    for row in rows[bad].tolist():
        yield row, judged.table.checks[row]


def _outline(judged: Judged) -> Iterator[Finding]:
    square = judged.square
    diagonals = [check.key for _, check in _bad(judged, Kind.DIAGONAL)]
    if square.verdict in BAD and not diagonals:
        diagonals = [
            judged.table.checks[row].key
            for row in judged.table.rows(Kind.DIAGONAL)
            if judged.observed.count[row]
        ]
    if diagonals:
        again, cause = measure_first(judged, diagonals)
        yield Finding(
            topic="squareness",
            checks=tuple(diagonals),
            cause=cause,
            advice=outline_remedies.advise_square(
                difference=square.difference,
                square=square.verdict == "within",
                moves=square.moves,
                missing=square.missing,
                again=again,
                style=judged.style,
            ),
        )
    for row, check in _bad(judged, Kind.WALL):
        again, cause = measure_first(judged, [check.key])
        yield Finding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=outline_remedies.advise_wall(
                float(judged.deviation[row]),
                "-".join(check.corners),
                judged.style,
                again,
            ),
        )


def _positions(judged: Judged) -> Iterator[Finding]:
    by_mark: dict[str, list[str]] = {}
    for _, check in _bad(judged, *POSITION_KINDS):
        by_mark.setdefault(check.mark or "", []).append(check.key)
    doubtful = set(judged.groups.doubtful.tolist())
    for order, group in enumerate(judged.rods.groups):
        mark = group.position.mark
        keys = by_mark.get(mark) or _of_bad_rods(judged, group)
        if not keys and order in doubtful:
            keys = _of_rods(judged, group, set(range(1, len(group.detail.rods) + 1)))
        if not keys:
            continue
        again, cause = measure_first(judged, keys)
        yield Finding(
            topic=f"position:{mark}",
            checks=tuple(keys),
            cause=cause,
            advice=advise_position(judged, order, again),
        )


def _of_bad_rods(judged: Judged, group: PositionRods) -> list[str]:
    """What was read of rods that are out though each of their checks is within.

    So it can be where readings that are all near their limits share one rod.
    """
    bad = {
        row - group.rows.start + 1
        for row in range(group.rows.start, group.rows.stop)
        if judged.rod_words[row] in BAD
    }
    return _of_rods(judged, group, bad) if bad else []


def _of_rods(judged: Judged, group: PositionRods, rods: set[int]) -> list[str]:
    """Every check of some of a position's rods that was read."""
    return [
        check.key
        for row in judged.table.rows(Kind.SETBACK, Kind.OFFSET, Kind.GAGE)
        if (check := judged.table.checks[row]).mark == group.position.mark
        and rods.intersection(check.rods)
        and judged.observed.count[row]
    ]


def _group_rules(judged: Judged) -> Iterator[Finding]:
    """Groups that keep their own limits and still break a rule of the basis."""
    broken: dict[str, list[GroupRule]] = {}
    for rule in judged.group_rules:
        if not rule.within:
            broken.setdefault(f"{rule.rule}:{rule.where}", []).append(rule)
    for topic, rules in broken.items():
        marks = {mark for rule in rules for mark in rule.marks}
        keys = [
            check.key
            for row in judged.table.rows(*POSITION_KINDS)
            if (check := judged.table.checks[row]).mark in marks
            and judged.observed.count[row]
        ]
        again, cause = measure_first(judged, keys)
        advice = refer(
            f"{_broken(rules, judged.style)}: {rules[0].source}.",
            deviation=rules[0].deviation,
            limit=rules[0].limit,
        )
        yield Finding(
            topic=topic,
            checks=tuple(keys),
            cause=cause,
            advice=Advice(remedies=ranked([*([again] if again else []), advice])),
        )


def _broken(rules: Sequence[GroupRule], style: LengthStyle) -> str:
    """Which groups are off by how much, the worst first; the rest is counted."""
    said = [
        f"{_where(rule)} {format_length(abs(rule.deviation), style, 32)}"
        f" off where {format_length(rule.limit, style, 32)} is allowed"
        for rule in rules[:NAMED]
    ]
    more = len(rules) - len(said)
    return "; ".join([*said, f"and {more} more"] if more else said)


def _where(rule: GroupRule) -> str:
    """The groups a rule was judged between, or the rods of one group, and a verb."""
    marks = " to ".join(rule.marks)
    if not rule.rods:
        return f"{marks} is"
    plural = len(rule.rods) > 1
    rods = " and ".join(str(rod) for rod in rule.rods)
    return f"{marks} {'rods' if plural else 'rod'} {rods} {'are' if plural else 'is'}"


def _projections(judged: Judged) -> Iterator[Finding]:
    by_mark: dict[str, list[tuple[int, Check]]] = {}
    for row, check in [*_bad(judged, Kind.PROJECTION), *_without_thread(judged)]:
        by_mark.setdefault(check.mark or "", []).append((row, check))
    for mark, both in by_mark.items():
        keys = tuple(check.key for _, check in both)
        again, cause = measure_first(judged, keys)
        long = [(row, check) for row, check in both if judged.deviation[row] > 0]
        found = [item for item in both if item not in long] or both
        worst, _ = min(found, key=lambda item: judged.deviation[item[0]])
        threads = judged.threads
        rows = np.array([row for row, _ in found])
        rods = judged.rods.of(judged.table, rows)[:, 0].tolist()
        tight = min(rods, key=lambda rod: (threads.left[rod], rod))
        yield Finding(
            topic=f"projection:{mark}",
            checks=keys,
            cause=cause,
            advice=surface_remedies.advise_projection(
                surface_remedies.ProjectionCase(
                    style=judged.style,
                    rods=tuple(check.rods[0] for _, check in found),
                    deviation=float(judged.deviation[worst]),
                    thread_left=float(threads.left[tight]),
                    engaged=float(threads.engaged[tight]),
                    within=not any(judged.words[row] in BAD for row, _ in found),
                    too_long=tuple(check.rods[0] for _, check in long)
                    if found is not both
                    else (),
                ),
                again,
            ),
        )


def _without_thread(judged: Judged) -> Iterator[tuple[int, Check]]:
    """Rods within the limit of placing that stand too short for their nut as read."""
    rows = judged.table.rows(Kind.PROJECTION)
    rows = rows[(judged.words[rows] == "within") & (judged.observed.count[rows] > 0)]
    rods = judged.rods.of(judged.table, rows)[:, 0]
    for row in rows[judged.threads.left[rods] < -SLACK_MM]:
        yield int(row), judged.table.checks[row]


def _misclosure(judged: Judged) -> Iterator[Finding]:
    """Set-ups that do not close on each other, or a benchmark that does not repeat."""
    pads = judged.pads
    benchmarks = [check.key for _, check in _bad(judged, Kind.BENCHMARK)]
    if pads.closes and not benchmarks:
        return
    ties = benchmarks if pads.closes else list(pads.ties)
    limit = judged.limits.level_misclosure()
    again, cause = measure_first(judged, benchmarks)
    if again is None:
        again = measure_again(
            f"The readings of set-up {', '.join(pads.setups)} do not close: they are"
            f" {format_length(pads.misclosure, judged.style, 32)} apart where"
            f" {format_length(limit, judged.style, 32)} is allowed.",
            ties,
        )
    again = replace(
        again,
        figures={
            **again.figures,
            "setups": list(pads.setups),
            "misclosure": pads.misclosure,
            "limit": limit,
        },
    )
    yield Finding(
        topic="levels",
        checks=tuple(ties),
        cause=cause,
        advice=Advice(
            remedies=ranked(
                [again, refer("The heights as they stand, if the engineer takes them.")]
            )
        ),
    )


def _levels(judged: Judged) -> Iterator[Finding]:
    pads = judged.pads
    place = {int(row): i for i, row in enumerate(pads.rows)}
    for row, check in _bad(judged, Kind.LEVEL):
        i = place[row]
        again, cause = measure_first(judged, [check.key])
        shim = float(pads.shim[i])
        yield Finding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=surface_remedies.advise_level(
                surface_remedies.LevelCase(
                    style=judged.style,
                    shortfall=-float(pads.height[i]),
                    limit=judged.limits.pad_level(),
                    shim_up_to=judged.limits.shim_up_to(),
                    shim=shim,
                    stack=tuple(judged.stack(i)),
                    residual=float(pads.height[i]) + shim,
                    thread_left=float(judged.pad_thread[i]),
                    lower_pad=pads.lower,
                ),
                again,
            ),
        )


def _notch(judged: Judged) -> Iterator[Finding]:
    for row, check in _bad(judged, Kind.NOTCH_WIDTH, Kind.NOTCH_DEPTH):
        again, cause = measure_first(judged, [check.key])
        yield Finding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=surface_remedies.advise_notch(
                float(judged.deviation[row]), judged.style, again
            ),
        )


def _strength(judged: Judged) -> Iterator[Finding]:
    concrete = judged.concrete
    if concrete.verdict in BAD:
        yield Finding(
            topic="strength",
            checks=concrete.samples,
            cause=None,
            advice=surface_remedies.advise_strength(
                surface_remedies.StrengthCase(
                    strength=concrete.strength,
                    required=concrete.required,
                    ratio=concrete.ratio,
                    required_ratio=concrete.required_ratio,
                    samples=concrete.samples,
                ),
                measure_again(concrete.reason, concrete.samples)
                if concrete.reason
                else None,
            ),
        )


def _plumb(judged: Judged) -> Iterator[Finding]:
    for row, check in _bad(judged, Kind.PLUMB):
        again, cause = measure_first(judged, [check.key])
        yield Finding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=surface_remedies.advise_plumb(
                float(judged.deviation[row]),
                float(judged.heights[row]),
                float(judged.bounds.upper[row]),
                check.axis or "",
                judged.style,
                again,
            ),
        )
