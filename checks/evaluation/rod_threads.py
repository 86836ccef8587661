"""Thread above every nut, as planned or measured, and after the shims are in."""

import numpy as np

from checks.engine import fasteners, thread_engagement
from checks.engine.arrays import BoolArray, FloatArray
from checks.engine.conformity import SLACK_MM
from checks.evaluation.building_evaluation import RodThreads
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.pad_levels import PadLevels
from checks.evaluation.reduce_readings import Observations
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan


def compute_rod_threads(
    plan: Plan, table: CheckTable, rods: RodTable, observed: Observations
) -> RodThreads:
    """Thread above the nut of every rod before shims, the projection as measured.

    Where a projection was not measured the planned one stands in. The washer is the
    thickest type A of the rod's size, the nut a heavy hex at its thickest; a size
    that the tables do not list gives NaN.
    """
    stands = rods.projection.copy()
    read = table.rows(CheckKind.PROJECTION)
    read = read[observed.count[read] > 0]
    stands[rods.rows_of_checks(table, read)[:, 0]] = observed.value[read]
    sizes, which = np.unique(rods.diameter, return_inverse=True)
    hardware = np.array([_nut_and_washer_thickness(size) for size in sizes.tolist()])
    nut, washer = hardware.reshape(-1, 2)[which.reshape(-1)].T
    plates = {
        name: np.nan
        if detail.plate is None or detail.plate.thickness is None
        else detail.plate.thickness
        for name, detail in plan.details.items()
    }
    plate = np.array([plates[group.detail.name] for group in rods.groups])
    found = thread_engagement.compute_engagement(
        stands, 0.0, plate[rods.position], washer, nut
    )
    return RodThreads(thread_left=found.spare_mm, engaged=found.engaged)


def _nut_and_washer_thickness(diameter: float) -> tuple[float, float]:
    """Thickness of nut and washer of one rod size; NaN where not listed. [mm]"""
    thread = fasteners.find_thread(diameter)
    washers = fasteners.list_washers(diameter)
    if thread is None or not washers:
        return float("nan"), float("nan")
    return thread.nut_max_mm, max(washer.thickness_mm for washer in washers)


def compute_pad_threads(
    table: CheckTable, rods: RodTable, threads: RodThreads, pads: PadLevels
) -> FloatArray:
    """Least thread left at each pad once its shims are in, shape (n_pads,). [mm]

    NaN where it is not known of some rod, unless one that is known falls short: an
    unknown rod hides no short one.
    """
    at, real = rods.padded_rows
    left = np.where(real, threads.thread_left[at], np.inf)
    least = np.fmin.reduce(left, axis=1, initial=np.inf)
    unknown: BoolArray = np.asarray(np.isnan(left).any(axis=1))
    pad = table.position[pads.rows]
    after = least[pad] - np.nan_to_num(pads.shim)
    kept: FloatArray = np.where(unknown[pad] & (after >= -SLACK_MM), np.nan, after)
    return kept
