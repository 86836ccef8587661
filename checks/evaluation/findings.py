"""Findings: what is out of tolerance, what explains it, what is proposed."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from checks.engine import outline_remedies, surface_remedies
from checks.engine.remedies import Advice, Remedy, measure_again, ranked, refer
from checks.evaluation.concrete import Concrete
from checks.evaluation.json_values import number
from checks.evaluation.judged import Judged
from checks.evaluation.pattern_findings import advise_position
from checks.evaluation.suspects import LikelyCause
from core.units import format_length
from jobs.plan.sheet import Check, Kind

BAD = ("outside", "remeasure")
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
    return [
        finding
        for part in (
            _outline,
            _positions,
            _group_rules,
            _projections,
            _levels,
            _notch,
            _strength,
            _plumb,
        )
        for finding in part(judged)
    ]


def _bad(judged: Judged, *kinds: Kind) -> Iterator[tuple[int, Check]]:
    """Rows and checks of these kinds that are outside or to be measured again."""
    for row in judged.table.rows(*kinds):
        if judged.words[row] in BAD:
            yield int(row), judged.table.checks[row]


def _again(
    judged: Judged, checks: Iterable[str]
) -> tuple[Remedy | None, LikelyCause | None]:
    """Whether to measure again first: repeats that disagree, a suspect, a cause."""
    keys = list(checks)
    cause = judged.cause_of(keys)
    apart = [
        key for key in keys if judged.words[judged.table.index[key]] == "remeasure"
    ]
    suspects = [s["check"] for s in judged.square.suspects if s["check"] in keys]
    if cause is not None:
        return measure_again(cause.explanation, cause.checks), cause
    wrong = [key for key in keys if judged.observed.impossible[judged.table.index[key]]]
    if wrong:
        reason = f"Rise, tension or tape data of {', '.join(wrong)} cannot be right."
        return measure_again(reason, wrong), None
    if apart:
        rows = [judged.table.index[key] for key in apart]
        worst = max(rows, key=lambda row: float(judged.observed.spread[row]))
        spread = format_length(judged.observed.spread[worst], judged.style, 32)
        explained = format_length(judged.observed.spread_limit[worst], judged.style, 32)
        reason = (
            f"The readings of {judged.table.checks[worst].key} are {spread} apart; the"
            f" instrument explains {explained}."
        )
        return measure_again(reason, apart), None
    contradicted = [
        key
        for row in judged.solved.contradicted
        if (key := judged.table.checks[row].key) in keys
    ]
    if contradicted:
        reason = f"Setback, offset and gage contradict each other: {', '.join(keys)}."
        return measure_again(reason, keys), None
    if suspects:
        reason = f"The other lengths contradict {', '.join(suspects)} (|w| > 3.29)."
        return measure_again(reason, suspects), None
    return None, None


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
        again, cause = _again(judged, diagonals)
        if again is None and square.adjustment.cannot_tell:
            lengths = [judged.table.checks[row].key for row in square.rows]
            again = measure_again(
                "Walls and diagonals contradict each other, and with no more lengths"
                " than these it cannot be told which of them is wrong.",
                lengths,
            )
        yield Finding(
            topic="squareness",
            checks=tuple(diagonals),
            cause=cause,
            advice=outline_remedies.advise_square(
                difference=square.difference,
                moves=square.moves,
                missing=square.missing,
                again=again,
                style=judged.style,
            ),
        )
    for row, check in _bad(judged, Kind.WALL):
        again, cause = _again(judged, [check.key])
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
    for order, group in enumerate(judged.rods.groups):
        mark = group.position.mark
        keys = by_mark.get(mark)
        if not keys:
            continue
        again, cause = _again(judged, keys)
        yield Finding(
            topic=f"position:{mark}",
            checks=tuple(keys),
            cause=cause,
            advice=advise_position(judged, order, again),
        )


def _group_rules(judged: Judged) -> Iterator[Finding]:
    """Groups that keep their own limits and still break a rule of the basis."""
    for rule in judged.group_rules:
        if rule.within:
            continue
        keys = [
            check.key
            for row in judged.table.rows(*POSITION_KINDS)
            if (check := judged.table.checks[row]).mark in rule.marks
            and judged.observed.count[row]
        ]
        again, cause = _again(judged, keys)
        off = format_length(abs(rule.deviation), judged.style, 32)
        limit = format_length(rule.limit, judged.style, 32)
        advice = refer(
            f"{' to '.join(rule.marks)} is {off} off where {rule.source} allows"
            f" {limit}.",
            deviation=rule.deviation,
            limit=rule.limit,
        )
        yield Finding(
            topic=f"{rule.rule}:{rule.where}",
            checks=tuple(keys),
            cause=cause,
            advice=Advice(remedies=ranked([*([again] if again else []), advice])),
        )


def _projections(judged: Judged) -> Iterator[Finding]:
    by_mark: dict[str, list[tuple[int, Check]]] = {}
    for row, check in _bad(judged, Kind.PROJECTION):
        by_mark.setdefault(check.mark or "", []).append((row, check))
    for mark, found in by_mark.items():
        keys = tuple(check.key for _, check in found)
        again, cause = _again(judged, keys)
        worst, _ = min(found, key=lambda item: judged.deviation[item[0]])
        threads = judged.threads
        rods = [judged.rods.row(mark, check.rods[0]) for _, check in found]
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
                ),
                again,
            ),
        )


def _levels(judged: Judged) -> Iterator[Finding]:
    pads = judged.pads
    place = {int(row): i for i, row in enumerate(pads.rows)}
    for row, check in _bad(judged, Kind.LEVEL):
        i = place[row]
        again, cause = _again(judged, [check.key])
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
        again, cause = _again(judged, [check.key])
        yield Finding(
            topic=check.key,
            checks=(check.key,),
            cause=cause,
            advice=surface_remedies.advise_notch(
                float(judged.deviation[row]), judged.style, again
            ),
        )


def _strength(judged: Judged) -> Iterator[Finding]:
    concrete: Concrete = judged.concrete
    if concrete.verdict in BAD:
        yield Finding(
            topic="strength",
            checks=concrete.samples,
            cause=None,
            advice=surface_remedies.advise_strength(
                concrete.ratio, concrete.required_ratio, None, concrete.samples
            ),
        )


def _plumb(judged: Judged) -> Iterator[Finding]:
    for row, check in _bad(judged, Kind.PLUMB):
        again, cause = _again(judged, [check.key])
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
