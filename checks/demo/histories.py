"""What happened to each building of the demo, as functions of its story."""

from collections.abc import Sequence
from functools import partial
from typing import Any

from checks.demo import steps
from checks.demo.crew import (
    shift_corner,
    shift_pad,
    shift_pattern,
    shift_rod,
    shorten_rod,
)
from checks.demo.simulation import BuildingSimulation
from checks.demo.steps import Fault
from jobs.anchor_plan.check_keys import CheckKind

MIXTURE = [
    {"maturity": 350, "strength": "1050 psi"},
    {"maturity": 800, "strength": "1850 psi"},
    {"maturity": 1900, "strength": "2700 psi"},
    {"maturity": 4200, "strength": "3450 psi"},
]
APRIL = {"low": "5 degC", "likely": "11 degC", "high": "17 degC"}


def leave_unmeasured(story: BuildingSimulation) -> None:
    """Only drawn."""


def measure_forms_in_part(story: BuildingSimulation) -> None:
    """Half the forms are measured; the plan was revised before that."""
    document = _move_frame_lines(story)
    steps.issue_revision(
        story, -9.0, document, "Frame lines 3 and 4 moved for the doors."
    )
    steps.measure_forms(story, -1.5, share=0.4)


def _move_frame_lines(story: BuildingSimulation) -> dict[str, Any]:
    """The plan with two frame lines a foot further along."""
    document = dict(story.building.current_revision().document)
    document["positions"] = [
        {**p, "along": _move_position(p)} if p["mark"] in ("A3", "A4") else p
        for p in document["positions"]
    ]
    return document


def _move_position(position: dict[str, Any]) -> str:
    feet = str(position["along"]).split("'")[0]
    return f"{int(feet) + 1}'"


def misplace_template(story: BuildingSimulation) -> None:
    """A template stands wrong in the forms, and a corner is out of square."""
    steps.start_from_poured_slab(story)
    story.foundation = shift_pattern(story.foundation, "A2", inward=22.0)
    story.foundation = shift_corner(story.foundation, "NE", 14.0, 0.0)
    story.measure(-2.0, story.list_checks("foundation"))


def pour_recently(story: BuildingSimulation) -> None:
    """Poured the day before yesterday; a sample broke early, as it should.

    The mixture's cylinders and how warm the concrete was forecast the day it will do.
    """
    steps.pour_concrete(story, -8.0)
    on = story.set_day(-3.0).date().isoformat()
    story.record_concrete_entry(-3.0, "mixture", on=on, datum="0 degC", curve=MIXTURE)
    story.record_concrete_entry(-2.9, "expected", on=on, expected=APRIL)
    for day, celsius in ((-1.4, 17.0), (-1.1, 15.0)):
        story.record_temperature(day, celsius, round((day + 1.65) * 24.0, 1))
    story.record_sample(-1.0, "F1", "1650 psi")
    story.record_temperature(-0.6, 12.5, round((-0.6 + 1.65) * 24.0, 1))


def leave_findings_open(
    story: BuildingSimulation,
    mistakes: Sequence[str] = (),
    faults: Sequence[Fault] = (),
    day: float = -2.2,
) -> None:
    """Measured as built, with something that needs an answer."""
    steps.start_from_poured_slab(story)
    steps.survey_as_built(story, day, faults=faults, mistakes=mistakes)


def misplace_pattern(story: BuildingSimulation) -> None:
    """One pattern stands wrong, a rod is short, a pad is low; nobody decided yet."""
    faults = (
        partial(shift_pattern, mark="A3", inward=31.0),
        partial(shorten_rod, mark="C3", rod=2, by=19.0),
        partial(shift_pad, mark="A2", height=-6.4),
    )
    leave_findings_open(story, faults=faults, mistakes=("inch misread",))
    story.photograph(-2.17, "setback:A3.1", "A3")


def contradict_wall_reading(story: BuildingSimulation) -> None:
    """The wall was read twice, and once by somebody who was a foot out."""
    steps.start_from_poured_slab(story)
    steps.survey_as_built(story, -2.5)
    walls = [c for c in story.list_checks("foundation") if c.kind is CheckKind.WALL]
    story.measure(-1.4, walls[:1], repeat=True, mistakes=("foot misread",))
    offsets = [
        c for c in story.list_checks("foundation") if c.kind is CheckKind.SETBACK
    ]
    story.foundation = shift_pattern(story.foundation, "A2", inward=6.0)
    story.measure(-1.2, [c for c in offsets if c.mark == "A2"], repeat=True)


