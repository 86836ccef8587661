"""Preview of a plan: drawing, number of checks, warnings."""

from collections import Counter
from dataclasses import dataclass

from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import build_check_sheet
from jobs.anchor_plan.values import Plan
from jobs.plans.detail_drawing import DetailDrawing, draw_detail
from jobs.plans.plan_drawing import PlanDrawing, draw_plan
from jobs.plans.plan_reviewers import list_plan_warnings

MIN_RODS_PER_COLUMN = 4  # per structural column, 29 CFR 1926.758(b)

CHECK_KIND_LABELS = {  # singular, plural
    CheckKind.DIAGONAL: ("diagonal", "diagonals"),
    CheckKind.WALL: ("wall", "walls"),
    CheckKind.LINE: ("reference line", "reference lines"),
    CheckKind.BAY: ("bay", "bays"),
    CheckKind.SPAN: ("span", "spans"),
    CheckKind.SETBACK: ("setback", "setbacks"),
    CheckKind.OFFSET: ("offset", "offsets"),
    CheckKind.GAGE: ("gage", "gages"),
    CheckKind.PROJECTION: ("projection", "projections"),
    CheckKind.LEVEL: ("level", "levels"),
    CheckKind.BENCHMARK: ("benchmark", "benchmarks"),
    CheckKind.STRENGTH: ("strength sample", "strength samples"),
    CheckKind.NOTCH_WIDTH: ("notch width", "notch widths"),
    CheckKind.NOTCH_DEPTH: ("notch depth", "notch depths"),
    CheckKind.PLUMB: ("plumb reading", "plumb readings"),
}


@dataclass(frozen=True, slots=True)
class CheckCount:
    """Number of checks of one kind, and how many of them are required."""

    name: str
    number: int
    required: int


@dataclass(frozen=True, slots=True)
class PlanPreview:
    """A plan for its page, and for the preview before it is saved."""

    plan: Plan
    drawing: PlanDrawing
    details: tuple[DetailDrawing, ...]
    check_counts: tuple[CheckCount, ...]
    rod_count: int
    reading_count: int
    sparse_details: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def size_text(self) -> str:
        """Number of positions and rods."""
        positions = len(self.plan.positions)
        plural = "" if positions == 1 else "s"
        return f"{positions} position{plural}, {self.rod_count} rods."

    @property
    def checks_text(self) -> str:
        """Number of required and optional checks."""
        text = f"{self.required_count} required checks"
        return (
            f"{text}, {self.optional_count} optional:"
            if self.optional_count
            else f"{text}:"
        )

    @property
    def kinds_text(self) -> str:
        """Number of checks of each kind."""
        kinds = ", ".join(f"{each.number} {each.name}" for each in self.check_counts)
        return f"{kinds}."

    @property
    def check_count(self) -> int:
        """Number of checks."""
        return sum(count.number for count in self.check_counts)

    @property
    def required_count(self) -> int:
        """Number of checks a release requires."""
        return sum(count.required for count in self.check_counts)

    @property
    def optional_count(self) -> int:
        """Number of optional checks."""
        return self.check_count - self.required_count


def build_preview(plan: Plan, *, reading_count: int = 0) -> PlanPreview:
    """Build the preview of a plan; `reading_count` readings came with it."""
    return PlanPreview(
        plan=plan,
        drawing=draw_plan(plan),
        details=tuple(map(draw_detail, plan.details.values())),
        check_counts=count_checks(plan),
        rod_count=sum(len(plan.details[each.detail].rods) for each in plan.positions),
        reading_count=reading_count,
        sparse_details=tuple(
            name
            for name, each in plan.details.items()
            if len(each.rods) < MIN_RODS_PER_COLUMN
        ),
        warnings=list_plan_warnings(plan),
    )


def count_checks(plan: Plan) -> tuple[CheckCount, ...]:
    """Count the checks of a plan by kind, in measuring order."""
    every: Counter[CheckKind] = Counter()
    required: Counter[CheckKind] = Counter()
    for check in build_check_sheet(plan):
        every[check.kind] += 1
        required[check.kind] += check.required
    return tuple(
        CheckCount(CHECK_KIND_LABELS[kind][number != 1], number, required[kind])
        for kind, number in every.items()
    )
