"""The sheet in the order a crew walks it, with what is known of every check."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from checks.labels import describe_check
from checks.models import Decision, Evaluation, Finding, Reading, Release
from checks.queries.offline_limits import OfflineLimits, compute_offline_limits
from checks.queries.photographs import count_photographs
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet, find_check
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.models import Building, Stage
from jobs.plans.plan_cache import load_plan

SECTION_GROUPS = {"diagonals": "Outline", "wall": "Walls", "position": "Patterns"}


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetRow:
    """One check on the walk, and what is known of it.

    Attributes
    ----------
    judged : the latest result's row, None while there is none.
    standing : readings that stand, the oldest first.
    again : a reading to be replaced: taken before the pour, or before a decision
        was carried out. None where another reading is a repeat.
    due : whether its stage has begun: no column is plumb before it stands.
    plain : what a phone holds one reading against, None where only the server can.
    photographs : how many there are of it.
    """

    check: Check
    label: str
    result: Mapping[str, Any] | None = None
    current_readings: tuple[Reading, ...] = ()
    outdated: Reading | None = None
    is_due: bool = True
    offline_limits: OfflineLimits | None = None
    photograph_count: int = 0

    @property
    def reason(self) -> str:
        """Why it is to be measured again, as far as the result says."""
        return (self.result or {}).get("reason") or ""

    @property
    def verdict(self) -> str:
        """The latest verdict."""
        return self.result["verdict"] if self.result else "unmeasured"

    @property
    def needs_remeasuring(self) -> bool:
        """Whether what is known of it does not hold and another reading would."""
        return self.outdated is not None or self.verdict == "remeasure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A stretch of the walk that is measured in one go."""

    key: str
    title: str
    hint: str
    rows: tuple[SheetRow, ...]

    @property
    def required_count(self) -> int:
        """How many of its checks a release waits for."""
        return sum(row.check.required for row in self.rows)

    @property
    def measured_count(self) -> int:
        """How many of those have a reading."""
        return sum(
            row.check.required and bool(row.current_readings) for row in self.rows
        )

    @property
    def outside_count(self) -> int:
        """How many of its checks are outside."""
        return sum(row.verdict == "outside" for row in self.rows)

    @property
    def remeasure_count(self) -> int:
        """How many of its checks are to be measured again."""
        return sum(row.needs_remeasuring for row in self.rows)

    @property
    def is_complete(self) -> bool:
        """Whether nothing that is required is left to measure."""
        return self.required_count > 0 and self.measured_count == self.required_count

    @property
    def remaining_count(self) -> int:
        """How many of its checks a release waits for now and nobody has read."""
        return sum(
            row.check.required and row.is_due and not row.current_readings
            for row in self.rows
        )

    @property
    def group_title(self) -> str:
        """The part of the walk it belongs to, to head a list of sections."""
        word = self.key.partition(":")[0]
        return SECTION_GROUPS.get(word, "Afterwards")

    @property
    def short_title(self) -> str:
        """Its name under that heading."""
        word, _, name = self.key.partition(":")
        return name if word in ("wall", "position") and name else self.title


def get_latest_evaluation(building: Building) -> Evaluation | None:
    """Give the newest evaluation of a building."""
    found = Evaluation.objects.filter(building=building)
    return found.select_related("revision").order_by("-pk").first()


def build_walk(building: Building) -> list[Section]:
    """Lay out the sheet in the order a crew walks it, with what is known."""
    plan = load_plan(building.current_revision())
    evaluation = get_latest_evaluation(building)
    judged = {
        row["check"]: row for row in (evaluation.result["checks"] if evaluation else [])
    }
    standing = _load_current_readings(building)
    since = _load_cutoffs(building)
    checks = [*build_check_sheet(plan), *_find_unlisted_checks(plan, standing)]
    plain = compute_offline_limits(plan, checks)
    photographs = count_photographs(building)
    erecting = building.stages.filter(kind=Stage.Kind.ERECTION).exclude(
        state=Stage.State.WAITING
    )
    standing_columns = erecting.exists()
    rows = []
    for check in checks:
        readings = tuple(standing.get(check.key, ()))
        old = [r for r in readings if _is_outdated(r, check, since)]
        rows.append(
            SheetRow(
                check=check,
                label=describe_check(check),
                result=judged.get(check.key),
                current_readings=readings,
                outdated=old[0] if old else None,
                is_due=check.stage != "erection" or standing_columns,
                offline_limits=plain.get(check.key),
                photograph_count=photographs.get(check.key, 0),
            )
        )
    return _group_rows(plan, rows)


def build_blank_walk(plan: Plan) -> list[Section]:
    """Lay out the sheet with nothing filled in, to be printed."""
    rows = [SheetRow(check=c, label=describe_check(c)) for c in build_check_sheet(plan)]
    return [section for section in _group_rows(plan, rows) if section.rows]


