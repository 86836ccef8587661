"""What a decision was based on: frozen with it, and compared with what is known now."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from checks.models import Finding, Reading
from checks.wording import order_words
from jobs.exchange.canonical import digest

SAME_PLAN = 1e-6  # mm, MPa: what the plan gives is compared as given
SAME_FIGURE = 0.1  # mm, MPa: less than a crew can read; ours
GROUPED = ("position:", "projection:")  # topics that lean on every rod of a mark
PATTERN = frozenset({"line", "setback", "offset", "gage", "projection"})
TOLD = 3  # checks named in a note; the rest is counted
Row = Mapping[str, Any]


def freeze_basis(finding: Finding) -> dict[str, Any]:
    """Write down what is known of a finding: readings, verdicts, plan, program.

    Every reading of its checks is in it, superseded ones too; for a position also
    what the rest of its pattern says, since the remedies lean on it.
    """
    evaluation = finding.evaluation
    rows = {row["check"]: row for row in evaluation.result["checks"]}
    around = _around(finding, rows)
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
        "readings": [reading_record(reading) for reading in readings],
        "likely_cause": finding.likely_cause,
        "remedies": finding.remedies,
    }


def _around(finding: Finding, rows: Mapping[str, Row]) -> list[str]:
    """Name the measured checks of the same pattern that are not the finding's own."""
    if not finding.topic.startswith(GROUPED):
        return []
    mark = finding.topic.partition(":")[2]
    return [
        key
        for key, row in rows.items()
        if row["mark"] == mark
        and row["kind"] in PATTERN
        and row["verdict"] != "unmeasured"
        and key not in finding.checks
    ]


def reading_record(reading: Reading) -> dict[str, Any]:
    """Write one reading for a frozen record: what, who, when."""
    return {
        "id": reading.client_id,
        "check": reading.check_key,
        "entered": reading.entered,
        "value": str(reading.value),
        "crew": reading.crew,
        "taken_at": reading.taken_at.isoformat(),
        "recorded_by": person_record(reading.recorded_by),
        "recorded_at": reading.recorded_at.isoformat(),
        "supersedes": reading.supersedes.client_id if reading.supersedes else None,
        "entry": reading.entry,
    }


def person_record(person: Any) -> dict[str, str]:
    """Write who somebody was at the time, for a frozen record."""
    return {"username": person.get_username(), "name": str(person)}


def basis_digest(basis: Mapping[str, Any]) -> str:
    """Digest a frozen basis: SHA-256 of its canonical JSON."""
    return digest(basis)


def names_of(remedies: Iterable[Row]) -> list[str]:
    """Name the remedies, the proposal first."""
    return [remedy["remedy"] for remedy in remedies]


def differences(
    basis: Mapping[str, Any], rows: Mapping[str, Row], remedies: Sequence[Row]
) -> str:
    """Say how what is known now differs from a basis; empty when it does not."""
    told = [
        note
        for before in basis["checks"]
        if (note := _difference(before, rows.get(before["check"])))
    ]
    told += _remedies_differ(basis["remedies"], remedies)
    if not told:
        return ""
    rest = len(told) - TOLD
    return "; ".join(told[:TOLD]) + (f"; and {rest} more." if rest > 0 else ".")


def _remedies_differ(before: Sequence[Row], after: Sequence[Row]) -> list[str]:
    if names_of(before) != names_of(after):
        return [f"proposed now: {order_words(after[0]) if after else 'nothing'}"]
    return [
        f"{order_words(old)} has another figure for {name.replace('_', ' ')}"
        for old, new in zip(before, after, strict=True)
        for name in old
        if isinstance(old[name], float)
        and not _same(old[name], new.get(name), SAME_FIGURE)
    ]


def plan_differs(basis: Mapping[str, Any], rows: Mapping[str, Row]) -> bool:
    """Whether the plan or a limit of the basis' checks is another now."""
    return any(
        before["check"] not in rows
        or not _same(before.get(name), rows[before["check"]].get(name), SAME_PLAN)
        for before in basis["checks"]
        for name in ("nominal", "limit", "lower", "upper")
    )


def _difference(before: Row, after: Row | None) -> str:
    if after is None:
        return f"{before['check']} is not on the plan any more"
    if before["verdict"] != after["verdict"]:
        return f"{before['check']} was {before['verdict']}, is {after['verdict']}"
    if not _same(before.get("deviation"), after.get("deviation"), SAME_FIGURE):
        return f"{before['check']} was {_mm(before)} off, is {_mm(after)} off"
    if not _same(before.get("limit"), after.get("limit"), SAME_PLAN):
        return f"{before['check']} has another limit"
    return ""


def _mm(row: Row) -> str:
    unit = "MPa" if str(row["check"]).startswith("strength:") else "mm"
    deviation = row.get("deviation")
    return "nothing" if deviation is None else f"{deviation:.2f} {unit}"


def _same(one: Any, other: Any, slack: float) -> bool:
    if isinstance(one, int | float) and isinstance(other, int | float):
        return abs(one - other) <= slack
    return bool(one == other)
