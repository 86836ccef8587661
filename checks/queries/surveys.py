"""A point file against a building's plan, before anything of it is recorded."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import degrees
from typing import Any

from checks.evaluation.surveyed import Control, Survey, Surveyed, read_survey
from jobs.exchange.canonical import digest
from jobs.exchange.parse import Refusal
from jobs.exchange.points.matching import Match, match_points
from jobs.exchange.points.reading import PointFile, PointUnit, read_points
from jobs.models import Building
from jobs.plan.model import Plan
from jobs.plan.sheet import Kind, UnknownCheckError, find_check
from jobs.plans import plan_of
from jobs.previews import NAMES

MOST_SHOWN = 2000  # points and readings of a page


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """A point file read against a building's plan.

    Attributes
    ----------
    shown : tells what would be recorded from what another file or choice would give.
    """

    plan: Plan
    file: PointFile
    matches: list[Match]
    surveyed: Surveyed

    @property
    def shown(self) -> str:
        return digest(list(self.surveyed.entries))


def read_shot(
    building: Building,
    content: bytes,
    *,
    unit: PointUnit,
    order: str = "",
    delimiter: str = "",
    control: Control = "corners",
    leave: Collection[str] = (),
    shared: Mapping[str, Any] | None = None,
) -> Shot:
    """Read a point file, match it to the plan in force, and fit it onto it.

    Parameters
    ----------
    building : what was surveyed.
    content : the file.
    unit, order, delimiter : how it is written.
    control : what it is brought onto the plan by.
    leave : names of points that are no control.
    shared : members that every reading carries: who, when, with what.

    Raises
    ------
    DocumentError
        If it is no point file.
    """
    plan = plan_of(building.current_revision())
    file = read_points(content, unit=unit, order=order, delimiter=delimiter)
    matches = match_points(plan, file.points)
    survey = Survey(
        file=file,
        matches=matches,
        unit=unit,
        control=control,
        leave=leave,
        shared=shared or {},
    )
    return Shot(
        plan=plan, file=file, matches=matches, surveyed=read_survey(plan, survey)
    )


@dataclass(frozen=True, slots=True)
class Said:
    """A reading a survey gives, beside what the plan says. [mm]"""

    check: str
    value: str
    nominal: float | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPage:
    """A survey as it is shown.

    Attributes
    ----------
    matched, unmatched : points, and what they stand for or why nothing.
    turn_deg, scale : by which the survey is turned, and would be scaled; None where
        there is no fit.
    sense_untold : whether too few points tell if the axes are exchanged.
    columns : what the first lines' cells are read as.
    counts : of the readings, by kind, in words.
    """

    shot: Shot
    matched: list[Match]
    unmatched: list[Match]
    turn_deg: float | None
    scale: float | None
    sense_untold: bool
    columns: tuple[str, ...]
    counts: list[str]
    said: list[Said]


def survey_page(shot: Shot) -> SurveyPage:
    """Prepare a survey for its page."""
    fit = shot.surveyed.fit
    kinds = Counter(each["check"].partition(":")[0] for each in shot.surveyed.entries)
    return SurveyPage(
        shot=shot,
        matched=[each for each in shot.matches if each.of][:MOST_SHOWN],
        unmatched=[each for each in shot.matches if not each.of][:MOST_SHOWN],
        turn_deg=degrees(fit.turn_rad) if fit else None,
        scale=fit.scale if fit else None,
        columns=(*shot.file.columns, "elevation", "description"),
        sense_untold=bool(fit and fit.sense == "untold"),
        counts=[
            f"{number} {NAMES[Kind(kind)][number != 1]}"
            for kind, number in kinds.items()
        ],
        said=[_said(shot, each) for each in shot.surveyed.entries[:MOST_SHOWN]],
    )


def _said(shot: Shot, entry: Mapping[str, Any]) -> Said:
    try:
        nominal = find_check(shot.plan, entry["check"]).nominal
    except UnknownCheckError:
        nominal = None
    return Said(entry["check"], entry["value"], nominal, entry["note"])


def told_by_check(shot: Shot, refused: Iterable[Refusal]) -> list[Refusal]:
    """Tell what was refused of a survey by the check each reading is of."""
    return [Refusal(_check(shot, each.pointer), each.message) for each in refused]


def _check(shot: Shot, pointer: str) -> str:
    number = pointer.split("/")[2]
    if not number.isdigit():
        return pointer
    return str(shot.surveyed.entries[int(number)]["check"])
