"""One check worked out for its page: readings, corrections, uncertainty, verdict."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from checks.adapters import given
from checks.evaluation.worked import Worked, WorkedReading, work_out
from checks.models import Reading
from checks.queries.limits import LimitShown, limits_of_kind
from checks.queries.plans import Drawn
from checks.queries.record import Taken, taken
from checks.wording import check_words
from jobs.plan.sheet import Check, Kind, find_check

CORRECTIONS = {
    "standardisation": "tape's own length",
    "temperature": "temperature",
    "tension": "pull",
    "sag": "sag",
    "slope": "slope",
}
UNCERTAINTIES = {
    "class": "tape, by its accuracy class",
    "resolution": "resolution of the reading",
    "temperature": "temperature not noted",
    "level": "level and rod over the sight",
}
COVERAGE = 2.0
UNREAD: Mapping[str, Any] = {
    "verdict": "unmeasured",
    "close_to_limit": False,
    "reason": "",
    **dict.fromkeys(
        ("nominal", "observed", "deviation", "limit", "lower", "upper", "uncertainty")
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingShown:
    """A reading of the check; `worked` is None where it does not stand."""

    taken: Taken
    worked: WorkedReading | None

    @property
    def corrections(self) -> list[tuple[str, str]]:
        """What was added, by cause. [mm]"""
        if self.worked is None:
            return []
        return [
            (CORRECTIONS[k], f"{v:+.2f} mm") for k, v in self.worked.corrections.items()
        ]

    @property
    def uncertainties(self) -> list[tuple[str, str]]:
        """Standard uncertainties, by cause. [mm]"""
        if self.worked is None:
            return []
        return [
            (UNCERTAINTIES[k], f"{v:.2f} mm")
            for k, v in self.worked.uncertainties.items()
        ]

    @property
    def combined(self) -> str:
        """Standard uncertainty of the reading. [mm]"""
        if self.worked is None or not math.isfinite(self.worked.combined):
            return ""
        return f"{self.worked.combined:.2f} mm"


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckShown:
    """Everything a check's page tells.

    Attributes
    ----------
    judged : its entry in the latest result; as of one nobody read before there is one.
    length : its entry among the outline's adjusted lengths, None for other kinds.
    """

    check: Check
    words: str
    readings: tuple[ReadingShown, ...]
    worked: Worked
    judged: Mapping[str, Any]
    length: Mapping[str, Any] | None
    limits: tuple[LimitShown, ...]

    @property
    def expanded(self) -> float | None:
        """Expanded uncertainty (k = 2) of what was observed. [mm]"""
        sigma = self.judged.get("uncertainty")
        return None if sigma is None else COVERAGE * sigma

    @property
    def percent(self) -> str:
        """Probability of conformance, never rounded to what is certain."""
        share = self.judged.get("probability")
        if share is None:
            return ""
        if share in (0.0, 1.0):
            return f"{share:.0%}"
        return f"{min(max(share, 0.001), 0.999):.1%}"

    @property
    def repeats(self) -> tuple[float, float] | None:
        """Spread of several readings, and what the instruments explain of it. [mm]"""
        few = len(self.worked.readings) < 2 or self.check.kind is Kind.STRENGTH
        return None if few else (self.worked.spread, self.worked.spread_limit)


def check_shown(found: Drawn, key: str) -> CheckShown | None:
    """Work one check of a building out; None where the plan has no such check."""
    try:
        check = find_check(found.plan, key)
    except ValueError:
        return None
    worked = work_out(given(found.building).measured, check.key)
    of = {each.reading.id: each for each in worked.readings}
    rows = (
        Reading.objects.filter(building=found.building, check_key=check.key)
        .select_related("recorded_by", "instrument", "supersedes", "replaced_by")
        .order_by("pk")
    )
    result = found.result or {}
    lengths = (result.get("squareness") or {}).get("lengths") or ()
    return CheckShown(
        check=check,
        words=check_words(check, placed=True),
        readings=tuple(
            ReadingShown(taken=each, worked=of.get(each.reading.client_id))
            for each in taken(rows)
        ),
        worked=worked,
        judged=found.judged.checks.get(check.key, UNREAD),
        length=next((row for row in lengths if row["check"] == check.key), None),
        limits=tuple(limits_of_kind(check.kind, result.get("tolerances") or {})),
    )
