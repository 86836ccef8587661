"""What happened to each building of the demo, as functions of its story."""

from collections.abc import Sequence
from functools import partial
from typing import Any

from checks.demo import stages
from checks.demo.crew import corner_off, misplaced, pad_off, rod_off, short_rod
from checks.demo.stages import Fault
from checks.demo.story import Story
from jobs.plan.sheet import Kind

MIXTURE = [
    {"maturity": 350, "strength": "1050 psi"},
    {"maturity": 800, "strength": "1850 psi"},
    {"maturity": 1900, "strength": "2700 psi"},
    {"maturity": 4200, "strength": "3450 psi"},
]
APRIL = {"low": "5 degC", "likely": "11 degC", "high": "17 degC"}


def nothing_yet(story: Story) -> None:
    """Only drawn."""


def being_laid_out(story: Story) -> None:
    """Half the forms are measured; the plan was revised before that."""
    document = _with_frames_moved(story)
    stages.revise(story, -9.0, document, "Frame lines 3 and 4 moved for the doors.")
    stages.lay_out(story, -1.5, share=0.4)


def _with_frames_moved(story: Story) -> dict[str, Any]:
    """The plan with two frame lines a foot further along."""
    document = dict(story.building.current_revision().document)
    document["positions"] = [
        {**p, "along": _moved(p)} if p["mark"] in ("A3", "A4") else p
        for p in document["positions"]
    ]
    return document


def _moved(position: dict[str, Any]) -> str:
    feet = str(position["along"]).split("'")[0]
    return f"{int(feet) + 1}'"


def wrong_before_the_pour(story: Story) -> None:
    """A template stands wrong in the forms, and a corner is out of square."""
    stages.find_poured(story)
    story.built = misplaced(story.built, "A2", inward=22.0)
    story.built = corner_off(story.built, "NE", 14.0, 0.0)
    story.measure(-2.0, story.checks("foundation"))


def poured(story: Story) -> None:
    """Poured the day before yesterday; a sample broke early, as it should.

    The mixture's cylinders and how warm the concrete was forecast the day it will do.
    """
    stages.pour(story, -8.0)
    on = story.at(-3.0).date().isoformat()
    story.learn(-3.0, "mixture", on=on, datum="0 degC", curve=MIXTURE)
    story.learn(-2.9, "expected", on=on, expected=APRIL)
    for day, celsius in ((-1.4, 17.0), (-1.1, 15.0)):
        story.warm(day, celsius, round((day + 1.65) * 24.0, 1))
    story.sample(-1.0, "F1", "1650 psi")
    story.warm(-0.6, 12.5, round((-0.6 + 1.65) * 24.0, 1))


def waits(
    story: Story,
    mistakes: Sequence[str] = (),
    faults: Sequence[Fault] = (),
    day: float = -2.2,
) -> None:
    """Measured as built, with something that needs an answer."""
    stages.find_poured(story)
    stages.survey(story, day, faults=faults, mistakes=mistakes)


def misplaced_pattern(story: Story) -> None:
    """One pattern stands wrong, a rod is short, a pad is low; nobody decided yet."""
    faults = (
        partial(misplaced, mark="A3", inward=31.0),
        partial(short_rod, mark="C3", rod=2, by=19.0),
        partial(pad_off, mark="A2", height=-6.4),
    )
    waits(story, faults=faults, mistakes=("inch misread",))
    story.photograph(-2.17, "setback:A3.1", "A3")


def disagreeing(story: Story) -> None:
    """The wall was read twice, and once by somebody who was a foot out."""
    stages.find_poured(story)
    stages.survey(story, -2.5)
    walls = [c for c in story.checks("foundation") if c.kind is Kind.WALL]
    story.measure(-1.4, walls[:1], repeat=True, mistakes=("foot misread",))
    offsets = [c for c in story.checks("foundation") if c.kind is Kind.SETBACK]
    story.built = misplaced(story.built, "A2", inward=6.0)
    story.measure(-1.2, [c for c in offsets if c.mark == "A2"], repeat=True)


def turned_and_foot_mark(story: Story) -> None:
    """Two crews, two mistakes; the first was put right since."""
    waits(story, mistakes=("detail turned around",), day=-3.4)
    lines = [c for c in story.checks("foundation") if c.kind is Kind.LINE]
    story.measure(-1.6, lines, mistakes=("tape at its 1 ft mark",))


def to_be_carried_out(story: Story) -> None:
    """The engineer has ordered; the field has not done it yet."""
    stages.pour(story, -22.0)
    faults = (
        partial(misplaced, mark="P2", inward=29.0),
        partial(pad_off, mark="R2", height=-5.0),
        partial(pad_off, mark="Q1", height=-7.5),
    )
    stages.survey(story, -6.0, faults=faults)
    stages.decide_all(story, -3.0)


def ready_to_ship(story: Story) -> None:
    """Everything measured and settled; only the signature is missing."""
    stages.pour(story, -20.0)
    first = story.plan.positions[0].mark
    stages.survey(story, -9.0, faults=(partial(pad_off, mark=first, height=-5.5),))
    story.settle(-6.0)


def may_ship(story: Story) -> None:
    """Ship release signed, the plan revised before that, two shims ordered."""
    stages.pour(story, -30.0)
    document = dict(story.building.current_revision().document)
    document["tolerances"] = {
        **document["tolerances"],
        "overrides": {"rod_location": '3/16"'},
    }
    stages.revise(story, -14.0, document, "Rod location 3/16 in, by the manufacturer.")
    faults = (
        partial(pad_off, mark="A2", height=-6.0),
        partial(pad_off, mark="A4", height=-4.6),
    )
    stages.survey(story, -11.0, faults=faults, mistakes=("inch misread",), extra=True)
    stages.ship(story, -8.0)


def long_hangar(story: Story) -> None:
    """Sixty positions, measured over days; low pads along one wall wait for shims."""
    stages.find_poured(story)
    marks = ("A7", "A8", "A9", "A10", "G12")
    faults = [
        partial(pad_off, mark=mark, height=-4.0 - 1.5 * place)
        for place, mark in enumerate(marks)
    ]
    stages.survey(
        story, -4.0, faults=faults, mistakes=("foot misread", "two setbacks exchanged")
    )


def may_stand(story: Story) -> None:
    """Columns may be set: rods were put right, a sample is strong enough."""
    stages.pour(story, -40.0)
    faults = (
        partial(rod_off, mark="A2", rod=2, along=5.0, inward=-6.0),
        partial(misplaced, mark="C2", inward=28.0),
    )
    stages.survey(story, -24.0, faults=faults)
    last = stages.ship(story, -20.0)
    stages.erect(story, last + 4.0)


def going_up(story: Story) -> None:
    """Half the columns are plumbed."""
    stages.pour(story, -52.0)
    last_pad = story.plan.positions[-1].mark
    stages.survey(
        story,
        -34.0,
        faults=(partial(pad_off, mark=last_pad, height=-6.0),),
        mistakes=("foot misread",),
    )
    last = stages.ship(story, -30.0)
    last = stages.erect(story, last + 5.0)
    stages.plumb(story, last + 4.0, share=0.5)


def stands(story: Story) -> None:
    """Complete: every release signed."""
    stages.pour(story, -74.0)
    stages.survey(
        story,
        -60.0,
        faults=(partial(pad_off, mark="A2", height=-5.0),),
        mistakes=("rod upside down",),
    )
    last = stages.ship(story, -55.0)
    last = stages.erect(story, last + 6.0)
    stages.complete(story, last + 12.0)
