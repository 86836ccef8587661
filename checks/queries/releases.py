"""A signed release, as it was frozen, made readable."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.core.paginator import Page, Paginator

from checks.models import Finding, Release
from checks.queries.concrete import kind_words, words_of
from checks.wording import key_words, order_words, topic_words
from jobs.models import Building

ROUTES = {
    "ratio": "the share of the specified strength, field-cured",
    "sufficient": "the engineer's stated strength for erection",
}
RELEASES_A_PAGE = 20
WORDS = ("within", "outside", "remeasure", "unmeasured")


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair:
    """One order on the notice to the erector."""

    what: str
    remedy: str
    disposition: str
    order: str
    engineer: str
    made_at: datetime
    carried_out_at: datetime | None
    carried_out_by: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Frozen:
    """What a release's record says, for a page."""

    record: Mapping[str, Any]
    checks: tuple[Mapping[str, Any], ...]
    counts: tuple[tuple[str, int], ...]
    findings: tuple[Mapping[str, Any], ...]
    repairs: tuple[Repair, ...]
    previous: tuple[Mapping[str, Any], ...]
    photographs: tuple[Mapping[str, Any], ...]
    readings: tuple[Mapping[str, Any], ...]
    concrete: tuple[Mapping[str, Any], ...]
    route: str
    unjudged: str


def signed_before(
    building: Building, standing: Iterable[Release], page: str | None
) -> Page[Release]:
    """Give a page of the releases that do not stand any more, the newest first.

    Parameters
    ----------
    standing : those that hold on the plan in force.
    """
    found = (
        Release.objects.filter(building=building)
        .exclude(pk__in=[release.pk for release in standing])
        .select_related("signed_by", "revision")
        .defer("record", "revision__document")
        .order_by("-pk")
    )
    return Paginator(found, RELEASES_A_PAGE).get_page(page)


def frozen(release: Release) -> Frozen:
    """Read a release's record."""
    record = release.record
    checks = record["evaluation"]["result"]["checks"]
    verdicts = [row["verdict"] for row in checks]
    return Frozen(
        record=record,
        checks=tuple({**row, "said": key_words(row["check"])} for row in checks),
        counts=tuple((word, verdicts.count(word)) for word in WORDS),
        findings=tuple(_finding(row) for row in record["findings"]),
        route=ROUTES.get((record["notice"]["strength"] or {}).get("route") or "", ""),
        repairs=tuple(_repair(row) for row in record["notice"]["rods"]),
        previous=tuple(
            {**row, "label": Release.Kind(row["kind"]).label}
            for row in record["previous"]
        ),
        photographs=tuple(
            {**row, "taken_at": datetime.fromisoformat(row["taken_at"])}
            for row in _photographs(record)
        ),
        readings=tuple(_readings(record["readings"])),
        concrete=tuple(_concrete(record.get("concrete", ()))),
        unjudged=unjudged(record),
    )


def unjudged(record: Mapping[str, Any]) -> str:
    """Say why a record has no strength; one of before reasons were given has none."""
    reason = (record["notice"]["strength"] or {}).get("reason")
    if reason:
        return str(reason)
    asked = record["plan"]["document"].get("concrete", {})
    sampled = any(row["check"].startswith("strength:") for row in record["readings"])
    if sampled and not {"specified_strength", "sufficient_strength"} & asked.keys():
        return "No strength is specified on the plan."
    return "No field-cured sample was tested."


def _finding(row: Mapping[str, Any]) -> Mapping[str, Any]:
    """Say what a finding was about, how it stood, and what was ordered."""
    state = Finding.State(row["state"]).label
    closing = Finding.Closing(row["closing"]).label if row["closing"] else ""
    return {
        **row,
        "words": topic_words(row["finding"]),
        "stood": f"{state}: {closing}" if closing else state,
        "decisions": [
            {**made, "ordered": order_words(made["remedy"])}
            for made in row["decisions"]
        ],
    }


def _readings(rows: Iterable[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    """List them, a replaced one by what was read there instead of by its id."""
    entered: dict[str, str] = {}
    for row in rows:
        entered[row["id"]] = row["entered"]
        yield {
            **row,
            "said": key_words(row["check"]),
            "taken_at": datetime.fromisoformat(row["taken_at"]),
            "replaces": entered.get(row["supersedes"] or "", ""),
        }


def _concrete(rows: Iterable[Mapping[str, Any]]) -> Iterator[Mapping[str, Any]]:
    """List what was known of the concrete."""
    rows = list(rows)
    replaced = {row["supersedes"] for row in rows}
    for row in rows:
        yield {
            **row,
            "what": kind_words(row["kind"]),
            "said": words_of(row["kind"], row["entry"]),
            "at": _time(row["entry"].get("at")),
            "on": row["entry"].get("placed_on") or row["entry"].get("on"),
            "by": row["entry"].get("by", ""),
            "replaced": row["id"] in replaced,
        }


def _time(written: str | None) -> datetime | None:
    return datetime.fromisoformat(written.upper()) if written else None


def _photographs(record: Mapping[str, Any]) -> Iterator[Mapping[str, Any]]:
    """List them with what they are of: of findings and their work, then of checks.

    A record of before there were any names none.
    """
    others = record.get("photographs", ())
    for row in record["findings"]:
        of = topic_words(row["finding"])
        for made in row["decisions"]:
            for photograph in (made["carried_out"] or {}).get("photographs", ()):
                yield {**photograph, "of": f"{of}, carried out"}
        for photograph in others:
            if photograph["finding"] == row["finding"]:
                yield {**photograph, "of": of}
    for photograph in others:
        if photograph["finding"] is None:
            yield {**photograph, "of": photograph["check"]}


def _repair(row: Mapping[str, Any]) -> Repair:
    done = row["carried_out"]
    return Repair(
        what=topic_words(row["finding"]),
        remedy=order_words(row),
        disposition=row["disposition"].replace("_", " "),
        order=row["order"],
        engineer=row["engineer"]["name"],
        made_at=datetime.fromisoformat(row["made_at"]),
        carried_out_at=datetime.fromisoformat(done["at"]) if done else None,
        carried_out_by=done["by"]["name"] if done else "",
    )
