"""The check sheet in the order a crew walks it, with the state of every check."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache

from checks.drawings.result_view import ResultView
from checks.labels import describe_check
from checks.models import Evaluation, Reading
from checks.queries.offline_limits import OfflineLimits, compute_offline_limits
from checks.queries.photographs import count_photographs
from checks.queries.walk_readings import (
    count_current_readings,
    find_outdated_readings,
    load_current_readings,
)
from core.vocabulary import StageKind, Verdict
from jobs.anchor_plan.check_keys import LEVEL_KINDS, NOTCH_KINDS, PAIR_KINDS, CheckKind
from jobs.anchor_plan.check_sheet import (
    UnknownCheckError,
    build_check_sheet,
    find_check,
)
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.document import CheckResult, ResultDocument
from jobs.models import Building, Stage
from jobs.plans.plan_cache import load_plan

SECTION_GROUPS = {"diagonals": "Outline", "wall": "Walls", "position": "Patterns"}
MAX_NEXT_STEPS = 5
MAX_CACHED_RESULTS = 12  # that of 60 positions takes some 4 MB
LAST_SECTIONS = ("notch", "strength", "plumb")


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One check of the walk, with its result and its readings.

    Attributes
    ----------
    result : CheckResult or None
        Its entry in the latest result; None before the first evaluation.
    reading_count : int
        Number of its current readings.
    current_readings : tuple of Reading
        The same, the oldest first; only of a section from `load_section_readings`.
    outdated_id : str
        Client id of a reading to replace: taken before the pour, or before work on the
        rods was done. Empty where another reading is a repeat.
    is_due : bool
        True once its stage has begun.
    offline_limits : OfflineLimits or None
        Limits the phone compares one reading with; None where only the server can.
    photograph_count : int
        Number of its photographs.
    next_place : int or None
        Its place among the readings to take next, from 0; None for the others.
    next_reason : str
        Why it is among them, as a sentence.
    """

    check: Check
    label: str
    result: CheckResult | None = None
    reading_count: int = 0
    current_readings: tuple[Reading, ...] = ()
    outdated_id: str = ""
    is_due: bool = True
    offline_limits: OfflineLimits | None = None
    photograph_count: int = 0
    next_place: int | None = None
    next_reason: str = ""

    @property
    def reason(self) -> str:
        """Reason to measure it again, where the result has one."""
        return (self.result.get("reason") if self.result else "") or ""

    @property
    def verdict(self) -> Verdict:
        """The latest verdict."""
        return Verdict(self.result["verdict"]) if self.result else Verdict.UNMEASURED

    @property
    def needs_remeasuring(self) -> bool:
        """True where a reading is outdated, or the verdict asks for another."""
        return bool(self.outdated_id) or self.verdict == Verdict.REMEASURE


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A part of the walk that is measured in one go."""

    key: str
    title: str
    hint: str
    rows: tuple[SheetRow, ...]

    @property
    def required_count(self) -> int:
        """Number of checks that a release waits for."""
        return sum(row.check.required for row in self.rows)

    @property
    def measured_count(self) -> int:
        """Number of required checks with a reading."""
        return sum(row.check.required and row.reading_count > 0 for row in self.rows)

    @property
    def outside_count(self) -> int:
        """Number of checks that are outside."""
        return sum(row.verdict == Verdict.OUTSIDE for row in self.rows)

    @property
    def remeasure_count(self) -> int:
        """Number of checks to measure again."""
        return sum(row.needs_remeasuring for row in self.rows)

    @property
    def is_complete(self) -> bool:
        """True where every required check has a reading."""
        return self.required_count > 0 and self.measured_count == self.required_count

    @property
    def remaining_count(self) -> int:
        """Number of required checks that are due and have no reading."""
        return sum(
            row.check.required and row.is_due and not row.reading_count
            for row in self.rows
        )

    @property
    def group_title(self) -> str:
        """Heading of the sections it is listed with."""
        word = self.key.partition(":")[0]
        return SECTION_GROUPS.get(word, "After the patterns")

    @property
    def short_title(self) -> str:
        """Name under that heading."""
        word, _, name = self.key.partition(":")
        return name if word in ("wall", "position") and name else self.title


def get_latest_evaluation(building: Building) -> Evaluation | None:
    """Return the latest evaluation of a building."""
    found = Evaluation.objects.filter(building=building)
    return found.select_related("revision").order_by("-pk").first()


def load_latest_results(building: Building) -> ResultView:
    """Load the latest result of a building; each is parsed once per process."""
    evaluations = Evaluation.objects.filter(building=building)
    latest = evaluations.order_by("-pk").values_list("pk", flat=True).first()
    return ResultView(None) if latest is None else _load_results(latest)


@lru_cache(maxsize=MAX_CACHED_RESULTS)
def _load_results(evaluation_id: int) -> ResultView:
    # An evaluation is never changed.
    return ResultView(Evaluation.objects.get(pk=evaluation_id).result)


def build_walk(building: Building) -> list[Section]:
    """Build the walk of the plan in force, with results, readings and photographs."""
    plan = load_plan(building.current_revision())
    results = load_latest_results(building)
    next_places = _place_next_readings(results)
    counts = count_current_readings(building)
    checks = [*build_check_sheet(plan), *_find_unlisted_checks(plan, counts)]
    outdated = find_outdated_readings(building, checks)
    limits = compute_offline_limits(plan, checks)
    photographs = count_photographs(building)
    erection_begun = _has_erection_begun(building)
    rows = []
    for check in checks:
        next_place, next_reason = next_places.get(check.key, (None, ""))
        rows.append(
            SheetRow(
                check=check,
                label=describe_check(check),
                result=results.checks.get(check.key),
                reading_count=counts.get(check.key, 0),
                outdated_id=outdated.get(check.key, ""),
                is_due=check.stage != StageKind.ERECTION or erection_begun,
                offline_limits=limits.get(check.key),
                photograph_count=photographs.get(check.key, 0),
                next_place=next_place,
                next_reason=next_reason,
            )
        )
    return _group_rows(plan, rows)


def load_section_readings(building: Building, section: Section) -> Section:
    """Return a section with the current readings of its checks."""
    keys = [row.check.key for row in section.rows if row.reading_count]
    readings = load_current_readings(building, keys)
    rows = (
        replace(row, current_readings=tuple(readings.get(row.check.key, ())))
        for row in section.rows
    )
    return replace(section, rows=tuple(rows))


def _place_next_readings(results: ResultView) -> dict[str, tuple[int, str]]:
    """Return place and reason of the readings to take next, by check."""
    places: dict[str, tuple[int, str]] = {}
    for place, each in enumerate(results.next_readings):
        # A check may be worth reading in two ways; the better one is named.
        places.setdefault(each["check"], (place, each["reason"]))
    return places


@dataclass(frozen=True, slots=True, kw_only=True)
class NextStep:
    """A reading to take next, with the section of the walk it is in."""

    section: str
    check: str
    label: str
    reason: str


def list_next_steps(sections: Iterable[Section]) -> list[NextStep]:
    """List what to read next: contradictions first, then what settles most.

    A mistake comes before every chance: until it is found, no number means anything.
    """
    rows = [(section.key, row) for section in sections for row in section.rows]
    again = [
        (key, row, row.reason)
        for key, row in rows
        if row.verdict == Verdict.REMEASURE and row.reason
    ]
    ahead = sorted(
        ((key, row) for key, row in rows if row.next_place is not None),
        key=lambda item: item[1].next_place or 0,
    )
    steps = [*again, *((key, row, row.next_reason) for key, row in ahead)]
    return [
        NextStep(
            section=key,
            check=row.check.key,
            label=describe_check(row.check, with_mark=True),
            reason=reason,
        )
        for key, row, reason in steps[:MAX_NEXT_STEPS]
    ]


def _has_erection_begun(building: Building) -> bool:
    """Return True once columns may stand; before that nothing can be plumb."""
    erection = building.stages.filter(kind=Stage.Kind.ERECTION)
    return erection.exclude(state=Stage.State.WAITING).exists()


def build_blank_walk(plan: Plan) -> list[Section]:
    """Build the walk without results, to be printed."""
    rows = [SheetRow(check=c, label=describe_check(c)) for c in build_check_sheet(plan)]
    return [section for section in _group_rows(plan, rows) if section.rows]


def build_result_walk(plan: Plan, result: ResultDocument | None) -> list[Section]:
    """Build the walk with the verdicts of one result, whatever was read since."""
    results = ResultView(result).checks
    rows = [
        SheetRow(
            check=check, label=describe_check(check), result=results.get(check.key)
        )
        for check in [*build_check_sheet(plan), *_find_unlisted_checks(plan, results)]
    ]
    return [section for section in _group_rows(plan, rows) if section.rows]


def _find_unlisted_checks(plan: Plan, keys: Iterable[str]) -> list[Check]:
    """Find checks that only readings name: benchmarks, samples, further gages."""
    listed = {check.key for check in build_check_sheet(plan)}
    found = []
    for key in keys:
        if key not in listed:
            try:
                found.append(find_check(plan, key))
            except UnknownCheckError:
                continue  # of an earlier plan: the reading history still shows it
    return found


def _group_rows(plan: Plan, rows: list[SheetRow]) -> list[Section]:
    """Group rows into sections, in the order of the walk."""
    groups: dict[str, list[SheetRow]] = {"diagonals": []}
    walls = {position.mark: position.wall for position in plan.positions}
    for row in rows:
        groups.setdefault(_section_key(row.check, walls), []).append(row)
    # Samples are named when they are recorded, so the section exists without rows.
    groups.setdefault("strength", [])
    # The sort is stable: all other sections keep the order of the sheet.
    order = list(groups)
    order.sort(key=lambda key: LAST_SECTIONS.index(key) if key in LAST_SECTIONS else -1)
    return [_build_section(key, groups[key]) for key in order]


def _section_key(check: Check, walls: Mapping[str, tuple[str, str] | None]) -> str:
    kind = check.kind
    if kind is CheckKind.DIAGONAL:
        return "diagonals"
    if kind is CheckKind.WALL:
        return f"wall:{'-'.join(check.corners)}"
    if kind is CheckKind.LINE:
        return f"wall:{'-'.join(walls[check.mark or ''] or ())}"
    if kind in PAIR_KINDS:
        return f"{kind}s"
    if kind in LEVEL_KINDS:
        return "levels"
    if kind in NOTCH_KINDS:
        return "notch"
    if kind in (CheckKind.STRENGTH, CheckKind.PLUMB):
        return str(kind)
    return f"position:{check.mark}"


def _build_section(key: str, rows: list[SheetRow]) -> Section:
    word, _, name = key.partition(":")
    titles = {
        "diagonals": ("Diagonals", "Corner to corner on the steel line."),
        "wall": (f"Wall {name}", "Keep the tape zero at the corner; do not chain."),
        "position": (
            f"Pattern {name}",
            "To rod centres, from the steel line and the reference line.",
        ),
        "bays": (
            "Bays",
            "Optional. Reference line to reference line along the wall, one taped"
            " length.",
        ),
        "spans": (
            "Spans",
            "Optional. Across the frame, from steel line to steel line on the reference"
            " lines.",
        ),
        "levels": ("Levels", "From one set-up if possible. A larger reading is lower."),
        "notch": ("Sheeting notch", "At mid wall."),
        "strength": ("Concrete samples", "Field-cured samples only."),
        "plumb": ("Plumb", "Horizontal lean of the shaft over the height entered."),
    }
    title, hint = titles[word]
    return Section(key=key, title=title, hint=hint, rows=tuple(rows))


def choose_section(sections: list[Section], key: str, show: str) -> Section:
    """Choose the section to show.

    The requested one; else the first with a required check that was not read; else the
    first with a check to measure again; else the first of the walk.
    """
    for section in sections:
        if section.key == key:
            return section
    unread = [section for section in sections if section.remaining_count]
    again = [section for section in sections if section.remeasure_count]
    if show == "again":
        unread = []
    return (unread or again or sections)[0]
