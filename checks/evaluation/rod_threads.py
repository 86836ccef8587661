"""Thread above every nut: before the shims, and at each pad after them."""

from dataclasses import dataclass

import numpy as np

from checks.engine import fasteners, thread_engagement
from checks.engine.arrays import BoolArray, FloatArray, IntArray
from checks.engine.conformity import SLACK_MM
from checks.evaluation.check_table import CheckTable, RodTable
from checks.evaluation.pad_levels import PadLevels
from checks.evaluation.reduce_readings import Observations
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.values import Plan


@dataclass(frozen=True, slots=True, kw_only=True)
class RodThreads:
    """Thread above the nut of every rod, shape (n_rods,). [mm]; NaN where unknown.

    `thread_left` is negative where the nut is not fully engaged; `engaged` is the
    engaged share of the nut; `washer` the thickness counted of its plain washer.
    """

    thread_left: FloatArray
    engaged: FloatArray
    washer: FloatArray


def compute_rod_threads(
    plan: Plan, table: CheckTable, rods: RodTable, observations: Observations
) -> RodThreads:
    """Compute the thread above the nut of every rod before shims.

    The planned projection stands in for one that was not measured. The hardware is the
    worst the rod may get: of an inch size the thickest type A washer and a heavy hex
    nut at its thickest, of a metric size ISO 7089 and ISO 4032 at their thickest. A
    size that the tables do not list gives NaN.
    """
    projection = rods.projection.copy()
    measured = table.rows(CheckKind.PROJECTION)
    measured = measured[observations.count[measured] > 0]
    rod = rods.rows_of_checks(table, measured)[:, 0]
    projection[rod] = observations.value[measured]
    sizes, which = np.unique(rods.diameter, return_inverse=True)
    hardware = np.array(
        [fasteners.find_nut_and_washer_mm(size) for size in sizes.tolist()]
    )
    nut, washer = hardware.reshape(-1, 2)[which.reshape(-1)].T
    plates = {
        name: np.nan
        if detail.plate is None or detail.plate.thickness is None
        else detail.plate.thickness
        for name, detail in plan.details.items()
    }
    plate = np.array([plates[group.detail.name] for group in rods.groups])
    engagement = thread_engagement.compute_engagement(
        projection, 0.0, plate[rods.position], washer, nut
    )
    return RodThreads(
        thread_left=engagement.spare_mm, engaged=engagement.engaged, washer=washer
    )


def compute_thread_with_plate_washer(
    threads: RodThreads, rods: IntArray | slice, plate_washer_mm: float, shim_mm: float
) -> float:
    """Compute the least thread left on some rods under a plate washer. [mm]

    The plate washer takes the place of the plain one. NaN where the thread of some rod
    is unknown, unless a known rod falls short.

    Parameters
    ----------
    threads : of every rod, with its plain washer.
    rods : rows of the rods.
    plate_washer_mm, shim_mm : thickness of the plate washer, and of the shims. [mm]
    """
    left = threads.thread_left[rods] + threads.washer[rods] - plate_washer_mm - shim_mm
    least = float(np.fmin.reduce(left, initial=np.inf))
    known = least < -SLACK_MM or not np.isnan(left).any()
    return least if known and np.isfinite(least) else float("nan")


def compute_pad_threads(
    table: CheckTable, rods: RodTable, threads: RodThreads, pads: PadLevels
) -> FloatArray:
    """Compute the least thread left at each pad with its shims in, (n_pads,). [mm]

    NaN where the thread of some rod is unknown, unless a known rod falls short.
    """
    rod_rows, real = rods.padded_rows
    left = np.where(real, threads.thread_left[rod_rows], np.inf)
    # fmin passes over NaN: an unknown rod must not hide a short one.
    least = np.fmin.reduce(left, axis=1, initial=np.inf)
    unknown: BoolArray = np.asarray(np.isnan(left).any(axis=1))
    pad = table.position[pads.rows]
    after = least[pad] - np.nan_to_num(pads.shim)
    kept: FloatArray = np.where(unknown[pad] & (after >= -SLACK_MM), np.nan, after)
    return kept
