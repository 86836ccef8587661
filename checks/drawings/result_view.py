"""A result by name: what drawings and their tables look up in `padstone.result/1`."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

WITHIN, OUTSIDE, REMEASURE, UNMEASURED = "within", "outside", "remeasure", "unmeasured"
VERDICTS = (WITHIN, OUTSIDE, REMEASURE, UNMEASURED)
VERDICT_RANK = {WITHIN: 0, UNMEASURED: 1, REMEASURE: 2, OUTSIDE: 3}
POSITION_KINDS = frozenset({"line", "setback", "offset", "gage", "projection"})


def get_worst_verdict(verdicts: Iterable[str]) -> str:
    """The gravest of some verdicts; `unmeasured` where there are none."""
    return max(verdicts, key=lambda verdict: VERDICT_RANK[verdict], default=UNMEASURED)


@dataclass(frozen=True)
class ResultView:
    """One result, or none yet; every look-up answers for a missing part too."""

    result: Mapping[str, Any] | None

    @cached_property
    def checks(self) -> dict[str, dict[str, Any]]:
        """Every check by its key."""
        return {check["check"]: check for check in self._get_member("checks", [])}

    @cached_property
    def positions(self) -> dict[str, dict[str, Any]]:
        """What was computed of each position, by mark."""
        return {entry["mark"]: entry for entry in self._get_member("positions", [])}

    @cached_property
    def pads(self) -> dict[str, dict[str, Any]]:
        """Each levelled pad, by mark."""
        levels = self._get_member("levels", {})
        return {pad["mark"]: pad for pad in levels.get("pads", [])}

    @cached_property
    def squareness(self) -> dict[str, Any]:
        """What was computed of the outline."""
        return dict(self._get_member("squareness", {}))

    @cached_property
    def findings(self) -> list[dict[str, Any]]:
        """What is out of tolerance, in the result's order."""
        return list(self._get_member("findings", []))

    def get_limit(self, key: str) -> float | None:
        """A limit of the tolerance basis, where it is one number. [mm]"""
        entry = self._get_member("tolerances", {}).get(key)
        value = entry.get("value") if isinstance(entry, Mapping) else None
        return float(value) if isinstance(value, int | float) else None

    def get_verdict(self, key: str) -> str:
        """The verdict on one check."""
        return str(self.checks.get(key, {}).get("verdict") or UNMEASURED)

    def get_checks_at(self, mark: str) -> list[dict[str, Any]]:
        """Every check of one position, in the result's order."""
        return self._checks_by_mark.get(mark, [])

    def get_position_verdict(self, mark: str) -> str:
        """The gravest verdict on a position's line, rods and projections.

        A gage is asked for but not required, so one not taken does not count.
        """
        return get_worst_verdict(
            check["verdict"]
            for check in self.get_checks_at(mark)
            if check["kind"] in POSITION_KINDS
            and not (check["kind"] == "gage" and check["verdict"] == UNMEASURED)
        )

    def count_verdicts(self) -> dict[str, Counter[str]]:
        """How many checks of each kind have each verdict, kinds in their order."""
        kinds: dict[str, Counter[str]] = {}
        for check in self.checks.values():
            kinds.setdefault(check["kind"], Counter())[check["verdict"]] += 1
        return kinds

    @cached_property
    def _checks_by_mark(self) -> dict[str, list[dict[str, Any]]]:
        marks: dict[str, list[dict[str, Any]]] = {}
        for check in self.checks.values():
            if check.get("mark"):
                marks.setdefault(check["mark"], []).append(check)
        return marks

    def _get_member(self, name: str, empty: Any) -> Any:
        part = self.result.get(name) if self.result else None
        return empty if part is None else part
