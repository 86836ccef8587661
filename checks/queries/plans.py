"""A building's plan with its latest result: what the drawn pages read."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from typing import Any

from checks.drawings.judged import VERDICTS, Judged
from checks.models import Evaluation, Finding
from checks.queries.alike import measured_again
from checks.queries.review import RemedyShown, remedies_shown
from checks.queries.whole import figure, length_rows, move_rows, rule_rows
from checks.wording import check_words, topic_words
from core.models import Person
from jobs.models import Building, PlanRevision
from jobs.plan.model import Plan, Position
from jobs.plan.sheet import Kind, check_sheet, find_check
from jobs.plans import plan_of

FIRST_CHECKS = 6  # named where nothing is measured yet
KINDS = {
    Kind.DIAGONAL: "diagonals",
    Kind.WALL: "walls",
    Kind.LINE: "reference lines",
    Kind.SETBACK: "setbacks",
    Kind.OFFSET: "offsets",
    Kind.GAGE: "gages",
    Kind.PROJECTION: "projections",
    Kind.LEVEL: "levels",
    Kind.BENCHMARK: "benchmarks",
    Kind.STRENGTH: "strength samples",
    Kind.NOTCH_WIDTH: "notch widths",
    Kind.NOTCH_DEPTH: "notch depths",
    Kind.PLUMB: "plumb",
}


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A building, its plan in force, and what was computed of it.

    Attributes
    ----------
    evaluation : the newest, None while there is none of the plan in force.
    judged : its result by name; empty while there is none.
    """

    building: Building
    revision: PlanRevision
    plan: Plan
    evaluation: Evaluation | None
    judged: Judged

    @property
    def result(self) -> Mapping[str, Any] | None:
        """The result document, None where nothing has been measured."""
        return self.judged.result

    @property
    def levels(self) -> Mapping[str, Any]:
        """The result's levels; empty where there are none."""
        return (self.result or {}).get("levels") or {}


def drawn(person: Person, pk: int) -> Drawn | None:
    """Fetch a building this person may see, with its plan and latest result."""
    building = (
        Building.objects.visible_to(person).select_related("job").filter(pk=pk).first()
    )
    return None if building is None else drawn_of(building)


