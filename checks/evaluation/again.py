"""Whether to measure again before anything is changed: the reasons, tried in order."""

from collections.abc import Callable, Iterable, Sequence

import numpy as np

from checks.engine.acceptance import COVERAGE, SLACK_MM
from checks.engine.remedies import Remedy, measure_again
from checks.evaluation import reasons
from checks.evaluation.judged import Judged
from checks.evaluation.squareness import NO_FIGURE
from checks.evaluation.suspects import LikelyCause, capital
from core.units import format_length
from jobs.plan.sheet import Kind

NAMED = 4  # checks a sentence lists; the rest is counted
Answer = tuple[Remedy, LikelyCause | None] | None


def measure_first(
    judged: Judged, checks: Iterable[str]
) -> tuple[Remedy | None, LikelyCause | None]:
    """The first reason to doubt these checks' readings, if there is one.

    Parameters
    ----------
    judged : the building.
    checks : keys of the checks a finding is about.

    Returns
    -------
    The remedy to measure again, and the likely cause it rests on; None for either.
    """
    keys = list(checks)
    for reason in REASONS:
        found = reason(judged, keys)
        if found is not None:
            return found
    return None, None


def _likely_cause(judged: Judged, keys: Sequence[str]) -> Answer:
    cause = judged.cause_of(keys)
    if cause is None:
        return None
    return measure_again(cause.explanation, cause.checks), cause


def _impossible(judged: Judged, keys: Sequence[str]) -> Answer:
    wrong = [key for key in keys if judged.observed.impossible[judged.table.index[key]]]
    if not wrong:
        return None
    reason = f"Rise, tension or tape data of {_said(judged, wrong)} cannot be right."
    return measure_again(reason, wrong), None


def _apart(judged: Judged, keys: Sequence[str]) -> Answer:
    """Repeats that differ by more than the instrument explains."""
    observed = judged.observed
    rows = [judged.table.index[key] for key in keys]
    apart = [row for row in rows if observed.disagree[row]]
    if not apart:
        return None
    worst = max(apart, key=lambda row: float(observed.spread[row]))
    keys = [judged.table.checks[row].key for row in apart]
    return measure_again(reasons.apart(judged, worst), keys), None


def _contradicted(judged: Judged, keys: Sequence[str]) -> Answer:
    """Setbacks, offsets and gages of one pattern that cannot all be right."""
    bad = {judged.table.checks[row].key for row in judged.solved.contradicted}
    if not bad.intersection(keys):
        return None
    said = "Setback, offset and gage contradict each other"
    if any(reasons.no_pattern(judged, judged.table.index[key]) for key in keys):
        said = reasons.NO_PATTERN
    return measure_again(f"{said}: {_said(judged, keys)}.", keys), None


def _no_figure(judged: Judged, keys: Sequence[str]) -> Answer:
    said = NO_FIGURE.get(judged.square.adjustment.outcome)
    lengths = _outline_lengths(judged) if said else []
    if not set(lengths).intersection(keys):
        return None
    return measure_again(f"{said}: at least one of them is wrong.", lengths), None


def _suspect(judged: Judged, keys: Sequence[str]) -> Answer:
    """Readings the others contradict; out of square hangs on all of the outline's."""
    size = {s["check"]: abs(s["w"]) for s in judged.square.suspects}
    asked = size if _hangs_on_figure(judged, keys) else size.keys() & set(keys)
    if not asked:
        return None
    found = sorted(asked, key=lambda key: (-size[key], judged.table.index[key]))
    reason = f"The other lengths contradict {_said(judged, found)} (|w| > 3.29)."
    return measure_again(reason, found), None


def _cannot_tell(judged: Judged, keys: Sequence[str]) -> Answer:
    lengths = _outline_lengths(judged) if judged.square.adjustment.cannot_tell else []
    if not set(lengths).intersection(keys):
        return None
    return measure_again(
        "Walls and diagonals contradict each other, and with no more lengths than"
        " these it cannot be told which of them is wrong.",
        lengths,
    ), None


def _doubtful_figure(judged: Judged, keys: Sequence[str]) -> Answer:
    """Moves that would be taken from a length that has to be read again itself."""
    if not _hangs_on_figure(judged, keys):
        return None
    words, index = judged.words, judged.table.index
    doubtful = [
        key
        for key in _outline_lengths(judged)
        if words[index[key]] == "remeasure" or judged.cause_of([key]) is not None
    ]
    if not doubtful:
        return None
    reason = f"The outline hangs on {_said(judged, doubtful)}, to be measured again."
    return measure_again(reason, doubtful), None


