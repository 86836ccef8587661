"""The sheet in the order a crew walks it, with what is known of every check."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from checks.models import Decision, Evaluation, Finding, Reading, Release
from checks.queries.photographs import counted_by_check
from checks.queries.plain import Plain, plain_limits
from checks.wording import check_words
from jobs.models import Building, Stage
from jobs.plan.model import Plan
from jobs.plan.sheet import Check, Kind, check_sheet, find_check
from jobs.plans import plan_of

STRETCHES = {"diagonals": "Outline", "wall": "Walls", "position": "Patterns"}


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
    words: str
    judged: Mapping[str, Any] | None = None
    standing: tuple[Reading, ...] = ()
    again: Reading | None = None
    due: bool = True
    plain: Plain | None = None
    photographs: int = 0

    @property
    def reason(self) -> str:
        """Why it is to be measured again, as far as the result says."""
        return (self.judged or {}).get("reason") or ""

    @property
    def verdict(self) -> str:
        """The latest verdict."""
        return self.judged["verdict"] if self.judged else "unmeasured"

    @property
    def wanted_again(self) -> bool:
        """Whether what is known of it does not hold and another reading would."""
        return self.again is not None or self.verdict == "remeasure"


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A stretch of the walk that is measured in one go."""

    key: str
    title: str
    hint: str
    rows: tuple[SheetRow, ...]

    @property
    def required(self) -> int:
        """How many of its checks a release waits for."""
        return sum(row.check.required for row in self.rows)

    @property
    def measured(self) -> int:
        """How many of those have a reading."""
        return sum(row.check.required and bool(row.standing) for row in self.rows)

    @property
    def outside(self) -> int:
        """How many of its checks are outside."""
        return sum(row.verdict == "outside" for row in self.rows)

    @property
    def again(self) -> int:
        """How many of its checks are to be measured again."""
        return sum(row.wanted_again for row in self.rows)

    @property
    def done(self) -> bool:
        """Whether nothing that is required is left to measure."""
        return self.required > 0 and self.measured == self.required

    @property
    def left(self) -> int:
        """How many of its checks a release waits for now and nobody has read."""
        return sum(
            row.check.required and row.due and not row.standing for row in self.rows
        )

    @property
    def stretch(self) -> str:
        """The part of the walk it belongs to, to head a list of sections."""
        word = self.key.partition(":")[0]
        return STRETCHES.get(word, "Afterwards")

    @property
    def short(self) -> str:
        """Its name under that heading."""
        word, _, name = self.key.partition(":")
        return name if word in ("wall", "position") and name else self.title


def latest_evaluation(building: Building) -> Evaluation | None:
    """Give the newest evaluation of a building."""
    found = Evaluation.objects.filter(building=building)
    return found.select_related("revision").order_by("-pk").first()


def walk(building: Building) -> list[Section]:
    """Lay out the sheet in the order a crew walks it, with what is known."""
    plan = plan_of(building.current_revision())
    evaluation = latest_evaluation(building)
    judged = {
        row["check"]: row for row in (evaluation.result["checks"] if evaluation else [])
    }
    standing = _standing(building)
    since = _measure_after(building)
    checks = [*check_sheet(plan), *_named(plan, standing)]
    plain = plain_limits(plan, checks)
    photographs = counted_by_check(building)
    erecting = building.stages.filter(kind=Stage.Kind.ERECTION).exclude(
        state=Stage.State.WAITING
    )
    standing_columns = erecting.exists()
    rows = []
    for check in checks:
        readings = tuple(standing.get(check.key, ()))
        old = [r for r in readings if _is_before(r, check, since)]
        rows.append(
            SheetRow(
                check=check,
                words=check_words(check),
                judged=judged.get(check.key),
                standing=readings,
                again=old[0] if old else None,
                due=check.stage != "erection" or standing_columns,
                plain=plain.get(check.key),
                photographs=photographs.get(check.key, 0),
            )
        )
    return _sections(plan, rows)


def blank_walk(plan: Plan) -> list[Section]:
    """Lay out the sheet with nothing filled in, to be printed."""
    rows = [SheetRow(check=c, words=check_words(c)) for c in check_sheet(plan)]
    return [section for section in _sections(plan, rows) if section.rows]


