"""Rules of supersession: which record may correct which.

A correction is a new record that names the record it replaces in `supersedes`. The
same rules hold for the readings of a document, for uploaded readings and for concrete
entries: both records have the same subject, no record is replaced twice, and no record
replaces itself, directly or in a circle.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Literal

Noun = Literal["reading", "entry"]
SUBJECT_NOUNS: dict[Noun, str] = {"reading": "check", "entry": "kind"}


class SupersessionCode(StrEnum):
    """The rule that a correction breaks."""

    UNKNOWN = "unknown"
    OTHER_SUBJECT = "other_subject"
    REPLACED = "replaced"
    CYCLE = "cycle"
    TARGET_REFUSED = "target_refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Correction:
    """A new record with the record it replaces.

    Attributes
    ----------
    id : its own id.
    subject : what it is about: the check of a reading, the kind of a concrete entry.
    supersedes : id of the record it replaces; None for a record of its own.
    """

    id: str
    subject: str
    supersedes: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class SupersessionIssue:
    """A correction that is refused; for a circle, every member of the circle."""

    ids: tuple[str, ...]
    code: SupersessionCode
    message: str

    @property
    def id(self) -> str:
        """The first of the corrections."""
        return self.ids[0]


@dataclass(frozen=True, slots=True, kw_only=True)
class StoredRecords:
    """The records that corrections may name besides each other.

    Attributes
    ----------
    subjects : subject of each record, by id.
    replaced : the correction of each record that has one, by the id of the record.
    """

    subjects: Mapping[str, str] = field(default_factory=dict)
    replaced: Mapping[str, str] = field(default_factory=dict)


def find_supersession_issues(
    corrections: Sequence[Correction],
    stored: StoredRecords | None = None,
    *,
    unsure: Collection[str] = (),
    noun: Noun = "reading",
) -> list[SupersessionIssue]:
    """Find the corrections that cannot replace the record they name.

    Parameters
    ----------
    corrections : new records in their order, those that replace nothing included.
    stored : records that are stored already.
    unsure : ids of records that were refused, so that their subject is not reliable.
    noun : the word for a record in messages.
    """
    stored = stored or StoredRecords()
    subjects = {**stored.subjects, **{each.id: each.subject for each in corrections}}
    replaced = dict(stored.replaced)
    accepted: dict[str, str] = {}
    issues = []
    for each in corrections:
        target = each.supersedes
        if target is None:
            continue
        issue = _check_target(each, target, subjects, replaced, unsure, noun)
        if issue is None:
            replaced[target] = accepted[target] = each.id
        else:
            issues.append(issue)
    return issues + [_describe_cycle(cycle, noun) for cycle in _find_cycles(accepted)]


def find_dependent_issues(
    corrections: Sequence[Correction], refused: Collection[str], *, noun: Noun
) -> list[SupersessionIssue]:
    """Find the corrections whose target is refused, directly or along a chain."""
    refused = set(refused)
    issues = []
    pending = list(corrections)
    while dependent := [each for each in pending if each.supersedes in refused]:
        for each in dependent:
            message = f"The {noun} {each.supersedes} it replaces is refused."
            issues.append(
                SupersessionIssue(
                    ids=(each.id,),
                    code=SupersessionCode.TARGET_REFUSED,
                    message=message,
                )
            )
        refused |= {each.id for each in dependent}
        pending = [each for each in pending if each.id not in refused]
    return issues


def group_by_depth(corrections: Sequence[Correction]) -> Iterator[list[str]]:
    """Generate groups of ids in which each record follows the record it replaces.

    Rows are stored group by group, because a foreign key needs its target first.
    """
    pending = {each.id: each.supersedes for each in corrections}
    while pending:
        group = [key for key, target in pending.items() if target not in pending]
        if not group:
            raise ValueError("corrections replace each other in a circle")
        yield group
        for key in group:
            del pending[key]


def _check_target(
    correction: Correction,
    target: str,
    subjects: Mapping[str, str],
    replaced: Mapping[str, str],
    unsure: Collection[str],
    noun: Noun,
) -> SupersessionIssue | None:
    """Check one correction against the record it names."""
    subject = subjects.get(target)
    if subject is None:
        code = SupersessionCode.UNKNOWN
        message = (
            f"There is no {noun} {target} to replace; leave “supersedes” out to record "
            f"another {noun}."
        )
    elif subject != correction.subject and not {target, correction.id} & set(unsure):
        code = SupersessionCode.OTHER_SUBJECT
        message = (
            f"The {noun} {target} is of {subject}; a correction is of the same "
            f"{SUBJECT_NOUNS[noun]}, here {correction.subject}."
        )
    elif target in replaced:
        code = SupersessionCode.REPLACED
        message = (
            f"The {noun} {target} is replaced by {replaced[target]} already; "
            "replace that one instead."
        )
    else:
        return None
    return SupersessionIssue(ids=(correction.id,), code=code, message=message)


def _describe_cycle(cycle: tuple[str, ...], noun: Noun) -> SupersessionIssue:
    plural = {"reading": "readings", "entry": "entries"}[noun]
    message = (
        f"These {plural} replace each other in a circle; the first of them replaces "
        "none."
    )
    if len(cycle) == 1:
        message = f"A {noun} cannot replace itself: that is a correction in a circle."
    return SupersessionIssue(ids=cycle, code=SupersessionCode.CYCLE, message=message)


def _find_cycles(replaced: Mapping[str, str]) -> list[tuple[str, ...]]:
    """Find circles of corrections; `replaced` maps each old id to its correction."""
    cycles = []
    settled: set[str] = set()
    for start in replaced:
        path: dict[str, None] = {}
        at: str | None = start
        while at is not None and at not in settled and at not in path:
            path[at] = None
            at = replaced.get(at)
        if at is not None and at in path:
            steps = list(path)
            cycles.append(tuple(steps[steps.index(at) :]))
        settled.update(path)
    return cycles
