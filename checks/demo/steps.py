"""The steps that histories are made of."""

from collections.abc import Callable, Mapping, Sequence

from checks.demo.foundation import CAREFUL_SPREAD, BuiltFoundation, build_foundation
from checks.demo.simulation import BuildingSimulation, is_waiting_for_repeat
from checks.models import Finding
from checks.services.evaluation import evaluate_building
from jobs.anchor_plan.check_keys import CheckKind
from jobs.services import revise_plan

Fault = Callable[[BuiltFoundation], BuiltFoundation]
Document = dict[str, object]

OUTLINE = (CheckKind.DIAGONAL, CheckKind.WALL, CheckKind.LINE)
PATTERN = (CheckKind.SETBACK, CheckKind.OFFSET, CheckKind.PROJECTION)


def measure_forms(
    simulation: BuildingSimulation, day: float, share: float = 1.0
) -> None:
    """Measure the forms before the pour: outline, lines and a share of the rods."""
    simulation.foundation = build_foundation(
        simulation.plan, simulation.seed, CAREFUL_SPREAD
    )
    checks = simulation.list_checks("foundation")
    outline = [check for check in checks if check.kind in OUTLINE]
    rods = [check for check in checks if check.kind in PATTERN]
    simulation.measure(day, outline + rods[: int(share * len(rods))])


def pour_concrete(simulation: BuildingSimulation, day: float) -> None:
    """Measure the forms, settle the findings and sign the pour release."""
    measure_forms(simulation, day)
    last = simulation.settle_findings(day + 1.0)
    simulation.sign_next_release(
        last + 0.2, "pour", "Forms and templates as drawn; pour in the morning."
    )


def start_from_poured_slab(simulation: BuildingSimulation) -> None:
    """Build the foundation without any measurement before the pour."""
    simulation.foundation = build_foundation(
        simulation.plan, simulation.seed, CAREFUL_SPREAD
    )


def survey_as_built(
    simulation: BuildingSimulation,
    day: float,
    *,
    faults: Sequence[Fault] = (),
    mistakes: Sequence[str] = (),
    errors: Mapping[str, float] | None = None,
    extra: bool = False,
) -> None:
    """Measure everything as built, with faults of the pour and mistakes of the crew.

    `errors` are added to the readings of checks, by key [mm]; `extra` adds gages, bays,
    spans and the sheeting notch.
    """
    for fault in faults:
        simulation.foundation = fault(simulation.foundation)
    checks = simulation.list_checks("foundation", "verification", optional=extra)
    simulation.measure(day, checks, mistakes=mistakes, errors=errors)


def confirm_findings(simulation: BuildingSimulation, day: float) -> None:
    """Repeat the readings that something irreversible waits for, on another day."""
    waiting = [f for f in simulation.list_findings() if is_waiting_for_repeat(f)]
    if waiting:
        simulation.confirm(day, waiting)


def decide_findings(simulation: BuildingSimulation, day: float) -> None:
    """Order the first remedy of every open finding, without any work."""
    for finding in simulation.list_findings():
        if finding.state == Finding.State.OPEN:
            simulation.decide_finding(day, finding)


def sign_ship_release(simulation: BuildingSimulation, day: float) -> float:
    """Settle every finding and sign the ship release; return the last day."""
    last = simulation.settle_findings(day)
    simulation.sign_next_release(
        last + 0.2, "ship", "Load in the order of the erection drawing."
    )
    return last + 0.3


def sign_erect_release(
    simulation: BuildingSimulation, day: float, strength: str = "2900 psi"
) -> float:
    """Test a sample and sign the erect release; return the last day."""
    simulation.record_sample(day, "F1", strength)
    simulation.sign_next_release(
        day + 0.3, "erect", "Written notice handed to the erector."
    )
    return day + 0.4


def measure_plumb(
    simulation: BuildingSimulation, day: float, share: float = 1.0
) -> None:
    """Measure the plumb of a share of the columns."""
    checks = simulation.list_checks("erection")
    simulation.measure(day, checks[: int(share * len(checks))])


def sign_completion(simulation: BuildingSimulation, day: float) -> None:
    """Measure every column and sign the completion."""
    measure_plumb(simulation, day)
    last = simulation.settle_findings(day + 1.0)
    simulation.sign_next_release(
        last + 0.2, "completion", "Anchored, braced and plumb."
    )


def issue_revision(
    simulation: BuildingSimulation, day: float, document: Document, note: str
) -> None:
    """Issue a revision of the plan and evaluate the readings by it."""
    simulation.set_day(day)
    revise_plan(
        actor=simulation.team.engineer,
        building=simulation.building,
        document=document,
        note=note,
    )
    evaluate_building(simulation.building.pk)
    simulation.reload_plan()
