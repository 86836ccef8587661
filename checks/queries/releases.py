"""Signed releases, and their frozen records as pages show them."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page, Paginator

from checks.labels import describe_check_key, describe_order, describe_topic
from checks.models import Finding, Release
from checks.queries.concrete_history import describe_entry, get_kind_label
from core.vocabulary import DispositionKind, ReleaseKind, Verdict
from jobs.anchor_plan.check_keys import CheckKind, kind_of
from jobs.models import Building

STRENGTH_ROUTES = {
    "ratio": "the share of the specified strength, field-cured",
    "sufficient": "the engineer's stated strength for erection",
}
RELEASES_PER_PAGE = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class RepairOrder:
    """One order on the notice to the erector."""

    finding_label: str
    remedy: str
    disposition: str
    order: str
    engineer: str
    made_at: datetime
    carried_out_at: datetime | None
    carried_out_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReleaseRecord:
    """The frozen record of a release, as its page shows it."""

    record: Mapping[str, Any]
    checks: tuple[Mapping[str, Any], ...]
    counts: tuple[tuple[Verdict, int], ...]
    findings: tuple[Mapping[str, Any], ...]
    repairs: tuple[RepairOrder, ...]
    previous: tuple[Mapping[str, Any], ...]
    photographs: tuple[Mapping[str, Any], ...]
    readings: tuple[Mapping[str, Any], ...]
    concrete: tuple[Mapping[str, Any], ...]
    route: str
    strength_gap: str


def paginate_past_releases(
    building: Building, current: Iterable[Release], page: str | None
) -> Page[Release]:
    """Return a page of the releases that are no longer in force, the newest first.

    Parameters
    ----------
    building : Building
        The building of the releases.
    current : iterable of Release
        The releases in force.
    page : str, optional
        Number of the page, as in its address.
    """
    # Records and plan documents are large; the list shows neither.
    found = (
        Release.objects.filter(building=building)
        .exclude(pk__in=[release.pk for release in current])
        .select_related("signed_by", "revision")
        .defer("record", "revision__document")
        .order_by("-pk")
    )
    return Paginator(found, RELEASES_PER_PAGE).get_page(page)


def read_release_record(release: Release) -> ReleaseRecord:
    """Read the frozen record of a release."""
    record = release.record
    checks = record["evaluation"]["result"]["checks"]
    verdicts = Counter(row["verdict"] for row in checks)
    return ReleaseRecord(
        record=record,
        checks=tuple(
            {**row, "check_label": describe_check_key(row["check"])} for row in checks
        ),
        counts=tuple((verdict, verdicts[verdict]) for verdict in Verdict),
        findings=tuple(_describe_finding(row) for row in record["findings"]),
        route=STRENGTH_ROUTES.get(
            (record["notice"]["strength"] or {}).get("route") or "", ""
        ),
        repairs=tuple(_build_repair_order(row) for row in record["notice"]["rods"]),
        previous=tuple(
            {**row, "label": ReleaseKind(row["kind"]).label}
            for row in record["previous"]
        ),
        photographs=tuple(
            {**row, "taken_at": datetime.fromisoformat(row["taken_at"])}
            for row in _describe_photographs(record)
        ),
        readings=tuple(_describe_readings(record["readings"])),
        concrete=tuple(_describe_concrete(record.get("concrete", ()))),
        strength_gap=explain_missing_strength(record),
    )


def explain_missing_strength(record: Mapping[str, Any]) -> str:
    """Explain why a record has no strength; old records have no reason of their own."""
    reason = (record["notice"]["strength"] or {}).get("reason")
    if reason:
        return str(reason)
    planned = record["plan"]["document"].get("concrete", {})
    sampled = any(
        kind_of(row["check"]) is CheckKind.STRENGTH for row in record["readings"]
    )
    if sampled and not {"specified_strength", "sufficient_strength"} & planned.keys():
        return "No strength is specified on the plan."
    return "No field-cured sample was tested."


def _describe_finding(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Describe a finding, its state, and the remedies that were ordered."""
    state = Finding.State(row["state"]).label
    closing = Finding.ClosedReason(row["closing"]).label if row["closing"] else ""
    return {
        **row,
        "label": describe_topic(row["finding"]),
        "state_label": f"{state}: {closing}" if closing else state,
        "decisions": [
            {**decision, "remedy_label": describe_order(decision["remedy"])}
            for decision in row["decisions"]
        ],
    }


def _describe_readings(
    rows: Iterable[Mapping[str, Any]],
) -> Iterator[Mapping[str, Any]]:
    """Describe the readings; a replaced one is named by its value, not by its id."""
    # A correction is always recorded after the reading that it replaces.
    entered: dict[str, str] = {}
    for row in rows:
        entered[row["id"]] = row["entered"]
        yield {
            **row,
            "check_label": describe_check_key(row["check"]),
            "taken_at": datetime.fromisoformat(row["taken_at"]),
            "replaces": entered.get(row["supersedes"] or "", ""),
        }


def _describe_concrete(
    rows: Iterable[Mapping[str, Any]],
) -> Iterator[Mapping[str, Any]]:
    """Describe the concrete data."""
    rows = list(rows)
    replaced = {row["supersedes"] for row in rows}
    for row in rows:
        yield {
            **row,
            "label": get_kind_label(row["kind"]),
            "text": describe_entry(row["kind"], row["entry"]),
            "at": _parse_time(row["entry"].get("at")),
            "on": row["entry"].get("placed_on") or row["entry"].get("on"),
            "by": row["entry"].get("by", ""),
            "replaced": row["id"] in replaced,
        }


def _parse_time(text: str | None) -> datetime | None:
    # RFC 3339 allows a lower-case `z`, which `fromisoformat` of Python 3.11 rejects.
    return datetime.fromisoformat(text.upper()) if text else None


def _describe_photographs(record: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """Describe the photographs: of findings and their work first, then of checks.

    A record that is older than photographs names none.
    """
    others = record.get("photographs", ())
    for row in record["findings"]:
        subject = describe_topic(row["finding"])
        for decision in row["decisions"]:
            for photograph in (decision["carried_out"] or {}).get("photographs", ()):
                yield {**photograph, "subject": f"{subject}, carried out"}
        for photograph in others:
            if photograph["finding"] == row["finding"]:
                yield {**photograph, "subject": subject}
    for photograph in others:
        if photograph["finding"] is None:
            subject = describe_check_key(photograph["check"])
            yield {**photograph, "subject": subject}


def _build_repair_order(row: Mapping[str, Any]) -> RepairOrder:
    work = row["carried_out"]
    return RepairOrder(
        finding_label=describe_topic(row["finding"]),
        remedy=describe_order(row),
        disposition=DispositionKind(row["disposition"]).label,
        order=row["order"],
        engineer=row["engineer"]["name"],
        made_at=datetime.fromisoformat(row["made_at"]),
        carried_out_at=datetime.fromisoformat(work["at"]) if work else None,
        carried_out_by=work["by"]["name"] if work else "",
    )
