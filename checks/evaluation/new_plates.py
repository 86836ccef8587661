"""The plate that could be punched to the rods of one position as built."""

import numpy as np

from checks.engine.new_plate import NewPlate, PlatePattern, punch_to_rods
from checks.evaluation.building_evaluation import BuildingEvaluation


def lay_out_new_plate(evaluation: BuildingEvaluation, index: int) -> NewPlate:
    """Lay out the plate of a position whose every rod and hole is known.

    Parameters
    ----------
    evaluation : the building.
    index : of the position in the plan.
    """
    group = evaluation.rods.groups[index]
    rods = group.rows
    plate = group.detail.plate
    thickness = None if plate is None else plate.thickness
    return punch_to_rods(
        PlatePattern(
            planned=evaluation.rods.planned[rods],
            rods=evaluation.as_built.points[rods],
            diameter=evaluation.rods.diameter[rods],
            # A detail has one hole diameter and one edge distance for all its rods.
            hole_diameter=float(evaluation.rods.hole_diameter[rods][0]),
            edge_distance=float(evaluation.rods.edge_distance[rods][0]),
            thickness=np.nan if thickness is None else thickness,
        ),
        evaluation.style,
    )
