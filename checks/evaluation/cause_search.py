"""The search for likely causes: common mistakes, tried on the failing checks.

Only checks that are outside or disagree are tried. A mistake that explains more checks
at once is tried earlier, and a check that one mistake explains is not tried again.
"""

from checks.evaluation import level_causes, pattern_causes, tape_causes
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.failing_checks import FailingChecks
from checks.evaluation.likely_cause import LikelyCause

# The order matters: what explains a whole pattern goes before a single misread.
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


def find_likely_causes(evaluation: BuildingEvaluation) -> tuple[LikelyCause, ...]:
    """Return every mistake that clearly explains some of the failing checks."""
    failing = FailingChecks(evaluation)
    if not failing.unexplained:
        return ()
    return tuple(cause for find in CAUSE_FINDERS for cause in find(failing))
