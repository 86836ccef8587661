"""The histories of the demo's buildings, one function each."""

from collections.abc import Mapping, Sequence
from functools import partial
from typing import Any

from checks.demo import steps
from checks.demo.data_files import read_table
from checks.demo.foundation import (
    shift_corner,
    shift_pad,
    shift_pattern,
    shift_rod,
    shorten_rod,
)
from checks.demo.simulation import BuildingSimulation
from checks.demo.steps import Fault
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.check_sheet import find_check

CONCRETE = read_table("concrete")


def leave_unmeasured(simulation: BuildingSimulation) -> None:
    """Draw the plan only."""


def measure_forms_in_part(simulation: BuildingSimulation) -> None:
    """Revise the plan, then measure a part of the forms."""
    document = _move_frame_lines(simulation)
    steps.issue_revision(
        simulation, -9.0, document, "Frame lines 3 and 4 moved for the doors."
    )
    steps.measure_forms(simulation, -1.5, share=0.4)


def _move_frame_lines(simulation: BuildingSimulation) -> dict[str, Any]:
    """Move two frame lines of the plan a foot along."""
    document = dict(simulation.building.current_revision().document)
    document["positions"] = [
        {**p, "along": _move_position(p)} if p["mark"] in ("A3", "A4") else p
        for p in document["positions"]
    ]
    return document


def _move_position(position: dict[str, Any]) -> str:
    feet = str(position["along"]).split("'")[0]
    return f"{int(feet) + 1}'"


def misplace_template(simulation: BuildingSimulation) -> None:
    """Measure forms with a misplaced template and a corner out of square."""
    steps.start_from_poured_slab(simulation)
    # Beyond any hole: before the pour the forms are moved.
    simulation.foundation = shift_pattern(simulation.foundation, "A2", inward=22.0)
    simulation.foundation = shift_corner(simulation.foundation, "NE", 14.0, 0.0)
    simulation.measure(-2.0, simulation.list_checks("foundation"))


def pour_recently(simulation: BuildingSimulation) -> None:
    """Pour two days ago, with an early sample below the strength gate.

    The mixture's cylinders and the temperatures forecast the day the gate opens.
    """
    steps.pour_concrete(simulation, -8.0)
    on = simulation.set_day(-3.0).date().isoformat()
    simulation.record_concrete_entry(-3.0, "mixture", on=on, **CONCRETE["mixture"])
    simulation.record_concrete_entry(
        -2.9, "expected", on=on, expected=CONCRETE["expected"]
    )
    for day, celsius in ((-1.4, 17.0), (-1.1, 15.0)):
        simulation.record_temperature(day, celsius, round((day + 1.65) * 24.0, 1))
    # Below 75 % of 3000 psi: the gate stays closed, and the forecast is shown.
    simulation.record_sample(-1.0, "F1", "1650 psi")
    simulation.record_temperature(-0.6, 12.5, round((-0.6 + 1.65) * 24.0, 1))


def leave_findings_open(
    simulation: BuildingSimulation,
    mistakes: Sequence[str] = (),
    faults: Sequence[Fault] = (),
    errors: Mapping[str, float] | None = None,
    day: float = -2.2,
) -> None:
    """Measure as built, with findings that need a decision."""
    steps.start_from_poured_slab(simulation)
    steps.survey_as_built(
        simulation, day, faults=faults, mistakes=mistakes, errors=errors
    )


def misplace_pattern(simulation: BuildingSimulation) -> None:
    """Measure a misplaced pattern, a short rod and a low pad, without a decision."""
    faults = (
        partial(shift_pattern, mark="A3", inward=31.0),
        partial(shorten_rod, mark="C3", rod=2, by=19.0),
        partial(shift_pad, mark="A2", height=-6.4),
    )
    leave_findings_open(simulation, faults=faults, mistakes=("inch misread",))
    simulation.photograph(-2.17, "setback:A3.1", "A3")


def confirm_misplaced(
    simulation: BuildingSimulation, faults: Sequence[Fault] = ()
) -> None:
    """Measure misplaced rods on two days, without a decision."""
    leave_findings_open(simulation, faults=faults, day=-4.0)
    steps.confirm_findings(simulation, -2.0)


def doubt_sample(simulation: BuildingSimulation) -> None:
    """Report a strength that concrete of its age is not believed to have."""
    pour_recently(simulation)
    simulation.record_sample(-0.4, "F2", "5200 psi")


def measure_first_positions(
    simulation: BuildingSimulation, faults: Sequence[Fault] = ()
) -> None:
    """Measure the first three positions, without the outline."""
    steps.start_from_poured_slab(simulation)
    for fault in faults:
        simulation.foundation = fault(simulation.foundation)
    marks = {position.mark for position in simulation.plan.positions[:3]}
    checks = simulation.list_checks("foundation", "verification")
    simulation.measure(-2.2, [check for check in checks if check.mark in marks])


def place_rod_by_gage(simulation: BuildingSimulation) -> None:
    """Read a rod by its setback and a gage alone, which allow it two places."""
    steps.start_from_poured_slab(simulation)
    wanted = ("line:J1", "setback:J1.1", "offset:J1.1", "setback:J1.2", "gage:J1.1-2")
    simulation.measure(-2.2, [find_check(simulation.plan, key) for key in wanted])


