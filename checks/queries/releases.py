"""A signed release, as it was frozen, made readable."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page, Paginator

from checks.labels import describe_check_key, describe_remedy, describe_topic
from checks.models import Finding, Release
from checks.queries.concrete_history import describe_entry, get_kind_label
from jobs.models import Building

STRENGTH_ROUTES = {
    "ratio": "the share of the specified strength, field-cured",
    "sufficient": "the engineer's stated strength for erection",
}
RELEASES_PER_PAGE = 20
VERDICTS = ("within", "outside", "remeasure", "unmeasured")


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
    """What a release's record says, for a page."""

    record: Mapping[str, Any]
    checks: tuple[Mapping[str, Any], ...]
    counts: tuple[tuple[str, int], ...]
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
    """Give a page of the releases that do not stand any more, the newest first.

    Parameters
    ----------
    standing : those that hold on the plan in force.
    """
    found = (
        Release.objects.filter(building=building)
        .exclude(pk__in=[release.pk for release in current])
        .select_related("signed_by", "revision")
        .defer("record", "revision__document")
        .order_by("-pk")
    )
    return Paginator(found, RELEASES_PER_PAGE).get_page(page)


def read_release_record(release: Release) -> ReleaseRecord:
    """Read a release's record."""
    record = release.record
    checks = record["evaluation"]["result"]["checks"]
    verdicts = [row["verdict"] for row in checks]
    return ReleaseRecord(
        record=record,
        checks=tuple(
            {**row, "said": describe_check_key(row["check"])} for row in checks
        ),
        counts=tuple((word, verdicts.count(word)) for word in VERDICTS),
        findings=tuple(_describe_finding(row) for row in record["findings"]),
        route=STRENGTH_ROUTES.get(
            (record["notice"]["strength"] or {}).get("route") or "", ""
        ),
        repairs=tuple(_build_repair_order(row) for row in record["notice"]["rods"]),
        previous=tuple(
            {**row, "label": Release.Kind(row["kind"]).label}
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
    """Say why a record has no strength; one of before reasons were given has none."""
    reason = (record["notice"]["strength"] or {}).get("reason")
    if reason:
        return str(reason)
    asked = record["plan"]["document"].get("concrete", {})
    sampled = any(row["check"].startswith("strength:") for row in record["readings"])
    if sampled and not {"specified_strength", "sufficient_strength"} & asked.keys():
        return "No strength is specified on the plan."
    return "No field-cured sample was tested."


def _describe_finding(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Say what a finding was about, how it stood, and what was ordered."""
    state = Finding.State(row["state"]).label
    closing = Finding.ClosedReason(row["closing"]).label if row["closing"] else ""
    return {
        **row,
        "label": describe_topic(row["finding"]),
        "stood": f"{state}: {closing}" if closing else state,
        "decisions": [
            {**made, "ordered": describe_remedy(made["remedy"])}
            for made in row["decisions"]
        ],
    }


def _describe_readings(
    rows: Iterable[Mapping[str, Any]],
) -> Iterator[Mapping[str, Any]]:
    """List them, a replaced one by what was read there instead of by its id."""
    entered: dict[str, str] = {}
    for row in rows:
        entered[row["id"]] = row["entered"]
        yield {
            **row,
            "said": describe_check_key(row["check"]),
            "taken_at": datetime.fromisoformat(row["taken_at"]),
            "replaces": entered.get(row["supersedes"] or "", ""),
        }


def _describe_concrete(
    rows: Iterable[Mapping[str, Any]],
) -> Iterator[Mapping[str, Any]]:
    """List what was known of the concrete."""
    rows = list(rows)
    replaced = {row["supersedes"] for row in rows}
    for row in rows:
        yield {
            **row,
            "what": get_kind_label(row["kind"]),
            "said": describe_entry(row["kind"], row["entry"]),
            "at": _parse_time(row["entry"].get("at")),
            "on": row["entry"].get("placed_on") or row["entry"].get("on"),
            "by": row["entry"].get("by", ""),
            "replaced": row["id"] in replaced,
        }


def _parse_time(written: str | None) -> datetime | None:
    return datetime.fromisoformat(written.upper()) if written else None


def _describe_photographs(record: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """List them with what they are of: of findings and their work, then of checks.

    A record of before there were any names none.
    """
    others = record.get("photographs", ())
    for row in record["findings"]:
        of = describe_topic(row["finding"])
        for made in row["decisions"]:
            for photograph in (made["carried_out"] or {}).get("photographs", ()):
                yield {**photograph, "of": f"{of}, carried out"}
        for photograph in others:
            if photograph["finding"] == row["finding"]:
                yield {**photograph, "of": of}
    for photograph in others:
        if photograph["finding"] is None:
            yield {**photograph, "of": photograph["check"]}


def _build_repair_order(row: Mapping[str, Any]) -> RepairOrder:
    done = row["carried_out"]
    return RepairOrder(
        finding_label=describe_topic(row["finding"]),
        remedy=describe_remedy(row),
        disposition=row["disposition"].replace("_", " "),
        order=row["order"],
        engineer=row["engineer"]["name"],
        made_at=datetime.fromisoformat(row["made_at"]),
        carried_out_at=datetime.fromisoformat(done["at"]) if done else None,
        carried_out_by=done["by"]["name"] if done else "",
    )
