"""Likely causes: the mistakes people make, held against one building's residuals.

Only checks that are outside or disagree are looked at. The more a mistake explains
at once the earlier it is tried; what it has explained is not explained again.
"""

from typing import TYPE_CHECKING

from checks.evaluation import level_causes, pattern_causes, tape_causes
from checks.evaluation.suspects import LikelyCause, Suspects

if TYPE_CHECKING:
    from checks.evaluation.judged import Judged

LOOKS = (
    tape_causes.repeats_misread,
    pattern_causes.turned,
    pattern_causes.exchanged,
    pattern_causes.wrong_side,
    tape_causes.other_corner,
    tape_causes.outer_edge,
    tape_causes.out_to_out,
    tape_causes.foot_mark,
    tape_causes.flange,
    pattern_causes.setback_to_edge,
    pattern_causes.offset_to_edge,
    tape_causes.misread,
    level_causes.levels,
)


def likely_causes(judged: "Judged") -> tuple[LikelyCause, ...]:
    """Every mistake that clearly explains some of the bad checks."""
    suspects = Suspects(judged)
    if not suspects.open:
        return ()
    return tuple(cause for look in LOOKS for cause in look(suspects))
