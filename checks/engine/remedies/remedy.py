"""What is proposed where concrete and steel disagree, and what comes second.

The rooms `pattern_remedies`, `surface_remedies` and `outline_remedies` take the
figures of one case each and give the remedies in order of preference: the first
that is feasible is the proposal, the others are kept with the reason they came
second, and what cannot be done is kept with the reason why.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from checks.engine import cautions


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One way out: what, who must agree, why, and its arithmetic (lengths in mm)."""

    remedy: str
    approval: Literal["field", "engineer"]
    reason: str
    cautions: tuple[str, ...]
    quantities: Mapping[str, Any] = field(default_factory=dict)
    why_second: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """The remedies in order, the proposal first, and what was ruled out and why."""

    remedies: tuple[Remedy, ...]
    ruled_out: tuple[tuple[str, str], ...] = ()


def propose_remeasurement(reason: str, checks: Sequence[str]) -> Remedy:
    """Take the readings again before anything is changed."""
    return Remedy(
        remedy="remeasure",
        approval="field",
        reason=reason,
        cautions=(cautions.SCREENING,),
        quantities={"checks": list(checks)},
    )


def refer_to_engineer(reason: str, **figures: object) -> Remedy:
    """Leave it to the engineer of record."""
    return Remedy(
        remedy="refer",
        approval="engineer",
        reason=reason,
        cautions=(cautions.SCREENING, cautions.RODS),
        quantities=figures,
    )


REASONS_FOR_SECOND = {
    "shim": "The other way was cheaper here.",
    "lower_pad": "It cuts cast concrete; shims are undone in a minute.",
    "extend_rod": "It changes a rod; what comes before it does not.",
    "square_up": "A reading is in doubt, and measuring again costs least.",
    "wait_for_strength": "The sample is in doubt.",
    "plumb_up": "A reading is in doubt, and measuring again costs least.",
    "remeasure": "Nothing suggests that a reading is wrong.",
    "shift": "A reading is in doubt, and measuring again costs least.",
    "ream": "It changes the plate, which what comes before it does not.",
    "slot": "A round hole keeps more of the plate and takes a simpler washer.",
    "re_anchor": "It gives up a cast rod that can still be used.",
    "refer": "A remedy that the arithmetic supports comes first.",
}


def rank_remedies(found: Sequence[Remedy]) -> tuple[Remedy, ...]:
    """The proposal as it is; each of the others with why it came second."""
    return tuple(
        remedy if place == 0 else as_alternative(remedy)
        for place, remedy in enumerate(found)
    )


def as_alternative(remedy: Remedy) -> Remedy:
    """The same remedy as an alternative, with the reason it came second."""
    return Remedy(
        remedy=remedy.remedy,
        approval=remedy.approval,
        reason=remedy.reason,
        cautions=remedy.cautions,
        quantities=remedy.quantities,
        why_second=remedy.why_second or REASONS_FOR_SECOND.get(remedy.remedy, ""),
    )