def repeat_with_mistakes(story: BuildingSimulation) -> None:
    """Two crews, two mistakes; the first was put right since."""
    leave_findings_open(story, mistakes=("detail turned around",), day=-3.4)
    lines = [c for c in story.list_checks("foundation") if c.kind is CheckKind.LINE]
    story.measure(-1.6, lines, mistakes=("tape at its 1 ft mark",))


def leave_work_undone(story: BuildingSimulation) -> None:
    """The engineer has ordered; the field has not done it yet."""
    steps.pour_concrete(story, -22.0)
    faults = (
        partial(shift_pattern, mark="P2", inward=29.0),
        partial(shift_pad, mark="R2", height=-5.0),
        partial(shift_pad, mark="Q1", height=-7.5),
    )
    steps.survey_as_built(story, -6.0, faults=faults)
    steps.decide_findings(story, -3.0)


def settle_before_shipping(story: BuildingSimulation) -> None:
    """Everything measured and settled; only the signature is missing."""
    steps.pour_concrete(story, -20.0)
    first = story.plan.positions[0].mark
    steps.survey_as_built(
        story, -9.0, faults=(partial(shift_pad, mark=first, height=-5.5),)
    )
    story.settle_findings(-6.0)


def release_steel(story: BuildingSimulation) -> None:
    """Ship release signed, the plan revised before that, two shims ordered."""
    steps.pour_concrete(story, -30.0)
    document = dict(story.building.current_revision().document)
    document["tolerances"] = {
        **document["tolerances"],
        "overrides": {"rod_location": '3/16"'},
    }
    steps.issue_revision(
        story, -14.0, document, "Rod location 3/16 in, by the manufacturer."
    )
    faults = (
        partial(shift_pad, mark="A2", height=-6.0),
        partial(shift_pad, mark="A4", height=-4.6),
    )
    steps.survey_as_built(
        story, -11.0, faults=faults, mistakes=("inch misread",), extra=True
    )
    steps.sign_ship_release(story, -8.0)


def survey_long_hangar(story: BuildingSimulation) -> None:
    """Sixty positions, measured over days; low pads along one wall wait for shims."""
    steps.start_from_poured_slab(story)
    marks = ("A7", "A8", "A9", "A10", "G12")
    faults = [
        partial(shift_pad, mark=mark, height=-4.0 - 1.5 * place)
        for place, mark in enumerate(marks)
    ]
    steps.survey_as_built(
        story, -4.0, faults=faults, mistakes=("foot misread", "two setbacks exchanged")
    )


def release_columns(story: BuildingSimulation) -> None:
    """Columns may be set: rods were put right, a sample is strong enough."""
    steps.pour_concrete(story, -40.0)
    faults = (
        partial(shift_rod, mark="A2", rod=2, along=5.0, inward=-6.0),
        partial(shift_pattern, mark="C2", inward=28.0),
    )
    steps.survey_as_built(story, -24.0, faults=faults)
    last = steps.sign_ship_release(story, -20.0)
    steps.sign_erect_release(story, last + 4.0)


def plumb_in_part(story: BuildingSimulation) -> None:
    """Half the columns are plumbed."""
    steps.pour_concrete(story, -52.0)
    last_pad = story.plan.positions[-1].mark
    steps.survey_as_built(
        story,
        -34.0,
        faults=(partial(shift_pad, mark=last_pad, height=-6.0),),
        mistakes=("foot misread",),
    )
    last = steps.sign_ship_release(story, -30.0)
    last = steps.sign_erect_release(story, last + 5.0)
    steps.measure_plumb(story, last + 4.0, share=0.5)


def complete_building(story: BuildingSimulation) -> None:
    """Complete: every release signed."""
    steps.pour_concrete(story, -74.0)
    steps.survey_as_built(
        story,
        -60.0,
        faults=(partial(shift_pad, mark="A2", height=-5.0),),
        mistakes=("rod upside down",),
    )
    last = steps.sign_ship_release(story, -55.0)
    last = steps.sign_erect_release(story, last + 6.0)
    steps.sign_completion(story, last + 12.0)