def contradict_wall_reading(simulation: BuildingSimulation) -> None:
    """Measure a wall twice, once with a foot misread, and another three times."""
    steps.start_from_poured_slab(simulation)
    steps.survey_as_built(simulation, -2.5)
    walls = [
        c for c in simulation.list_checks("foundation") if c.kind is CheckKind.WALL
    ]
    simulation.measure(-1.4, walls[:1], repeat=True, mistakes=("foot misread",))
    simulation.measure(-1.35, walls[1:2], repeat=True, errors={walls[1].key: 152.4})
    simulation.measure(-1.3, walls[1:2], repeat=True)
    simulation.measure(
        -1.28, walls[2:3], repeat=True, withdrawn="The tape lay over a form stake."
    )
    offsets = [
        c for c in simulation.list_checks("foundation") if c.kind is CheckKind.SETBACK
    ]
    simulation.foundation = shift_pattern(simulation.foundation, "A2", inward=6.0)
    simulation.measure(-1.2, [c for c in offsets if c.mark == "A2"], repeat=True)


def repeat_with_mistakes(simulation: BuildingSimulation) -> None:
    """Measure with two mistakes, the first corrected since."""
    leave_findings_open(simulation, mistakes=("detail turned around",), day=-3.4)
    lines = [
        c for c in simulation.list_checks("foundation") if c.kind is CheckKind.LINE
    ]
    simulation.measure(-1.6, lines, mistakes=("tape at its 1 ft mark",))


def leave_work_undone(simulation: BuildingSimulation) -> None:
    """Decide the findings and leave the work undone."""
    steps.pour_concrete(simulation, -22.0)
    faults = (
        partial(shift_pattern, mark="P2", inward=29.0),
        partial(shift_pad, mark="R2", height=-5.0),
        partial(shift_pad, mark="Q1", height=-7.5),
    )
    steps.survey_as_built(simulation, -6.0, faults=faults)
    steps.confirm_findings(simulation, -4.5)
    steps.decide_findings(simulation, -3.0)


def settle_before_shipping(simulation: BuildingSimulation) -> None:
    """Measure and settle everything short of the ship release."""
    steps.pour_concrete(simulation, -20.0)
    first = simulation.plan.positions[0].mark
    steps.survey_as_built(
        simulation, -9.0, faults=(partial(shift_pad, mark=first, height=-5.5),)
    )
    simulation.settle_findings(-6.0)


def release_steel(simulation: BuildingSimulation) -> None:
    """Revise the plan, order two shims and sign the ship release."""
    steps.pour_concrete(simulation, -30.0)
    document = dict(simulation.building.current_revision().document)
    document["tolerances"] = {
        **document["tolerances"],
        "overrides": {"rod_location": '3/16"'},
    }
    steps.issue_revision(
        simulation, -14.0, document, "Rod location 3/16 in, by the manufacturer."
    )
    faults = (
        partial(shift_pad, mark="A2", height=-6.0),
        partial(shift_pad, mark="A4", height=-4.6),
    )
    steps.survey_as_built(
        simulation, -11.0, faults=faults, mistakes=("inch misread",), extra=True
    )
    steps.sign_ship_release(simulation, -8.0)


def survey_long_hangar(simulation: BuildingSimulation) -> None:
    """Measure sixty positions, with low pads along one wall."""
    steps.start_from_poured_slab(simulation)
    marks = ("A7", "A8", "A9", "A10", "G12")
    faults = [
        partial(shift_pad, mark=mark, height=-4.0 - 1.5 * place)
        for place, mark in enumerate(marks)
    ]
    steps.survey_as_built(
        simulation,
        -4.0,
        faults=faults,
        mistakes=("foot misread", "two setbacks exchanged"),
    )


def release_columns(simulation: BuildingSimulation) -> None:
    """Correct rods, test a sample and sign the erect release."""
    steps.pour_concrete(simulation, -40.0)
    faults = (
        partial(shift_rod, mark="A2", rod=2, along=5.0, inward=-6.0),
        partial(shift_pattern, mark="C2", inward=28.0),
    )
    steps.survey_as_built(simulation, -24.0, faults=faults)
    last = steps.sign_ship_release(simulation, -20.0)
    steps.sign_erect_release(simulation, last + 4.0)


def plumb_in_part(simulation: BuildingSimulation, faults: Sequence[Fault] = ()) -> None:
    """Plumb half of the columns."""
    steps.pour_concrete(simulation, -52.0)
    last_pad = simulation.plan.positions[-1].mark
    steps.survey_as_built(
        simulation,
        -34.0,
        faults=(partial(shift_pad, mark=last_pad, height=-6.0), *faults),
        mistakes=("foot misread",),
    )
    last = steps.sign_ship_release(simulation, -30.0)
    last = steps.sign_erect_release(simulation, last + 5.0)
    steps.measure_plumb(simulation, last + 4.0, share=0.5)


def complete_building(simulation: BuildingSimulation) -> None:
    """Complete the building: sign every release."""
    steps.pour_concrete(simulation, -74.0)
    steps.survey_as_built(
        simulation,
        -60.0,
        faults=(partial(shift_pad, mark="A2", height=-5.0),),
        mistakes=("rod upside down",),
    )
    last = steps.sign_ship_release(simulation, -55.0)
    last = steps.sign_erect_release(simulation, last + 6.0)
    steps.sign_completion(simulation, last + 12.0)
