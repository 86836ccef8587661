"""Likely causes: the mistakes people make, held against one building's residuals.

Only checks that are outside or disagree are looked at. The more a mistake explains
at once the earlier it is tried; what it has explained is not explained again.
"""

from typing import TYPE_CHECKING

from checks.evaluation import level_causes, pattern_causes, tape_causes
from checks.evaluation.failing_checks import FailingChecks, LikelyCause

if TYPE_CHECKING:
    from checks.evaluation.building_evaluation import BuildingEvaluation

CAUSE_FINDERS = (
    tape_causes.find_misread_repeats,
    pattern_causes.find_turned_details,
    pattern_causes.find_swapped_readings,
    pattern_causes.find_lost_signs,
    tape_causes.find_other_corner,
    tape_causes.find_outer_edge,
    tape_causes.find_out_to_out,
    tape_causes.find_foot_marks,
    tape_causes.find_flange_readings,
    pattern_causes.find_setbacks_to_rod_edge,
    pattern_causes.find_offsets_to_rod_edge,
    tape_causes.find_misreadings,
    level_causes.find_level_causes,
)


def find_likely_causes(judged: "BuildingEvaluation") -> tuple[LikelyCause, ...]:
    """Every mistake that clearly explains some of the bad checks."""
    suspects = FailingChecks(judged)
    if not suspects.unexplained:
        return ()
    return tuple(cause for look in CAUSE_FINDERS for cause in look(suspects))
