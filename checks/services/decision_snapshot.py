"""The snapshot of what a decision is based on, and its differences from the present."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

from checks.evaluation.finding_topics import PATTERN_TOPICS, FindingTopic
from checks.labels import describe_remedy
from checks.models import Finding, Reading
from core.models import Person
from core.vocabulary import RemedyKind, Verdict
from jobs.exchange.canonical_json import sha256_of

PLAN_TOLERANCE = 1e-6  # mm, MPa: the plan's values are exact
READING_TOLERANCE = 0.1  # mm, MPa: less than a crew can read; project choice
PATTERN_KINDS = frozenset({"line", "setback", "offset", "gage", "projection"})
MAX_LISTED_DIFFERENCES = 3  # the others are counted
Row = Mapping[str, Any]


def take_snapshot(finding: Finding) -> dict[str, Any]:
    """Collect what is known about a finding: readings, verdicts, plan and program.

    Superseded readings are included. For a position the readings of the rest of its
    pattern are included too, because the remedies depend on them.
    """
    evaluation = finding.evaluation
    rows = {row["check"]: row for row in evaluation.result["checks"]}
    pattern = _list_pattern_checks(finding, rows)
    keys = [*finding.checks, *pattern]
    readings = (
        Reading.objects.filter(building=finding.building, check_key__in=keys)
        .select_related("recorded_by", "supersedes", "withdrawal")
        .order_by("pk")
    )
    return {
        "finding": finding.topic,
        "plan": {
            "revision": evaluation.revision.number,
            "digest": evaluation.revision.digest,
        },
        "evaluation": evaluation.pk,
        "input_digest": evaluation.input_digest,
        "made_with": evaluation.made_with,
        "checks": [rows[key] for key in finding.checks if key in rows],
        "around": [rows[key] for key in pattern],
        "readings": [serialize_reading(reading) for reading in readings],
        "likely_cause": finding.likely_cause,
        "remedies": finding.remedies,
    }


def hash_snapshot(snapshot: Mapping[str, Any]) -> str:
    """Return the SHA-256 of a snapshot's canonical JSON."""
    return sha256_of(snapshot)


def serialize_reading(reading: Reading) -> dict[str, Any]:
    """Write one reading for a frozen record: what, who, when."""
    return {
        "id": reading.client_id,
        "check": reading.check_key,
        "entered": reading.entered,
        "value": str(reading.value),
        "crew": reading.crew,
        "taken_at": reading.taken_at.isoformat(),
        "recorded_by": serialize_person(reading.recorded_by),
        "recorded_at": reading.recorded_at.isoformat(),
        "supersedes": reading.supersedes.client_id if reading.supersedes else None,
        "withdrawn": reading.withdrawn,
        "entry": reading.entry,
    }


def serialize_person(person: Person) -> dict[str, str]:
    """Write a person's name at the time, for a frozen record."""
    return {"username": person.get_username(), "name": str(person)}


def list_remedy_names(remedies: Iterable[Row]) -> list[str]:
    """List the names of remedies, the proposal first."""
    return [remedy["remedy"] for remedy in remedies]


# ---- differences ------------------------------------------------------------


class DifferenceCode(StrEnum):
    """Kinds of difference between a snapshot and the present."""

    CHECK_GONE = "check_gone"
    VERDICT = "verdict"
    DEVIATION = "deviation"
    LIMIT = "limit"
    PROPOSAL = "proposal"
    REMEDY_VALUE = "remedy_value"
    PLAN_DOUBT = "plan_doubt"


@dataclass(frozen=True, slots=True, kw_only=True)
class SnapshotDifference:
    """One difference.

    Attributes
    ----------
    subject : the check's key, or the remedy.
    before, after : the values that differ, in the words of the record.
    """

    code: DifferenceCode
    subject: str
    before: str = ""
    after: str = ""


def find_differences(
    snapshot: Mapping[str, Any], rows: Mapping[str, Row], remedies: Sequence[Row]
) -> list[SnapshotDifference]:
    """Compare a snapshot with the present.

    Parameters
    ----------
    snapshot : as `take_snapshot` writes it.
    rows : the checks of the latest result, by key.
    remedies : the finding's remedies as computed last.
    """
    differences = [
        difference
        for before in snapshot["checks"]
        if (difference := _compare_check(before, rows.get(before["check"])))
    ]
    return [*differences, *_compare_remedies(snapshot["remedies"], remedies)]


def has_plan_changed(snapshot: Mapping[str, Any], rows: Mapping[str, Row]) -> bool:
    """Return whether the plan or a limit of the snapshot's checks differs now."""
    return any(
        before["check"] not in rows
        or not _is_nearly_equal(
            before.get(name), rows[before["check"]].get(name), PLAN_TOLERANCE
        )
        for before in snapshot["checks"]
        for name in ("nominal", "limit", "lower", "upper")
    )


