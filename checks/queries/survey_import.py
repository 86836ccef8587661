"""A point file against a building's plan, before anything of it is recorded."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import degrees
from typing import Any

from checks.evaluation.survey_readings import (
    ControlChoice,
    SurveyInput,
    SurveyReduction,
    reduce_survey,
)
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.anchor_plan.values import Plan
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.issues import DocumentIssue, file_issue
from jobs.exchange.points.point_file import PointFile, PointUnit, read_points
from jobs.exchange.points.point_matching import PointMatch, match_points
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from jobs.plans.plan_preview import CHECK_KIND_LABELS

MAX_ROWS = 2000  # points and readings of a page


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyImport:
    """A point file read against a building's plan.

    Attributes
    ----------
    shown : tells what would be recorded from what another file or choice would give.
    """

    plan: Plan
    file: PointFile
    matches: list[PointMatch]
    surveyed: SurveyReduction

    @property
    def entries_hash(self) -> str:
        return sha256_of(list(self.surveyed.entries))


def read_survey_file(
    building: Building,
    content: bytes,
    *,
    unit: PointUnit,
    order: str = "",
    delimiter: str = "",
    control: ControlChoice = "corners",
    excluded: Collection[str] = (),
    shared: Mapping[str, Any] | None = None,
) -> SurveyImport:
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
    plan = load_plan(building.current_revision())
    file = read_points(content, unit=unit, order=order, delimiter=delimiter)
    matches = match_points(plan, file.points)
    survey = SurveyInput(
        file=file,
        matches=matches,
        unit=unit,
        control=control,
        excluded_points=excluded,
        shared=shared or {},
    )
    return SurveyImport(
        plan=plan, file=file, matches=matches, surveyed=reduce_survey(plan, survey)
    )


@dataclass(frozen=True, slots=True)
class SurveyReadingRow:
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

    survey: SurveyImport
    matched: list[PointMatch]
    unmatched: list[PointMatch]
    rotation_deg: float | None
    scale: float | None
    orientation_unknown: bool
    columns: tuple[str, ...]
    counts: list[str]
    readings: list[SurveyReadingRow]


def build_survey_page(survey: SurveyImport) -> SurveyPage:
    """Prepare a survey for its page."""
    fit = survey.surveyed.fit
    kinds = Counter(each["check"].partition(":")[0] for each in survey.surveyed.entries)
    return SurveyPage(
        survey=survey,
        matched=[each for each in survey.matches if each.target][:MAX_ROWS],
        unmatched=[each for each in survey.matches if not each.target][:MAX_ROWS],
        rotation_deg=degrees(fit.rotation_rad) if fit else None,
        scale=fit.scale if fit else None,
        columns=(*survey.file.columns, "elevation", "description"),
        orientation_unknown=bool(fit and fit.sense == "untold"),
        counts=[
            f"{number} {CHECK_KIND_LABELS[CheckKind(kind)][number != 1]}"
            for kind, number in kinds.items()
        ],
        readings=[
            _build_reading_row(survey, each)
            for each in survey.surveyed.entries[:MAX_ROWS]
        ],
    )


def _build_reading_row(
    survey: SurveyImport, entry: Mapping[str, Any]
) -> SurveyReadingRow:
    try:
        nominal = find_check(survey.plan, entry["check"]).nominal
    except UnknownCheckError:
        nominal = None
    return SurveyReadingRow(entry["check"], entry["value"], nominal, entry["note"])


def locate_by_check(
    survey: SurveyImport, issues: Iterable[DocumentIssue]
) -> list[DocumentIssue]:
    """Tell what was refused of a survey by the check each reading is of."""
    return [
        file_issue(_check_at(survey, each.pointer), each.message, each.code)
        for each in issues
    ]


def _check_at(survey: SurveyImport, pointer: str) -> str:
    number = pointer.split("/")[2]
    if not number.isdigit():
        return pointer
    return str(survey.surveyed.entries[int(number)]["check"])
