"""A plan before it is stored: its drawing, what will be measured, what to mind."""

from collections import Counter
from dataclasses import dataclass

from jobs.detail_drawing import DetailDrawing, detail_drawing
from jobs.drawing import PlanDrawing, plan_drawing
from jobs.plan.model import Plan
from jobs.plan.sheet import Kind, check_sheet

LEAST_RODS = 4  # per structural column, 29 CFR 1926.758(b)

NAMES = {  # singular, plural, as a crew says them
    Kind.DIAGONAL: ("diagonal", "diagonals"),
    Kind.WALL: ("wall", "walls"),
    Kind.LINE: ("reference line", "reference lines"),
    Kind.SETBACK: ("setback", "setbacks"),
    Kind.OFFSET: ("offset", "offsets"),
    Kind.GAGE: ("gage", "gages"),
    Kind.PROJECTION: ("projection", "projections"),
    Kind.LEVEL: ("level", "levels"),
    Kind.BENCHMARK: ("benchmark", "benchmarks"),
    Kind.STRENGTH: ("strength sample", "strength samples"),
    Kind.NOTCH_WIDTH: ("notch width", "notch widths"),
    Kind.NOTCH_DEPTH: ("notch depth", "notch depths"),
    Kind.PLUMB: ("plumb reading", "plumb readings"),
}


@dataclass(frozen=True, slots=True)
class Count:
    """How many checks of one kind a plan has, and how many of them are required."""

    name: str
    number: int
    required: int


@dataclass(frozen=True, slots=True)
class Preview:
    """What a plan is, shown before anything is stored and on its own page."""

    plan: Plan
    drawing: PlanDrawing
    details: tuple[DetailDrawing, ...]
    counts: tuple[Count, ...]
    rods: int
    readings: int
    few_rods: tuple[str, ...]

    @property
    def checks(self) -> int:
        """How many checks the plan has."""
        return sum(count.number for count in self.counts)

    @property
    def required(self) -> int:
        """How many of them a release waits for."""
        return sum(count.required for count in self.counts)

    @property
    def more(self) -> int:
        """How many no release waits for."""
        return self.checks - self.required


def preview_of(plan: Plan, *, readings: int = 0) -> Preview:
    """Prepare a plan, and how many readings come with it, for the page."""
    return Preview(
        plan=plan,
        drawing=plan_drawing(plan),
        details=tuple(map(detail_drawing, plan.details.values())),
        counts=counts_of(plan),
        rods=sum(len(plan.details[each.detail].rods) for each in plan.positions),
        readings=readings,
        few_rods=tuple(
            name for name, each in plan.details.items() if len(each.rods) < LEAST_RODS
        ),
    )


def counts_of(plan: Plan) -> tuple[Count, ...]:
    """Count the checks of a plan by kind, in the order of the walk."""
    every: Counter[Kind] = Counter()
    required: Counter[Kind] = Counter()
    for check in check_sheet(plan):
        every[check.kind] += 1
        required[check.kind] += check.required
    return tuple(
        Count(NAMES[kind][number != 1], number, required[kind])
        for kind, number in every.items()
    )
