"""How far a building of the demo has come: each step of a story, ready to be put."""

from collections.abc import Callable, Sequence

from checks.demo.crew import CAREFUL, Crew, Foundation, build
from checks.demo.story import Story
from checks.models import Finding
from checks.services.evaluation import evaluate_building
from jobs.plan.sheet import Kind
from jobs.services import revise_plan

Fault = Callable[[Foundation], Foundation]
Document = dict[str, object]

OUTLINE = (Kind.DIAGONAL, Kind.WALL, Kind.LINE)
PATTERN = (Kind.SETBACK, Kind.OFFSET, Kind.PROJECTION)


def lay_out(story: Story, day: float, share: float = 1.0) -> None:
    """Measure the forms before the pour: outline, lines and a share of the rods."""
    story.built = build(story.plan, story.seed, CAREFUL)
    checks = story.checks("foundation")
    outline = [check for check in checks if check.kind in OUTLINE]
    rods = [check for check in checks if check.kind in PATTERN]
    story.measure(day, outline + rods[: int(share * len(rods))])


def pour(story: Story, day: float) -> None:
    """Measure the forms, put right what has to be, and sign the pour release."""
    lay_out(story, day)
    last = story.settle(day + 1.0)
    story.sign(last + 0.2, "pour", "Forms and templates as drawn; pour in the morning.")


def find_poured(story: Story) -> None:
    """The slab was there before anybody of ours measured it."""
    story.built = build(story.plan, story.seed, CAREFUL)


def survey(
    story: Story,
    day: float,
    *,
    faults: Sequence[Fault] = (),
    mistakes: Sequence[str] = (),
    crew: Crew | None = None,
    extra: bool = False,
) -> None:
    """Measure everything as built, with what went wrong in the pour and with the tape.

    With `extra`, gages and the sheeting notch are read too.
    """
    for fault in faults:
        story.built = fault(story.built)
    checks = story.checks("foundation", "verification", optional=extra)
    story.measure(day, checks, mistakes=mistakes, crew=crew)


def decide_all(story: Story, day: float) -> None:
    """Order the first remedy of every finding that waits; nothing is done yet."""
    for finding in story.findings():
        if finding.state == Finding.State.OPEN:
            story.decide_on(day, finding)


def ship(story: Story, day: float) -> float:
    """Bring every finding to its end and let the steel leave; give the last day."""
    last = story.settle(day)
    story.sign(last + 0.2, "ship", "Load in the order of the erection drawing.")
    return last + 0.3


def erect(story: Story, day: float, strength: str = "2900 psi") -> float:
    """Test a sample and let the columns be set; give the last day."""
    story.sample(day, "F1", strength)
    story.sign(day + 0.3, "erect", "Written notice handed to the erector.")
    return day + 0.4


def plumb(story: Story, day: float, share: float = 1.0) -> None:
    """Measure a share of the columns that stand."""
    checks = story.checks("erection")
    story.measure(day, checks[: int(share * len(checks))])


def complete(story: Story, day: float) -> None:
    """Plumb every column and sign the last release."""
    plumb(story, day)
    last = story.settle(day + 1.0)
    story.sign(last + 0.2, "completion", "Anchored, braced and plumb.")


def revise(story: Story, day: float, document: Document, note: str) -> None:
    """Issue a revision of the plan and judge by it what was measured."""
    story.at(day)
    revise_plan(
        actor=story.team.engineer,
        building=story.building,
        document=document,
        note=note,
    )
    evaluate_building(story.building.pk)
    story.plan_again()
