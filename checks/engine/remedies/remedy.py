"""Remedies where concrete and steel disagree: the proposal and its alternatives.

The other modules of this package take the quantities of one case each and return the
remedies in order of preference. The first feasible one is the proposal, the others are
kept with the reason they came second, and those ruled out with the reason why.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import ceil, floor
from typing import Any

from checks.engine import cautions
from checks.engine.constants import INCH_MM
from core.units import LengthStyle, format_length
from core.vocabulary import Approval, RemedyKind


@dataclass(frozen=True, slots=True, kw_only=True)
class Remedy:
    """One remedy: what, who must approve, why, and its quantities (lengths in mm)."""

    kind: RemedyKind
    approval: Approval
    reason: str
    cautions: tuple[str, ...]
    quantities: Mapping[str, Any] = field(default_factory=dict)
    why_second: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """Remedies in order, the proposal first, and those ruled out with the reason."""

    remedies: tuple[Remedy, ...]
    ruled_out: tuple[tuple[RemedyKind, str], ...] = ()

    def with_first(self, remedy: Remedy) -> "Advice":
        """Return the same advice with another proposal before it."""
        return Advice(
            remedies=rank_remedies([remedy, *self.remedies]), ruled_out=self.ruled_out
        )


def propose_remeasurement(reason: str, checks: Sequence[str]) -> Remedy:
    """Propose to take readings again before anything is changed."""
    return Remedy(
        kind=RemedyKind.REMEASURE,
        approval=Approval.FIELD,
        reason=reason,
        cautions=(cautions.SCREENING,),
        quantities={"checks": list(checks)},
    )


def refer_to_engineer(reason: str, **quantities: object) -> Remedy:
    """Propose to leave the decision to the engineer of record."""
    return Remedy(
        kind=RemedyKind.REFER,
        approval=Approval.ENGINEER,
        reason=reason,
        cautions=(cautions.SCREENING, cautions.RODS),
        quantities=quantities,
    )


_IN_DOUBT = "A reading is in doubt: measuring again comes first."

REASONS_FOR_SECOND = {
    RemedyKind.SHIM: _IN_DOUBT,
    RemedyKind.LOWER_PAD: "It cuts cast concrete; shims can be taken out again.",
    RemedyKind.EXTEND_ROD: "It changes a rod; the remedies before it do not.",
    RemedyKind.SQUARE_UP: _IN_DOUBT,
    RemedyKind.WAIT_FOR_STRENGTH: "The sample is in doubt.",
    RemedyKind.PLUMB_UP: _IN_DOUBT,
    RemedyKind.REMEASURE: "Nothing suggests that a reading is wrong.",
    RemedyKind.SHIFT: _IN_DOUBT,
    RemedyKind.NEW_PLATE: "It replaces the plate; the remedies before it do not.",
    RemedyKind.REAM: "It changes the plate; the remedies before it do not.",
    RemedyKind.SLOT: "A round hole keeps more of the plate; its washer is simpler.",
    RemedyKind.RE_ANCHOR: "It gives up a cast rod that can still be used.",
    RemedyKind.REFER: "A computed remedy comes first.",
}


def rank_remedies(remedies: Sequence[Remedy]) -> tuple[Remedy, ...]:
    """Return the proposal, and the others with the reason they came second."""
    return tuple(
        replace(remedy, why_second=None) if rank == 0 else as_alternative(remedy)
        for rank, remedy in enumerate(remedies)
    )


def as_alternative(remedy: Remedy) -> Remedy:
    """Return the same remedy as an alternative, with the reason it came second."""
    why = remedy.why_second or REASONS_FOR_SECOND.get(remedy.kind, "")
    return replace(remedy, why_second=why)


def format_rounded_up(mm: float, style: LengthStyle, denominator: int = 32) -> str:
    """Format a size that must suffice: rounded up, never written smaller than it is."""
    step = 0.1 if style == "metric" else INCH_MM / denominator
    return format_length(step * ceil(mm / step - 1e-6), style, denominator)


def format_rounded_down(mm: float, style: LengthStyle, denominator: int = 32) -> str:
    """Format a remainder: rounded down, never written larger than it is."""
    step = 0.1 if style == "metric" else INCH_MM / denominator
    return format_length(step * floor(mm / step + 1e-6), style, denominator)
