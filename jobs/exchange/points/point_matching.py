"""Matching of surveyed points to corners, rods, pads and benchmarks by their names."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from jobs.anchor_plan.values import Plan
from jobs.exchange.points.point_file import SurveyPoint
from jobs.exchange.vocabulary import MAX_NAME_LENGTH


class PointTarget(StrEnum):
    """The meaning of a surveyed point on the plan."""

    CORNER = "corner"
    ROD = "rod"
    PAD = "pad"
    BENCHMARK = "benchmark"


@dataclass(frozen=True, slots=True)
class PointMatch:
    """A surveyed point and its target; None if it has none.

    Attributes
    ----------
    name : of the corner or benchmark, or the mark of the position.
    rod : its number; 0 for other targets.
    reason : why the point was not matched; empty if it was.
    """

    point: SurveyPoint
    target: PointTarget | None
    name: str = ""
    rod: int = 0
    reason: str = ""

    @property
    def label(self) -> str:
        """The target as people name it; empty without one."""
        if self.target is None:
            return ""
        return (
            f"{self.target} {self.name}.{self.rod}"
            if self.rod
            else f"{self.target} {self.name}"
        )


_BENCHMARK = re.compile(r"(?:bm|tbm|bench ?mark)(?:[\s.\-_#]*\S.*)?", re.IGNORECASE)
_HINTS = {
    PointTarget.CORNER: ("corner", "cor", "crn"),
    PointTarget.PAD: ("pad", "pier", "bearing", "top of concrete", "toc"),
    PointTarget.ROD: ("anchor rod", "anchor bolt", "anchor", "bolt", "rod", "ab"),
}
_HINT_PATTERNS = [
    (of, re.compile(rf"(?:^|\s){word}(?:\s|$)"))
    for of, words in _HINTS.items()
    for word in words
]
_ROD = re.compile(
    r"(?P<mark>.+?)(?:\s*[.\-/_#]\s*|\s+)(?:rod|ab|r)?\s*(?P<rod>[0-9]{1,2})"
)


def match_points(plan: Plan, points: Iterable[SurveyPoint]) -> list[PointMatch]:
    """Match points to corners, rods, pads and benchmarks of a plan.

    A point is matched by its description, else by its name: a corner by the corner's
    name, a rod by `MARK.R`, a pad by its position's mark, a benchmark by a name that
    starts with BM, TBM or benchmark. A word beside it (`corner`, `rod`, `pad`) decides
    where a name fits several. A name that is only a number is ignored, because
    instruments number points by themselves.
    """
    matcher = _PointMatcher(plan)
    return [matcher.match(point) for point in points]


class _PointMatcher:
    """The names of one plan."""

    def __init__(self, plan: Plan) -> None:
        self.corners = {corner.name.casefold(): corner.name for corner in plan.outline}
        self.marks = {each.mark.casefold(): each.mark for each in plan.positions}
        self.rods = {
            each.mark: len(plan.details[each.detail].rods) for each in plan.positions
        }

    def match(self, point: SurveyPoint) -> PointMatch:
        reason = ""
        for text in (point.description, point.name):
            if not text or (text == point.name and text.isdecimal()):
                continue
            found = self._match_text(point, text)
            if found.target is not None:
                return found
            reason = reason or found.reason
        return PointMatch(
            point,
            None,
            reason=reason or "Its description and name match nothing on the plan.",
        )

    def _match_text(self, point: SurveyPoint, text: str) -> PointMatch:
        if _BENCHMARK.fullmatch(text.strip()):
            return PointMatch(
                point, PointTarget.BENCHMARK, text.strip()[:MAX_NAME_LENGTH]
            )
        words, hint = " ".join(text.casefold().split()), None
        exact = words in self.corners or words in self.marks
        for target, pattern in [] if exact else _HINT_PATTERNS:
            if pattern.search(words):
                words, hint = " ".join(pattern.sub(" ", words).split()), target
                break
        found: list[PointMatch] = []
        if hint in (None, PointTarget.CORNER) and words in self.corners:
            found.append(PointMatch(point, PointTarget.CORNER, self.corners[words]))
        if hint in (None, PointTarget.PAD) and words in self.marks:
            found.append(PointMatch(point, PointTarget.PAD, self.marks[words]))
        if hint in (None, PointTarget.ROD):
            found += self._match_rod(point, words)
        if len(found) > 1:
            could = " or ".join(each.label for each in found)
            return PointMatch(
                point,
                None,
                reason=f"This could be {could}: add the word to the description.",
            )
        return found[0] if found else PointMatch(point, None)

    def _match_rod(self, point: SurveyPoint, words: str) -> list[PointMatch]:
        read = _ROD.fullmatch(words)
        mark = self.marks.get(read["mark"].strip()) if read else None
        if read is None or mark is None:
            return []
        number = int(read["rod"])
        if 1 <= number <= self.rods[mark]:
            return [PointMatch(point, PointTarget.ROD, mark, number)]
        reason = f"The rods of {mark} are numbered 1 to {self.rods[mark]}."
        return [PointMatch(point, None, reason=reason)]