def _unchecked_figure(judged: Judged, keys: Sequence[str]) -> Answer:
    """Moves that one wrong reading would spoil unseen, while others are still to do."""
    square, observed = judged.square, judged.observed
    found = square.adjustment
    if not (found.determined and _hangs_on_figure(judged, keys)):
        return None
    unread = [
        judged.table.checks[row].key
        for row in judged.table.rows(Kind.DIAGONAL, Kind.WALL)
        if not observed.count[row]
    ]
    if found.degrees_of_freedom > 0 or not unread:
        return None
    reason = f"Nothing checks the outline until {_said(judged, unread)} is measured."
    return measure_again(reason, unread), None


def _not_shown(judged: Judged, keys: Sequence[str]) -> Answer:
    """Within the limits, and outside only by what guarded acceptance takes off them.

    Heights are left out: a pad that is not shown to be level is shimmed.
    """
    if not judged.limits.guarded:
        return None
    checks, square = judged.table.checks, judged.square
    index = [judged.table.index[key] for key in keys]
    rows = [row for row in index if judged.words[row] == "outside"]
    shape = square.verdict == "outside" and _hangs_on_figure(judged, keys)
    if shape and (square.difference or 0.0) > (square.limit or 0.0) + SLACK_MM:
        return None
    beyond = any(reasons.beyond(judged, row) for row in rows)
    if beyond or not (rows or shape) or any(checks[r].kind is Kind.LEVEL for r in rows):
        return None
    named = [checks[row].key for row in rows] or keys
    return measure_again(
        f"{capital(_said(judged, named))}: within the limit, but not by twice the"
        f" uncertainty, which guarded acceptance asks{_guard(judged, rows)}. Note the"
        " tape's temperature, take a better tape, or read it again.",
        named,
    ), None


def _guard(judged: Judged, rows: Sequence[int]) -> str:
    """What is taken off the limit of the check it takes most of, for a sentence."""
    if not rows:
        return ""
    guard, limit = COVERAGE * judged.sigma[rows], judged.bounds.size[rows]
    worst = int(np.argmax(guard - limit))
    off, of = (
        format_length(float(mm[worst]), judged.style, 32) for mm in (guard, limit)
    )
    return f", {off} off {of}"


def _hangs_on_figure(judged: Judged, keys: Sequence[str]) -> bool:
    """Whether a finding is about the outline's shape, not one length of it."""
    table = judged.table
    return any(table.checks[table.index[key]].kind is Kind.DIAGONAL for key in keys)


def _too_far(judged: Judged, keys: Sequence[str]) -> Answer:
    """A figure so far from the plan that no concrete was built like that."""
    square = judged.square
    if square.moves or not square.adjustment.determined:
        return None
    if not _hangs_on_figure(judged, keys):
        return None
    return measure_again(
        "To come square a corner would have to move by more than a foot: at least one"
        " of these lengths is wrong.",
        _outline_lengths(judged),
    ), None


def _open_net(judged: Judged, keys: Sequence[str]) -> Answer:
    """Pads of set-ups that do not close: shims would be cut to a height nobody has."""
    table, pads = judged.table, judged.pads
    kinds = {table.checks[table.index[key]].kind for key in keys}
    if pads.closes or Kind.LEVEL not in kinds:
        return None
    off = format_length(pads.misclosure, judged.style, 32)
    return measure_again(
        f"The set-ups do not close, by {off}: level them again before anything is"
        " shimmed.",
        pads.ties,
    ), None


def _said(judged: Judged, keys: Sequence[str]) -> str:
    """Some checks as a sentence lists them; many are counted."""
    table = judged.table
    said = [table.checks[table.index[key]].said for key in keys]
    if len(said) > NAMED + 1:
        said = [*said[:NAMED], f"{len(said) - NAMED} more"]
    return " and ".join([", ".join(said[:-1]), said[-1]] if said[1:] else said)


def _outline_lengths(judged: Judged) -> list[str]:
    """The walls and diagonals that were measured."""
    return [judged.table.checks[row].key for row in judged.square.rows]


REASONS: tuple[Callable[[Judged, Sequence[str]], Answer], ...] = (
    _likely_cause,
    _impossible,
    _apart,
    _contradicted,
    _no_figure,
    _suspect,
    _cannot_tell,
    _too_far,
    _doubtful_figure,
    _unchecked_figure,
    _open_net,
    _not_shown,
)