def describe_differences(differences: Sequence[SnapshotDifference]) -> str:
    """Describe the first differences for people, and count the others."""
    listed = [_describe_difference(each) for each in differences]
    others = len(listed) - MAX_LISTED_DIFFERENCES
    text = "; ".join(listed[:MAX_LISTED_DIFFERENCES])
    return text + (f"; and {others} more." if others > 0 else ".")


def _list_pattern_checks(finding: Finding, rows: Mapping[str, Row]) -> list[str]:
    """List the measured checks of the same pattern beside the finding's own."""
    topic = FindingTopic(finding.topic)
    if topic.kind not in PATTERN_TOPICS:
        return []
    mark = topic.mark
    return [
        key
        for key, row in rows.items()
        if row["mark"] == mark
        and row["kind"] in PATTERN_KINDS
        and row["verdict"] != Verdict.UNMEASURED
        and key not in finding.checks
    ]


def _compare_check(before: Row, after: Row | None) -> SnapshotDifference | None:
    """Compare one check; only the first difference counts."""
    key = str(before["check"])
    if after is None:
        return SnapshotDifference(code=DifferenceCode.CHECK_GONE, subject=key)
    if before["verdict"] != after["verdict"]:
        return SnapshotDifference(
            code=DifferenceCode.VERDICT,
            subject=key,
            before=before["verdict"],
            after=after["verdict"],
        )
    if not _is_nearly_equal(
        before.get("deviation"), after.get("deviation"), READING_TOLERANCE
    ):
        return SnapshotDifference(
            code=DifferenceCode.DEVIATION,
            subject=key,
            before=_format_deviation(before),
            after=_format_deviation(after),
        )
    if not _is_nearly_equal(before.get("limit"), after.get("limit"), PLAN_TOLERANCE):
        return SnapshotDifference(code=DifferenceCode.LIMIT, subject=key)
    return None


def _compare_remedies(
    before: Sequence[Row], after: Sequence[Row]
) -> Iterator[SnapshotDifference]:
    """Compare the remedies: other remedies, or other values in the same ones.

    A new plate is left out: its place in the order, and whether it is proposed at all,
    change when the steel is fabricated or ships, which changes no reading. A rod that
    moves shows in the checks. A proposal to repeat a reading is left out, too: once it
    is confirmed, what follows is the same.
    """
    before, after = (
        [
            each
            for each in remedies
            if each["remedy"] != RemedyKind.NEW_PLATE and "follows" not in each
        ]
        for remedies in (before, after)
    )
    if list_remedy_names(before) != list_remedy_names(after):
        yield SnapshotDifference(
            code=DifferenceCode.PROPOSAL,
            subject=describe_remedy(after[0]) if after else "nothing",
        )
        return
    for old, new in zip(before, after, strict=True):
        if _list_doubts(old) != _list_doubts(new):
            yield SnapshotDifference(
                code=DifferenceCode.PLAN_DOUBT, subject=str(new["reason"])
            )
        for name, value in old.items():
            if isinstance(value, float) and not _is_nearly_equal(
                value, new.get(name), READING_TOLERANCE
            ):
                yield SnapshotDifference(
                    code=DifferenceCode.REMEDY_VALUE,
                    subject=describe_remedy(old),
                    before=name.replace("_", " "),
                )


def _list_doubts(remedy: Row) -> list[tuple[str, str, float]]:
    """List the doubts about the plan that a remedy names, whatever their order."""
    return sorted(
        (doubt["kind"], doubt["place"], round(float(doubt["amount"]), 3))
        for doubt in remedy.get("plan_doubts", ())
    )


def _describe_difference(difference: SnapshotDifference) -> str:
    subject, before = difference.subject, difference.before
    match difference.code:
        case DifferenceCode.CHECK_GONE:
            return f"{subject} is not on the plan any more"
        case DifferenceCode.VERDICT:
            return f"{subject} was {before}, is {difference.after}"
        case DifferenceCode.DEVIATION:
            return f"{subject} was off by {before}, is off by {difference.after}"
        case DifferenceCode.LIMIT:
            return f"{subject} has another limit"
        case DifferenceCode.PROPOSAL:
            return f"proposed now: {subject}"
        case DifferenceCode.REMEDY_VALUE:
            return f"{subject}: another value for {before}"
        case DifferenceCode.PLAN_DOUBT:
            return f"of the plan now: {subject.removesuffix('.')}"


def _format_deviation(row: Row) -> str:
    unit = "MPa" if str(row["check"]).startswith("strength:") else "mm"
    deviation = row.get("deviation")
    return "nothing" if deviation is None else f"{deviation:.2f} {unit}"


def _is_nearly_equal(one: Any, other: Any, tolerance: float) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= tolerance
    return bool(one == other)
