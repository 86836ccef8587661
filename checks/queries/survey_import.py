"""Import of a point file: matched to a building's plan before it is recorded."""

from collections import Counter
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from math import degrees
from typing import Any

from checks.engine.survey_control import AxisSense
from checks.evaluation.survey_readings import (
    ControlChoice,
    SurveyInput,
    SurveyReduction,
    reduce_survey,
)
from jobs.anchor_plan.check_keys import CheckKey
from jobs.anchor_plan.check_sheet import UnknownCheckError, find_check
from jobs.anchor_plan.values import Plan
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.issues import DocumentIssue, file_issue
from jobs.exchange.points.point_file import PointFile, PointUnit, read_points
from jobs.exchange.points.point_matching import PointMatch, match_points
from jobs.models import Building
from jobs.plans.plan_cache import load_plan
from jobs.plans.plan_preview import CHECK_KIND_LABELS

MAX_ROWS = 2000  # of points, and of readings, on one page


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyImport:
    """A point file reduced to readings of a building's plan."""

    plan: Plan
    file: PointFile
    matches: list[PointMatch]
    surveyed: SurveyReduction

    @property
    def entries_hash(self) -> str:
        """SHA-256 of the readings, which shows that the same ones are recorded."""
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
    """Read a point file, match it to the plan in force, and align it to the plan.

    Parameters
    ----------
    building : Building
        The building that was surveyed.
    content : bytes
        The file.
    unit, order, delimiter : str
        Its format; order and delimiter are detected when left out.
    control : {"corners", …}
        The points that it is aligned by.
    excluded : collection of str
        Names of points to leave out of the control.
    shared : mapping, optional
        Members that every reading carries: who, when, with what.

    Raises
    ------
    DocumentError
        If the file is no point file.
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
    """A reading of a survey, beside its nominal. [mm]"""

    check: str
    value: str
    nominal: float | None
    note: str


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyPage:
    """A survey as its page shows it.

    Attributes
    ----------
    matched, unmatched : list of PointMatch
        Points with their target, or with the reason that there is none.
    rotation_deg, scale : float or None
        Rotation of the survey, and its best-fit scale, which is not applied; None
        where it could not be aligned.
    orientation_unknown : bool
        True where the control does not show whether the axes are swapped.
    columns : tuple of str
        Meaning of the cells of a line.
    counts : list of str
        Number of readings of each kind.
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
    """Build the page of a survey."""
    fit = survey.surveyed.fit
    kinds = Counter(CheckKey(each["check"]).kind for each in survey.surveyed.entries)
    return SurveyPage(
        survey=survey,
        matched=[each for each in survey.matches if each.target][:MAX_ROWS],
        unmatched=[each for each in survey.matches if not each.target][:MAX_ROWS],
        rotation_deg=degrees(fit.rotation_rad) if fit else None,
        scale=fit.scale if fit else None,
        columns=(*survey.file.columns, "elevation", "description"),
        orientation_unknown=bool(fit and fit.sense is AxisSense.UNDETERMINED),
        counts=[
            f"{number} {CHECK_KIND_LABELS[kind][number != 1]}"
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
    """Locate the issues of a survey by the check of each reading."""
    return [
        file_issue(_check_at(survey, each.pointer), each.message, each.code)
        for each in issues
    ]


def _check_at(survey: SurveyImport, pointer: str) -> str:
    number = pointer.split("/")[2]  # of `/readings/3/value`
    if not number.isdigit():
        return pointer
    return str(survey.surveyed.entries[int(number)]["check"])
