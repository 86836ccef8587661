"""The result document's `levels`: heights of the pads, their shims, the pack list."""

import numpy as np

from checks.engine.arrays import FloatArray
from checks.evaluation.check_table import CheckTable
from checks.evaluation.json_values import to_json_number
from checks.evaluation.pad_levels import PadLevels, list_shim_stack
from checks.evaluation.verdicts import VerdictArray
from core.vocabulary import Verdict
from jobs.anchor_plan.values import Plan
from jobs.exchange.result.levels import LevelsResult, PadResult, ShimCountResult


def _misclosure_verdict(pads: PadLevels) -> Verdict:
    """Return the verdict of the misclosure; `unmeasured` where nothing checks it."""
    if not pads.redundancy:
        return Verdict.UNMEASURED
    return Verdict.WITHIN if pads.levels_close else Verdict.REMEASURE


def levels_result(
    plan: Plan,
    table: CheckTable,
    pads: PadLevels,
    verdicts: VerdictArray,
    thread: FloatArray,
    misclosure_limit: float | None,
) -> LevelsResult:
    """Return the result document's `levels`.

    Parameters
    ----------
    plan, table, pads : the shims at hand, the checks and the pads.
    verdicts : array, shape (n_checks,)
    thread : array, shape (n_pads,)
        Thread left above the nut after shimming. [mm]
    misclosure_limit : [mm]
    """
    known = ~np.isnan(pads.as_read)
    highest = (
        table.checks[pads.rows[np.nanargmax(pads.as_read)]].mark
        if known.any()
        else None
    )
    return {
        "misclosure": pads.misclosure,
        "misclosure_limit": misclosure_limit,
        "verdict": _misclosure_verdict(pads).value,
        "redundancy": pads.redundancy,
        "highest": highest,
        "datum_uncertainty": to_json_number(pads.datum_sigma),
        "read": int(known.sum()),
        "alike": pads.alike_count,
        "tells_apart": pads.tells_apart if known.any() else None,
        "better_level_needed": pads.needs_better_level,
        "pads": [
            _pad_result(plan, table, pads, i, verdicts[row], thread[i])
            for i, row in enumerate(pads.rows)
        ],
        "pack_list": _pack_list(plan, pads),
        "lower_pad": pads.pad_to_lower,
    }


def _pad_result(
    plan: Plan,
    table: CheckTable,
    pads: PadLevels,
    pad: int,
    verdict: str,
    thread: float,
) -> PadResult:
    height, shim = to_json_number(pads.height[pad]), to_json_number(pads.shim[pad])
    # A pad that is within needs no shim, which is known: null would mean unknown.
    if verdict == Verdict.WITHIN:
        shim = 0.0
    return {
        "mark": table.checks[pads.rows[pad]].mark or "",
        "height": height,
        "as_read": to_json_number(pads.as_read[pad]),
        "verdict": verdict,
        "shim": shim,
        "stack": list_shim_stack(plan, pads.counts[pad]),
        "residual": None if shim is None or height is None else height + shim,
        "thread_left": to_json_number(thread),
    }


def _pack_list(plan: Plan, pads: PadLevels) -> list[ShimCountResult]:
    """Count the shim plates of the whole building, thickest first."""
    total = pads.counts.sum(axis=0).tolist()
    counted = zip(plan.shim_thicknesses, total, strict=True)
    return [
        {"thickness": thickness.text, "count": count}
        for thickness, count in sorted(counted, key=lambda each: -each[0].mm)
        if count
    ]