def drawn_of(building: Building) -> Drawn:
    """Fetch a building's plan in force and the latest result of it."""
    revision = building.current_revision()
    evaluation = (
        Evaluation.objects.filter(building=building, revision=revision)
        .order_by("-pk")
        .first()
    )
    measured = evaluation is not None and any(
        check["verdict"] != "unmeasured" for check in evaluation.result["checks"]
    )
    return Drawn(
        building=building,
        revision=revision,
        plan=plan_of(revision),
        evaluation=evaluation,
        judged=Judged(evaluation.result if evaluation and measured else None),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class KindRow:
    """How many checks of a kind have each verdict."""

    label: str
    counts: tuple[tuple[str, int], ...]
    total: int


def kind_rows(judged: Judged) -> list[KindRow]:
    """Count the verdicts of each kind of check, kinds in the order of the walk."""
    counts = judged.counts()
    return [
        KindRow(
            label=label,
            counts=tuple((verdict, counts[kind][verdict]) for verdict in VERDICTS),
            total=counts[kind].total(),
        )
        for kind, label in KINDS.items()
        if kind in counts
    ]


@dataclass(frozen=True, slots=True, kw_only=True)
class PositionRow:
    """One position in numbers. [mm]"""

    mark: str
    place: str
    verdict: str
    shift_along: float | None
    shift_in: float | None
    worst_miss: float | None
    fits: bool | None
    height: float | None
    level: str


def position_rows(plan: Plan, judged: Judged) -> list[PositionRow]:
    """Every position of the plan in numbers, in the plan's order."""
    return [_position_row(position, judged) for position in plan.positions]


def _position_row(position: Position, judged: Judged) -> PositionRow:
    entry = judged.positions.get(position.mark, {})
    pad = judged.pads.get(position.mark, {})
    misses = [
        rod["miss"] for rod in entry.get("rods", []) if rod.get("miss") is not None
    ]
    plate_fit = entry.get("plate_fit")
    return PositionRow(
        mark=position.mark,
        place="-".join(position.wall) if position.wall else "inside",
        verdict=judged.verdict_of(position.mark),
        shift_along=entry.get("shift_along"),
        shift_in=entry.get("shift_in"),
        worst_miss=max(misses, default=None),
        fits=plate_fit["fits"] if plate_fit else None,
        height=pad.get("height"),
        level=pad.get("verdict") or "unmeasured",
    )


def first_checks(plan: Plan) -> list[str]:
    """What a crew measures first, in words: the start of the walk."""
    required = (check for check in check_sheet(plan) if check.required)
    return [check_words(check) for check in islice(required, FIRST_CHECKS)]


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingRow:
    """One open finding in a line, with its remedies where they are shown."""

    finding: Finding
    words: str
    proposal: str
    remedies: tuple[RemedyShown, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of all its remedies, each once."""
        return tuple(dict.fromkeys(c for r in self.remedies for c in r.cautions))


def open_findings(building: Building, *topics: str) -> list[FindingRow]:
    """The building's open findings, of some topics only where any are named."""
    findings = Finding.objects.filter(building=building).open()
    if topics:
        findings = findings.filter(topic__in=topics)
    rows = []
    for finding in findings.prefetch_related("events").order_by("opened_at", "pk"):
        again = measured_again(finding, finding.events.all())
        remedies = remedies_shown(finding, again)
        rows.append(
            FindingRow(
                finding=finding,
                words=topic_words(finding.topic),
                proposal=remedies[0].words if remedies else "",
                remedies=tuple(remedies),
            )
        )
    return rows


@dataclass(frozen=True, slots=True, kw_only=True)
class RodRow:
    """One rod in numbers. [mm]"""

    rod: int
    verdict: str
    planned_along: float
    planned_in: float
    along: float | None
    inward: float | None
    d_along: float | None
    d_in: float | None
    miss: float | None
    projection: Mapping[str, Any] | None


def rod_rows(plan: Plan, position: Position, judged: Judged) -> list[RodRow]:
    """Every rod of a position, planned and as built."""
    entry = judged.positions.get(position.mark, {})
    built = {rod["rod"]: rod for rod in entry.get("rods", [])}
    return [
        RodRow(
            rod=rod.number,
            verdict=found.get("verdict") or "unmeasured",
            planned_along=rod.along,
            planned_in=rod.inward,
            along=found.get("along"),
            inward=found.get("in"),
            d_along=found.get("d_along"),
            d_in=found.get("d_in"),
            miss=found.get("miss"),
            projection=judged.checks.get(f"projection:{position.mark}.{rod.number}"),
        )
        for rod, found in _with_found(plan, position, built)
    ]


def _with_found(
    plan: Plan, position: Position, built: Mapping[int, dict[str, Any]]
) -> Iterator[tuple[Any, dict[str, Any]]]:
    for rod in plan.details[position.detail].rods:
        yield rod, built.get(rod.number, {})


def neighbours(plan: Plan, mark: str) -> tuple[str, str]:
    """The marks before and after one on the plan; empty at either end."""
    marks = ["", *(position.mark for position in plan.positions), ""]
    at = marks.index(mark)
    return marks[at - 1], marks[at + 1]


@dataclass(frozen=True, slots=True, kw_only=True)
class PadRow:
    """One pad in numbers. [mm]"""

    mark: str
    place: str
    verdict: str
    height: float | None
    shim: float | None
    stack: tuple[str, ...]
    residual: float | None
    thread_left: float | None

    @property
    def low_by(self) -> float | None:
        """How far below the highest pad. [mm]"""
        return None if self.height is None else -self.height

    @property
    def refer(self) -> bool:
        """Whether no stack of shims is proposed for a pad that is too low."""
        return self.verdict == "outside" and not self.stack


def pad_rows(plan: Plan, judged: Judged) -> list[PadRow]:
    """Every pad of the plan, in the plan's order."""
    return [
        PadRow(
            mark=position.mark,
            place="-".join(position.wall) if position.wall else "inside",
            verdict=pad["verdict"],
            height=pad["height"],
            shim=pad.get("shim"),
            stack=tuple(pad.get("stack") or ()),
            residual=pad.get("residual"),
            thread_left=pad.get("thread_left"),
        )
        for position in plan.positions
        if (pad := judged.pads.get(position.mark)) is not None
    ]


def building_tables(found: Drawn) -> dict[str, Any]:
    """What the building's page shows in numbers."""
    lengths = length_rows(found.plan, found.result or {})
    return {
        "kinds": kind_rows(found.judged),
        "positions": position_rows(found.plan, found.judged),
        "lengths": lengths,
        "suspects": [row.words for row in lengths if row.suspect],
        "rules": rule_rows(found.result or {}),
        "moves": move_rows(found.result or {}),
        "figure": figure(found.result or {}),
        "square_note": found.judged.squareness.get("note"),
        "findings": open_findings(found.building),
    }


def checks_at(found: Drawn, mark: str) -> list[tuple[str, Mapping[str, Any]]]:
    """Every check of a position that was read, in the order of the walk."""
    return [
        (check_words(find_check(found.plan, key)), row)
        for key, row in found.judged.checks.items()
        if row.get("mark") == mark and row["readings"]
    ]


def position_tables(found: Drawn, place: Position) -> dict[str, Any]:
    """What a position's page shows in numbers, and the remedies of its findings."""
    mark, judged = place.mark, found.judged
    entry = judged.positions.get(mark, {})
    plate_fit = entry.get("plate_fit")
    topics = [f"{kind}:{mark}" for kind in ("position", "projection", "level")]
    return {
        "detail": found.plan.details[place.detail],
        "plate_fit": plate_fit,
        "slack": abs(plate_fit["overrun"]) if plate_fit else None,
        "verdict": judged.verdict_of(mark),
        "rods": rod_rows(found.plan, place, judged),
        "line": judged.checks.get(f"line:{mark}"),
        "pad": judged.pads.get(mark),
        "checks": checks_at(found, mark),
        "findings": open_findings(found.building, *topics),
        "neighbours": neighbours(found.plan, mark),
    }


def shim_tables(found: Drawn) -> dict[str, Any]:
    """Where shims go, which pads are the engineer's, and what is not levelled."""
    pads = pad_rows(found.plan, found.judged)
    return {
        "pads": pads,
        "shimmed": [pad for pad in pads if pad.stack],
        "referred": [pad for pad in pads if pad.refer],
        "unmeasured": [pad for pad in pads if pad.height is None],
        "levels": found.levels,
    }
