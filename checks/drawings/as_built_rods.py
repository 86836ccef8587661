"""As-built rods for the DXF drawing of a plan."""

from collections.abc import Iterator

import numpy as np

from core.units import LengthStyle, format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.geometry import (
    PlanError,
    get_position,
    position_axes,
    to_plan_axes,
)
from jobs.anchor_plan.values import Plan
from jobs.exchange.dxf.plan_export import AsBuiltRod
from jobs.exchange.result.document import ResultDocument
from jobs.plans.plan_drawing import plan_length_style

DXF_CHARACTERS = str.maketrans(
    {"\u2032": "'", "\u2033": '"', "\u2044": "/", "\u2212": "-"}
)
"""Characters that the fonts of CAD programs often lack."""


def place_built_rods(plan: Plan, result: ResultDocument | None) -> Iterator[AsBuiltRod]:
    """Place every measured rod on plan axes, with its deviation as text.

    Parameters
    ----------
    plan : Plan
        The anchor plan.
    result : ResultDocument, optional
        The latest one; without one there are no rods.
    """
    style = plan_length_style(plan)
    for row in result["positions"] if result else ():
        try:
            place = get_position(plan, row["mark"])
        except PlanError:
            continue  # the result is of an earlier plan
        frame = position_axes(plan, place)
        diameters = {
            rod.number: rod.diameter for rod in plan.details[place.detail].rods
        }
        for rod in row["rods"]:
            along, inward = rod.get("along"), rod.get("in")
            if along is None or inward is None:
                continue
            x, y = to_plan_axes(frame, np.array([[along, inward]]))[0]
            deviation = ", ".join(
                f"{_format_deviation(mm, style)} {axis}"
                for mm, axis in ((rod.get("d_along"), "along"), (rod.get("d_in"), "in"))
                if mm is not None
            )
            label = Verdict(rod["verdict"]).label
            yield AsBuiltRod(
                x=float(x),
                y=float(y),
                diameter=diameters.get(rod["rod"], 20.0),
                deviation=f"{row['mark']}.{rod['rod']}: {deviation}, {label}",
            )


def _format_deviation(mm: float, style: LengthStyle) -> str:
    text = format_length(mm, style, 32).translate(DXF_CHARACTERS)
    return text if text.startswith("-") else f"+{text}"
