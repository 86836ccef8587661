"""What a decision was based on: frozen with it, and compared with what is known now."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from checks.labels import describe_remedy
from checks.models import Finding, Reading
from jobs.exchange.canonical_json import sha256_of

PLAN_TOLERANCE = 1e-6  # mm, MPa: what the plan gives is compared as given
READING_TOLERANCE = 0.1  # mm, MPa: less than a crew can read; ours
PATTERN_TOPICS = ("position:", "projection:")  # topics that lean on every rod of a mark
PATTERN_KINDS = frozenset({"line", "setback", "offset", "gage", "projection"})
MAX_LISTED_CHECKS = 3  # checks named in a note; the rest is counted
Row = Mapping[str, Any]


def take_snapshot(finding: Finding) -> dict[str, Any]:
    """Write down what is known of a finding: readings, verdicts, plan, program.

    Every reading of its checks is in it, superseded ones too; for a position also
    what the rest of its pattern says, since the remedies lean on it.
    """
    evaluation = finding.evaluation
    rows = {row["check"]: row for row in evaluation.result["checks"]}
    around = _list_pattern_checks(finding, rows)
    keys = [*finding.checks, *around]
    readings = (
        Reading.objects.filter(building=finding.building, check_key__in=keys)
        .select_related("recorded_by", "supersedes")
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
        "around": [rows[key] for key in around],
        "readings": [serialize_reading(reading) for reading in readings],
        "likely_cause": finding.likely_cause,
        "remedies": finding.remedies,
    }


def _list_pattern_checks(finding: Finding, rows: Mapping[str, Row]) -> list[str]:
    """Name the measured checks of the same pattern that are not the finding's own."""
    if not finding.topic.startswith(PATTERN_TOPICS):
        return []
    mark = finding.topic.partition(":")[2]
    return [
        key
        for key, row in rows.items()
        if row["mark"] == mark
        and row["kind"] in PATTERN_KINDS
        and row["verdict"] != "unmeasured"
        and key not in finding.checks
    ]


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
        "entry": reading.entry,
    }


def serialize_person(person: Any) -> dict[str, str]:
    """Write who somebody was at the time, for a frozen record."""
    return {"username": person.get_username(), "name": str(person)}


def hash_snapshot(basis: Mapping[str, Any]) -> str:
    """Digest a frozen basis: SHA-256 of its canonical JSON."""
    return sha256_of(basis)


def list_remedy_names(remedies: Iterable[Row]) -> list[str]:
    """Name the remedies, the proposal first."""
    return [remedy["remedy"] for remedy in remedies]


def describe_differences(
    basis: Mapping[str, Any], rows: Mapping[str, Row], remedies: Sequence[Row]
) -> str:
    """Say how what is known now differs from a basis; empty when it does not."""
    told = [
        note
        for before in basis["checks"]
        if (note := _compare_check(before, rows.get(before["check"])))
    ]
    told += _compare_remedies(basis["remedies"], remedies)
    if not told:
        return ""
    rest = len(told) - MAX_LISTED_CHECKS
    return "; ".join(told[:MAX_LISTED_CHECKS]) + (
        f"; and {rest} more." if rest > 0 else "."
    )


def _compare_remedies(before: Sequence[Row], after: Sequence[Row]) -> list[str]:
    if list_remedy_names(before) != list_remedy_names(after):
        return [f"proposed now: {describe_remedy(after[0]) if after else 'nothing'}"]
    return [
        f"{describe_remedy(old)} has another figure for {name.replace('_', ' ')}"
        for old, new in zip(before, after, strict=True)
        for name in old
        if isinstance(old[name], float)
        and not _is_nearly_equal(old[name], new.get(name), READING_TOLERANCE)
    ]


def has_plan_changed(basis: Mapping[str, Any], rows: Mapping[str, Row]) -> bool:
    """Whether the plan or a limit of the basis' checks is another now."""
    return any(
        before["check"] not in rows
        or not _is_nearly_equal(
            before.get(name), rows[before["check"]].get(name), PLAN_TOLERANCE
        )
        for before in basis["checks"]
        for name in ("nominal", "limit", "lower", "upper")
    )


def _compare_check(before: Row, after: Row | None) -> str:
    if after is None:
        return f"{before['check']} is not on the plan any more"
    if before["verdict"] != after["verdict"]:
        return f"{before['check']} was {before['verdict']}, is {after['verdict']}"
    if not _is_nearly_equal(
        before.get("deviation"), after.get("deviation"), READING_TOLERANCE
    ):
        return f"{before['check']} was {_format_deviation(before)} off, is {_format_deviation(after)} off"
    if not _is_nearly_equal(before.get("limit"), after.get("limit"), PLAN_TOLERANCE):
        return f"{before['check']} has another limit"
    return ""


def _format_deviation(row: Row) -> str:
    unit = "MPa" if str(row["check"]).startswith("strength:") else "mm"
    deviation = row.get("deviation")
    return "nothing" if deviation is None else f"{deviation:.2f} {unit}"


def _is_nearly_equal(one: Any, other: Any, slack: float) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= slack
    return bool(one == other)
