"""The rods as built, to be drawn with a plan in a DXF drawing."""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np

from core.units import LengthStyle, format_length
from jobs.anchor_plan.geometry import (
    PlanError,
    get_position,
    position_axes,
    to_plan_axes,
)
from jobs.anchor_plan.values import Plan
from jobs.exchange.dxf.plan_export import AsBuiltRod
from jobs.plans.plan_drawing import plan_length_style

DXF_CHARACTERS = str.maketrans(
    {"\u2032": "'", "\u2033": '"', "\u2044": "/", "\u2212": "-"}
)
"""Marks that the lettering of drawings often lacks."""


def place_built_rods(
    plan: Plan, result: Mapping[str, Any] | None
) -> Iterator[AsBuiltRod]:
    """Place every rod that has been measured, with what it is out by.

    Parameters
    ----------
    plan : what was planned. [mm]
    result : the latest result document, None where nothing was evaluated. [mm]
    """
    style = plan_length_style(plan)
    for row in (result or {}).get("positions", ()):
        try:
            place = get_position(plan, row["mark"])
        except PlanError:
            continue  # of an earlier plan
        frame = position_axes(plan, place)
        diameters = {
            rod.number: rod.diameter for rod in plan.details[place.detail].rods
        }
        for rod in row["rods"]:
            if rod["along"] is None or rod["in"] is None:
                continue
            x, y = to_plan_axes(frame, np.array([[rod["along"], rod["in"]]]))[0]
            words = ", ".join(
                f"{_format_deviation(rod[member], style)} {axis}"
                for member, axis in (("d_along", "along"), ("d_in", "in"))
            )
            yield AsBuiltRod(
                x=float(x),
                y=float(y),
                diameter=diameters.get(rod["rod"], 20.0),
                deviation=f"{row['mark']}.{rod['rod']}: {words}, {rod['verdict']}",
            )


def _format_deviation(mm: float, style: LengthStyle) -> str:
    text = format_length(mm, style, 32).translate(DXF_CHARACTERS)
    return text if text.startswith("-") else f"+{text}"
