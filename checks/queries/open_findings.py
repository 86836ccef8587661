"""Open findings of a building, one row each."""

from dataclasses import dataclass

from checks.labels import describe_topic
from checks.models import Finding
from checks.queries.finding_groups import find_remeasurement
from checks.queries.review import RemedyDetails, list_remedies
from jobs.models import Building


@dataclass(frozen=True, slots=True, kw_only=True)
class FindingRow:
    """One open finding with its proposal and its remedies."""

    finding: Finding
    label: str
    proposal: str
    remedies: tuple[RemedyDetails, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of all remedies, each once."""
        return tuple(
            dict.fromkeys(
                caution for remedy in self.remedies for caution in remedy.cautions
            )
        )


def list_open_findings(building: Building, *topics: str) -> list[FindingRow]:
    """List the open findings of a building, of the given topics where any are given."""
    findings = Finding.objects.filter(building=building).open()
    if topics:
        findings = findings.filter(topic__in=topics)
    rows = []
    for finding in findings.prefetch_related("events").order_by("opened_at", "pk"):
        remeasured = find_remeasurement(finding, finding.events.all())
        remedies = list_remedies(finding, remeasured)
        rows.append(
            FindingRow(
                finding=finding,
                label=describe_topic(finding.topic),
                proposal=remedies[0].label if remedies else "",
                remedies=tuple(remedies),
            )
        )
    return rows
