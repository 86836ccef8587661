"""Reasons to measure walls and diagonals again before anything is squared up."""

from collections.abc import Sequence

import numpy as np

from checks.engine.conformity import COVERAGE_FACTOR, SLACK_MM
from checks.engine.distance_network import MIN_REDUNDANCY
from checks.engine.remedies.remedy import Remedy, propose_remeasurement
from checks.evaluation.building_evaluation import BuildingEvaluation
from checks.evaluation.common_errors import CommonErrorKind
from checks.evaluation.likely_cause import LikelyCause
from checks.evaluation.squareness import NO_OUTLINE_REASONS
from core.units import format_length
from core.vocabulary import Verdict
from jobs.anchor_plan.check_keys import CheckKind

MAX_LISTED_CHECKS = 4
"""Checks that a sentence lists by name; the rest is counted."""

MIN_REPEATS = 2
"""Readings of a length that agree, from which it no longer rests on a single one."""

NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight")

Keys = Sequence[str]
RuleResult = tuple[Remedy, LikelyCause | None] | None


def apply_no_outline(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt lengths that fit no outline near the plan."""
    statement = NO_OUTLINE_REASONS.get(evaluation.squareness.adjustment.outcome)
    lengths = _measured_outline_keys(evaluation) if statement else []
    if not set(lengths).intersection(keys):
        return None
    return propose_remeasurement(
        f"{statement}. At least one of them is wrong.", lengths
    ), None


def apply_suspect_lengths(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt readings that the others contradict.

    The shape of the outline depends on all its lengths, so any suspect one counts.
    """
    lengths = evaluation.squareness.suspect_lengths
    size = {length.check: abs(length.w) for length in lengths}
    if concerns_outline_shape(evaluation, keys):
        suspect = set(size)
    else:
        suspect = size.keys() & set(keys)
    if not suspect:
        return None
    index = evaluation.table.index
    ordered = sorted(suspect, key=lambda key: (-size[key], index[key]))
    listed = list_checks(evaluation, ordered)
    worst = next(length for length in lengths if length.check == ordered[0])
    amount = format_length(abs(worst.error), evaluation.style, 32)
    way = "long" if worst.error > 0.0 else "short"
    which = listed if len(ordered) == 1 else "the first of them"
    reason = (
        f"The other lengths contradict {listed}: by them {which} reads {amount} too"
        f" {way}. Read it again with the same tape."
    )
    return propose_remeasurement(reason, ordered), None


def apply_tapes_differ(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt tapes that differ by more than their accuracy classes allow."""
    square = evaluation.squareness
    if not square.adjustment.common_suspect.any():
        return None
    lengths = _measured_outline_keys(evaluation)
    if not set(lengths).intersection(keys):
        return None
    names = _list_tapes(evaluation)
    reason = (
        f"The lengths read with {names} do not fit together: the tapes differ by more"
        " than their accuracy classes and an unknown temperature allow. Lay them side"
        " by side, or read one diagonal with each of them."
        if names
        else "The lengths of different days do not fit together by more than an unknown"
        " temperature explains. Read one diagonal again and note the temperature."
    )
    return propose_remeasurement(reason, lengths), None


def apply_cannot_tell_which(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt lengths of which one is misread and none can be named."""
    if not evaluation.squareness.adjustment.cannot_tell:
        return None
    lengths = _measured_outline_keys(evaluation)
    if not set(lengths).intersection(keys):
        return None
    again, advice = _choose_rereadings(evaluation)
    return propose_remeasurement(
        f"{describe_contradiction(evaluation)} {advice}", again
    ), None


def describe_contradiction(evaluation: BuildingEvaluation) -> str:
    """Describe by how much walls and diagonals contradict each other."""
    square, table = evaluation.squareness, evaluation.table
    among = square.length_rows[square.adjustment.inseparable]
    count = len(among)
    number = NUMBER_WORDS[count] if count < len(NUMBER_WORDS) else str(count)
    by = format_length(square.contradiction or 0.0, evaluation.style, 32)
    kinds = {table.checks[row].kind for row in among}
    what = {
        (True, True): "walls and diagonals",
        (True, False): "diagonals",
        (False, True): "walls",
    }[CheckKind.DIAGONAL in kinds, CheckKind.WALL in kinds]
    tapes = _list_tapes(evaluation)
    or_tapes = f", or {tapes} differ," if tapes else ""
    return (
        f"These {number} {what} contradict each other by {by} or more: one of them is"
        f" misread{or_tapes} and they cannot tell which."
    )


def _choose_rereadings(evaluation: BuildingEvaluation) -> tuple[list[str], str]:
    """Return the lengths to read again first, and the advice in a sentence.

    Diagonals first: a rectangle shows a misread diagonal best. Lengths that were
    repeated and agree are not asked for again, and a third time the same tape on the
    same day hardly helps.
    """
    square, table = evaluation.squareness, evaluation.table
    rows = square.length_rows[square.adjustment.inseparable].tolist()
    once = [
        row for row in rows if evaluation.observations.contributing[row] < MIN_REPEATS
    ]
    diagonals = [r for r in once if table.checks[r].kind is CheckKind.DIAGONAL]
    for chosen in (diagonals, once):
        if chosen:
            listed = list_checks(evaluation, [table.checks[r].key for r in chosen])
            return (
                [table.checks[row].key for row in chosen],
                f"Read {listed} again with the same tape.",
            )
    return (
        [table.checks[row].key for row in rows],
        "Each was read twice: read them with another tape, or on another day.",
    )


def _list_tapes(evaluation: BuildingEvaluation) -> str:
    """List the tapes of the outline where there are several; else an empty text."""
    names = [
        error.name or "the tape without a name"
        for error in evaluation.squareness.common_errors
        if error.kind is CommonErrorKind.TAPE
    ]
    if len(names) < 2:
        return ""
    return f"{', '.join(names[:-1])} and {names[-1]}"


def apply_outline_implausible(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Doubt an outline so far from the plan that no concrete was built like it."""
    square = evaluation.squareness
    if square.moves or not square.adjustment.determined or square.contradicted:
        return None
    if not concerns_outline_shape(evaluation, keys):
        return None
    return propose_remeasurement(
        "A corner would have to move by more than a foot to square the outline. At"
        " least one of these lengths is wrong.",
        _measured_outline_keys(evaluation),
    ), None


def apply_outline_doubtful(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Refuse corner moves computed from a length that must be read again itself."""
    if not concerns_outline_shape(evaluation, keys):
        return None
    verdicts, table = evaluation.verdicts, evaluation.table
    doubtful = [
        table.checks[row].key
        for row in table.rows(CheckKind.DIAGONAL, CheckKind.WALL).tolist()
        if verdicts[row] == Verdict.REMEASURE
        or evaluation.likely_cause_of([table.checks[row].key]) is not None
    ]
    if not doubtful:
        return None
    listed = list_checks(evaluation, doubtful)
    reason = f"The outline depends on {listed}, still to be measured again."
    return propose_remeasurement(reason, doubtful), None


def apply_single_reading(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Refuse corner moves that hang on one reading of a diagonal.

    Without it the other lengths predict that diagonal. Unless the diagonals differ by
    clearly more than their limit then too, a misreading explains as much as an outline
    out of square.
    """
    table, diagonals = evaluation.table, evaluation.squareness.diagonals
    if diagonals.verdict != Verdict.OUTSIDE or diagonals.pair is None:
        return None
    if not concerns_outline_shape(evaluation, keys):
        return None
    first, second = diagonals.pair
    single = [
        row
        for row, other in ((first, second), (second, first))
        if evaluation.observations.contributing[row] < MIN_REPEATS
        and _may_be_square_without(evaluation, row, other)
    ]
    if not single:
        return None
    difference = evaluation.deviation[first] - evaluation.deviation[second]
    keys = [table.checks[row].key for row in (first, second)]
    listed = list_checks(evaluation, keys)
    named = list_checks(evaluation, [table.checks[row].key for row in single])
    each = "it" if len(single) == 1 else "either"
    apart = format_length(abs(difference), evaluation.style, 32)
    reason = (
        f"The diagonals differ by {apart}, and that rests on a single reading of"
        f" {named}: if {each} is misread, the outline may be square. Read {listed}"
        " again with the same tape."
    )
    return propose_remeasurement(reason, keys), None


def _may_be_square_without(
    evaluation: BuildingEvaluation, row: int, other: int
) -> bool:
    """Return True where the diagonals may agree if the reading of `row` is wrong.

    With r its redundancy and s its own uncertainty, the others predict it to within
    s sqrt(1 / r - 1); NaN, and so False, where nothing checks it.
    """
    square, diagonals = evaluation.squareness, evaluation.squareness.diagonals
    deviation, own = evaluation.deviation, evaluation.observations.independent
    i = int(np.flatnonzero(square.length_rows == row)[0])
    without = deviation[row] - square.errors[i] - deviation[other]
    redundancy = float(square.adjustment.redundancy[i])
    if not redundancy > MIN_REDUNDANCY:
        return False
    # The two may be correlated: their uncertainties are added, not their squares.
    known_to = own[row] * np.sqrt(1.0 / redundancy - 1.0) + own[other]
    allowed = (diagonals.limit or 0.0) - diagonals.guard + SLACK_MM
    return bool(abs(without) <= allowed + COVERAGE_FACTOR * known_to)


def apply_outline_unchecked(evaluation: BuildingEvaluation, keys: Keys) -> RuleResult:
    """Refuse corner moves that one wrong reading would spoil without a trace."""
    adjustment, table = evaluation.squareness.adjustment, evaluation.table
    if not (adjustment.determined and concerns_outline_shape(evaluation, keys)):
        return None
    unread = [
        table.checks[row].key
        for row in table.rows(CheckKind.DIAGONAL, CheckKind.WALL)
        if not evaluation.observations.count[row]
    ]
    if adjustment.degrees_of_freedom > 0 or not unread:
        return None
    listed = list_checks(evaluation, unread)
    reason = f"Nothing checks the outline until {listed} is measured."
    return propose_remeasurement(reason, unread), None


def concerns_outline_shape(evaluation: BuildingEvaluation, keys: Keys) -> bool:
    """Return True for a finding about the outline's shape, not one of its lengths.

    Parameters
    ----------
    evaluation : the building.
    keys : keys of the finding's checks.
    """
    table = evaluation.table
    return any(
        table.checks[table.index[key]].kind is CheckKind.DIAGONAL for key in keys
    )


def list_checks(evaluation: BuildingEvaluation, keys: Keys) -> str:
    """List some checks for a sentence; beyond `MAX_LISTED_CHECKS` count them.

    Parameters
    ----------
    evaluation : the building.
    keys : keys of its checks.
    """
    table = evaluation.table
    names = [table.checks[table.index[key]].description for key in keys]
    if len(names) > MAX_LISTED_CHECKS + 1:
        names = [*names[:MAX_LISTED_CHECKS], f"{len(names) - MAX_LISTED_CHECKS} more"]
    if len(names) < 2:
        return "".join(names)
    return f"{', '.join(names[:-1])} and {names[-1]}"


def _measured_outline_keys(evaluation: BuildingEvaluation) -> list[str]:
    """Return the keys of the walls and diagonals that entered the adjustment."""
    checks = evaluation.table.checks
    return [checks[row].key for row in evaluation.squareness.length_rows]
