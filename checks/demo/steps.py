"""How far a building of the demo has come: each step of a story, ready to be put."""

from collections.abc import Callable, Sequence

from checks.demo.crew import CAREFUL_SPREAD, BuiltFoundation, Crew, build_foundation
from checks.demo.simulation import BuildingSimulation
from checks.models import Finding
from checks.services.evaluation import evaluate_building
from jobs.anchor_plan.check_keys import CheckKind
from jobs.services import revise_plan

Fault = Callable[[BuiltFoundation], BuiltFoundation]
Document = dict[str, object]

OUTLINE = (CheckKind.DIAGONAL, CheckKind.WALL, CheckKind.LINE)
PATTERN = (CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.PROJECTION)


def measure_forms(story: BuildingSimulation, day: float, share: float = 1.0) -> None:
    """Measure the forms before the pour: outline, lines and a share of the rods."""
    story.foundation = build_foundation(story.plan, story.seed, CAREFUL_SPREAD)
    checks = story.list_checks("foundation")
    outline = [check for check in checks if check.kind in OUTLINE]
    rods = [check for check in checks if check.kind in PATTERN]
    story.measure(day, outline + rods[: int(share * len(rods))])


def pour_concrete(story: BuildingSimulation, day: float) -> None:
    """Measure the forms, put right what has to be, and sign the pour release."""
    measure_forms(story, day)
    last = story.settle_findings(day + 1.0)
    story.sign_next_release(
        last + 0.2, "pour", "Forms and templates as drawn; pour in the morning."
    )


def start_from_poured_slab(story: BuildingSimulation) -> None:
    """The slab was there before anybody of ours measured it."""
    story.foundation = build_foundation(story.plan, story.seed, CAREFUL_SPREAD)


def survey_as_built(
    story: BuildingSimulation,
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
        story.foundation = fault(story.foundation)
    checks = story.list_checks("foundation", "verification", optional=extra)
    story.measure(day, checks, mistakes=mistakes, crew=crew)


def decide_findings(story: BuildingSimulation, day: float) -> None:
    """Order the first remedy of every finding that waits; nothing is done yet."""
    for finding in story.list_findings():
        if finding.state == Finding.State.OPEN:
            story.decide_finding(day, finding)


def sign_ship_release(story: BuildingSimulation, day: float) -> float:
    """Bring every finding to its end and let the steel leave; give the last day."""
    last = story.settle_findings(day)
    story.sign_next_release(
        last + 0.2, "ship", "Load in the order of the erection drawing."
    )
    return last + 0.3


def sign_erect_release(
    story: BuildingSimulation, day: float, strength: str = "2900 psi"
) -> float:
    """Test a sample and let the columns be set; give the last day."""
    story.record_sample(day, "F1", strength)
    story.sign_next_release(day + 0.3, "erect", "Written notice handed to the erector.")
    return day + 0.4


def measure_plumb(story: BuildingSimulation, day: float, share: float = 1.0) -> None:
    """Measure a share of the columns that stand."""
    checks = story.list_checks("erection")
    story.measure(day, checks[: int(share * len(checks))])


def sign_completion(story: BuildingSimulation, day: float) -> None:
    """Plumb every column and sign the last release."""
    measure_plumb(story, day)
    last = story.settle_findings(day + 1.0)
    story.sign_next_release(last + 0.2, "completion", "Anchored, braced and plumb.")


def issue_revision(
    story: BuildingSimulation, day: float, document: Document, note: str
) -> None:
    """Issue a revision of the plan and judge by it what was measured."""
    story.set_day(day)
    revise_plan(
        actor=story.team.engineer,
        building=story.building,
        document=document,
        note=note,
    )
    evaluate_building(story.building.pk)
    story.reload_plan()