def build_result_walk(plan: Plan, result: Mapping[str, Any] | None) -> list[Section]:
    """Lay out the sheet with the verdicts of one result, whatever came since."""
    judged = {row["check"]: row for row in (result or {}).get("checks", ())}
    rows = [
        SheetRow(check=check, label=describe_check(check), result=judged.get(check.key))
        for check in [*build_check_sheet(plan), *_find_unlisted_checks(plan, judged)]
    ]
    return [section for section in _group_rows(plan, rows) if section.rows]


def _load_current_readings(building: Building) -> dict[str, list[Reading]]:
    found: dict[str, list[Reading]] = {}
    readings = (
        Reading.objects.filter(building=building)
        .current()
        .select_related("recorded_by", "instrument")
        .order_by("pk")
    )
    for reading in readings:
        found.setdefault(reading.check_key, []).append(reading)
    return found


@dataclass(frozen=True, slots=True)
class _ReadingCutoffs:
    """From when on readings count: after the pour, after a repair."""

    pour_signed_at: datetime | None
    repaired_at: Mapping[str, datetime] = field(default_factory=dict)


def _load_cutoffs(building: Building) -> _ReadingCutoffs:
    pour = Release.objects.filter(building=building, kind=Release.Kind.POUR)
    signed = pour.order_by("-pk").values_list("signed_at", flat=True).first()
    carried = (
        Decision.objects.filter(
            finding__building=building,
            finding__state=Finding.State.CARRIED_OUT,
            work_report__isnull=False,
        )
        .order_by("pk")
        .values_list("snapshot__checks", "work_report__at")
    )
    repairs = {
        row["check"]: at
        for rows, at in carried
        for row in rows
        if row["verdict"] not in ("within", "unmeasured")
    }
    return _ReadingCutoffs(signed, repairs)


def _is_outdated(reading: Reading, check: Check, cutoffs: _ReadingCutoffs) -> bool:
    pour = cutoffs.pour_signed_at if check.stage == "foundation" else None
    repair = cutoffs.repaired_at.get(check.key)
    return any(at is not None and reading.taken_at <= at for at in (pour, repair))


def _find_unlisted_checks(plan: Plan, keys: Iterable[str]) -> list[Check]:
    """Find the checks only readings name: benchmarks, samples, further gages."""
    listed = {check.key for check in build_check_sheet(plan)}
    found = []
    for key in keys:
        if key not in listed:
            try:
                found.append(find_check(plan, key))
            except ValueError:
                continue  # of an earlier plan; the record still shows it
    return found


def _group_rows(plan: Plan, rows: list[SheetRow]) -> list[Section]:
    """Group the rows: outline, walls, patterns, levels, notch, samples, plumb."""
    groups: dict[str, list[SheetRow]] = {"diagonals": []}
    walls = {p.mark: p.wall for p in plan.positions}
    for row in rows:
        groups.setdefault(_section_key(row.check, walls), []).append(row)
    groups.setdefault("strength", [])
    order = list(groups)
    last = ("notch", "strength", "plumb")
    order.sort(key=lambda key: last.index(key) if key in last else -1)
    return [_build_section(key, groups[key]) for key in order]


def _section_key(check: Check, walls: Mapping[str, Any]) -> str:
    kind = check.kind
    if kind is CheckKind.DIAGONAL:
        return "diagonals"
    if kind is CheckKind.WALL:
        return f"wall:{'-'.join(check.corners)}"
    if kind is CheckKind.LINE:
        return f"wall:{'-'.join(walls[check.mark or ''] or ())}"
    if kind in (CheckKind.LEVEL, CheckKind.BENCHMARK):
        return "levels"
    if kind in (CheckKind.NOTCH_WIDTH, CheckKind.NOTCH_DEPTH):
        return "notch"
    if kind in (CheckKind.STRENGTH, CheckKind.PLUMB):
        return str(kind)
    return f"position:{check.mark}"


def _build_section(key: str, rows: list[SheetRow]) -> Section:
    word, _, name = key.partition(":")
    titles = {
        "diagonals": ("Diagonals", "Corner to corner on the steel line."),
        "wall": (f"Wall {name}", "Keep the tape zero at the corner; do not chain."),
        "position": (f"Pattern {name}", "To rod centres, from steel and centre line."),
        "levels": ("Levels", "One set-up if you can; larger reading is lower."),
        "notch": ("Sheeting notch", "At mid wall."),
        "strength": ("Concrete samples", "Field-cured samples only."),
        "plumb": ("Plumb", "Horizontal lean of the shaft over the height given."),
    }
    title, hint = titles[word]
    return Section(key=key, title=title, hint=hint, rows=tuple(rows))


def choose_section(sections: list[Section], key: str, show: str) -> Section:
    """Choose the section to work on.

    The one asked for; else the first on the walk with something required unread; else
    the first with something to measure again; else the first.
    """
    for section in sections:
        if section.key == key:
            return section
    unread = [section for section in sections if section.remaining_count]
    again = [section for section in sections if section.remeasure_count]
    if show == "again":
        unread = []
    return (unread or again or sections)[0]
