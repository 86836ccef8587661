"""Readings of the walk: how many of each check, which to replace, and a section's own.

A page of the walk shows the readings of one section. Of the others it needs a count,
which the database gives without sending the readings.
"""

from collections.abc import Iterable
from datetime import datetime

from django.db.models import Count, Min

from checks.models import Decision, Finding, Reading, Release
from core.vocabulary import StageKind, Verdict
from jobs.anchor_plan.planned_checks import Check
from jobs.models import Building


def count_current_readings(building: Building) -> dict[str, int]:
    """Count the current readings of each check, in the order they were begun."""
    current = Reading.objects.filter(building=building).current()
    counted = current.values("check_key").annotate(count=Count("pk"), first=Min("pk"))
    return dict(counted.order_by("first").values_list("check_key", "count"))


def find_outdated_readings(
    building: Building, checks: Iterable[Check]
) -> dict[str, str]:
    """Find the first outdated reading of each check: its client id by the check's key.

    Rods move while concrete is placed, and a repair changes what was measured: after
    either, a check is measured as built.
    """
    ends = _find_ends(building, checks)
    if not ends:
        return {}
    readings = (
        Reading.objects.filter(building=building, taken_at__lte=max(ends.values()))
        .current()
        .order_by("pk")
        .values_list("check_key", "client_id", "taken_at")
    )
    outdated: dict[str, str] = {}
    for key, client_id, taken_at in readings:
        if key in ends and taken_at <= ends[key]:
            outdated.setdefault(key, client_id)
    return outdated


def load_current_readings(
    building: Building, keys: Iterable[str]
) -> dict[str, list[Reading]]:
    """Load the current readings of a few checks by their keys, the oldest first."""
    by_check: dict[str, list[Reading]] = {}
    readings = Reading.objects.filter(building=building, check_key__in=list(keys))
    for reading in readings.current().select_related("recorded_by").order_by("pk"):
        by_check.setdefault(reading.check_key, []).append(reading)
    return by_check


def _find_ends(building: Building, checks: Iterable[Check]) -> dict[str, datetime]:
    """Find until when a reading of each check is outdated, where one can be."""
    pour = Release.objects.filter(building=building, kind=Release.Kind.POUR)
    signed_at = pour.order_by("-pk").values_list("signed_at", flat=True).first()
    repaired_at = _load_repairs(building)
    ends: dict[str, datetime] = {}
    for check in checks:
        poured_at = signed_at if check.stage == StageKind.FOUNDATION else None
        times = [at for at in (poured_at, repaired_at.get(check.key)) if at is not None]
        if times:
            ends[check.key] = max(times)
    return ends


def _load_repairs(building: Building) -> dict[str, datetime]:
    """Load when each check was last repaired."""
    work = (
        Decision.objects.filter(
            finding__building=building,
            finding__state=Finding.State.CARRIED_OUT,
            work_report__isnull=False,
        )
        .order_by("pk")
        .values_list("snapshot__checks", "work_report__at")
    )
    return {
        row["check"]: at
        for rows, at in work
        for row in rows
        if row["verdict"] not in (Verdict.WITHIN, Verdict.UNMEASURED)
    }