def judged_walk(plan: Plan, result: Mapping[str, Any] | None) -> list[Section]:
    """Lay out the sheet with the verdicts of one result, whatever came since."""
    judged = {row["check"]: row for row in (result or {}).get("checks", ())}
    rows = [
        SheetRow(check=check, words=check_words(check), judged=judged.get(check.key))
        for check in [*check_sheet(plan), *_named(plan, judged)]
    ]
    return [section for section in _sections(plan, rows) if section.rows]


def _standing(building: Building) -> dict[str, list[Reading]]:
    found: dict[str, list[Reading]] = {}
    readings = (
        Reading.objects.filter(building=building)
        .standing()
        .select_related("recorded_by", "instrument")
        .order_by("pk")
    )
    for reading in readings:
        found.setdefault(reading.check_key, []).append(reading)
    return found


@dataclass(frozen=True, slots=True)
class _After:
    """From when on readings count: after the pour, after a repair."""

    pour: datetime | None
    repairs: Mapping[str, datetime] = field(default_factory=dict)


def _measure_after(building: Building) -> _After:
    pour = Release.objects.filter(building=building, kind=Release.Kind.POUR)
    signed = pour.order_by("-pk").values_list("signed_at", flat=True).first()
    carried = (
        Decision.objects.filter(
            finding__building=building,
            finding__state=Finding.State.CARRIED_OUT,
            carried_out__isnull=False,
        )
        .order_by("pk")
        .values_list("basis__checks", "carried_out__at")
    )
    repairs = {
        row["check"]: at
        for rows, at in carried
        for row in rows
        if row["verdict"] not in ("within", "unmeasured")
    }
    return _After(signed, repairs)


def _is_before(reading: Reading, check: Check, since: _After) -> bool:
    pour = since.pour if check.stage == "foundation" else None
    repair = since.repairs.get(check.key)
    return any(at is not None and reading.taken_at <= at for at in (pour, repair))


def _named(plan: Plan, standing: Iterable[str]) -> list[Check]:
    """Find the checks only readings name: benchmarks, samples, further gages."""
    listed = {check.key for check in check_sheet(plan)}
    found = []
    for key in standing:
        if key not in listed:
            try:
                found.append(find_check(plan, key))
            except ValueError:
                continue  # of an earlier plan; the record still shows it
    return found


def _sections(plan: Plan, rows: list[SheetRow]) -> list[Section]:
    """Group the rows: outline, walls, patterns, levels, notch, samples, plumb."""
    groups: dict[str, list[SheetRow]] = {"diagonals": []}
    walls = {p.mark: p.wall for p in plan.positions}
    for row in rows:
        groups.setdefault(_group(row.check, walls), []).append(row)
    groups.setdefault("strength", [])
    order = list(groups)
    last = ("notch", "strength", "plumb")
    order.sort(key=lambda key: last.index(key) if key in last else -1)
    return [_section(key, groups[key]) for key in order]


def _group(check: Check, walls: Mapping[str, Any]) -> str:
    kind = check.kind
    if kind is Kind.DIAGONAL:
        return "diagonals"
    if kind is Kind.WALL:
        return f"wall:{'-'.join(check.corners)}"
    if kind is Kind.LINE:
        return f"wall:{'-'.join(walls[check.mark or ''] or ())}"
    if kind in (Kind.LEVEL, Kind.BENCHMARK):
        return "levels"
    if kind in (Kind.NOTCH_WIDTH, Kind.NOTCH_DEPTH):
        return "notch"
    if kind in (Kind.STRENGTH, Kind.PLUMB):
        return str(kind)
    return f"position:{check.mark}"


def _section(key: str, rows: list[SheetRow]) -> Section:
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


def suggest(sections: list[Section], key: str, show: str) -> Section:
    """Choose the section to work on.

    The one asked for; else the first on the walk with something required unread; else
    the first with something to measure again; else the first.
    """
    for section in sections:
        if section.key == key:
            return section
    unread = [section for section in sections if section.left]
    again = [section for section in sections if section.again]
    if show == "again":
        unread = []
    return (unread or again or sections)[0]
