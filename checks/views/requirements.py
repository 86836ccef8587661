"""Requirements of a release, with text and the page where it is settled."""

from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlencode

from django.urls import reverse

from checks.labels import (
    describe_check_key,
    describe_requirement,
    describe_topic,
)
from checks.models import Release
from checks.services.hold_points import (
    MissingRequirement,
    ReleaseGate,
    RequirementCode,
)
from jobs.anchor_plan.check_keys import kind_of
from jobs.models import Building

Code = RequirementCode
# The page for each kind of requirement, with its query; findings have their own.
PAGES: dict[RequirementCode, tuple[str, dict[str, str]]] = {
    Code.NOT_EVALUATED: ("building", {}),
    Code.NOT_MEASURED: ("checks:measure", {"show": "unmeasured"}),
    Code.REPEATS_DISAGREE: ("checks:measure", {"show": "again"}),
    Code.MEASURED_BEFORE_POUR: ("checks:measure", {"show": "again"}),
    Code.ERECTION_OUTSIDE: ("checks:reading_history", {}),
    Code.NO_SPECIFIED_STRENGTH: ("jobs:plan", {}),
    Code.NO_SAMPLE: ("checks:concrete", {"add": "sample"}),
    Code.SAMPLES_REJECTED: ("checks:concrete", {"add": "sample"}),
    Code.STRENGTH_NOT_MET: ("checks:concrete", {"add": "sample"}),
    Code.CYLINDERS_DISAGREE: ("checks:concrete", {"add": "sample"}),
    Code.RELEASE_NOT_SIGNED: ("checks:releases", {}),
}
QUEUE_TABS: dict[RequirementCode, str] = {
    Code.UNDECIDED: "waiting",
    Code.DECISION_OUTDATED: "waiting",
    Code.TO_REMEASURE: "field",
    Code.WORK_NOT_DONE: "field",
    Code.WORK_NOT_VERIFIED: "field",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class RequirementLine:
    """One missing requirement as a page lists it.

    Attributes
    ----------
    text : such as "6 checks not measured".
    url : the page where it is settled.
    labels : the checks or findings that it concerns.
    """

    text: str
    url: str
    labels: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GateSection:
    """One release as the page lists it: signed, or what it waits for."""

    kind: str
    label: str
    release: Release | None
    missing: tuple[RequirementLine, ...]


def build_gate_sections(
    building: Building, gates: Iterable[ReleaseGate]
) -> list[GateSection]:
    """Build the sections of the page of releases."""
    return [
        GateSection(
            kind=gate.kind,
            label=gate.label,
            release=gate.release,
            missing=build_requirement_lines(building, gate.missing),
        )
        for gate in gates
    ]


def build_requirement_lines(
    building: Building, missing: Iterable[MissingRequirement]
) -> tuple[RequirementLine, ...]:
    """Build the list of what a release waits for."""
    return tuple(
        RequirementLine(
            text=describe_requirement(item.code, item.keys, item.detail),
            url=_build_url(building, item),
            labels=tuple(_describe_key(key) for key in item.keys),
        )
        for item in missing
    )


def _build_url(building: Building, item: MissingRequirement) -> str:
    """Build the address of the page where a requirement is settled."""
    if len(item.finding_ids) == 1:
        return reverse("checks:finding", args=item.finding_ids)
    if item.finding_ids:
        query = {"state": QUEUE_TABS[item.code], "building": str(building.pk)}
        return f"{reverse('checks:findings')}?{urlencode(query)}"
    name, query = PAGES[item.code]
    if item.code == Code.ERECTION_OUTSIDE:
        query = {"check": item.keys[0]}
    address = reverse(name, args=[building.pk])
    return f"{address}?{urlencode(query)}" if query else address


def _describe_key(key: str) -> str:
    return describe_check_key(key) if kind_of(key) else describe_topic(key)
