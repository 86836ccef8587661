"""The closed vocabularies of the record, each word with its label for people.

Verdicts, remedies, approvals, dispositions, states of the steel, stages and releases
are stored, sent and compared by their value. Pages, PDF, e-mail, drawings and the API
take the label from here, so that one thing has one name everywhere. Django is not
imported: the arithmetic and the exchange document use the same words.
"""

from enum import StrEnum
from typing import Self


class LabelledStrEnum(StrEnum):
    """A string enumeration whose members carry a label for people."""

    label: str

    def __new__(cls, value: str, label: str = "") -> Self:
        """Create a member from its stored value and its label.

        The default is for type checkers: a look-up such as `Verdict("within")` has
        the value alone, and does not come here.
        """
        member = str.__new__(cls, value)
        member._value_ = value
        member.label = label
        return member

    @classmethod
    def choices(cls) -> list[tuple[str, str]]:
        """List value and label of every member, as a model field takes choices."""
        return [(member.value, member.label) for member in cls]

    @classmethod
    def values(cls) -> list[str]:
        """List the stored value of every member."""
        return [member.value for member in cls]


class Verdict(LabelledStrEnum):
    """The verdicts on a check, a rod or a building."""

    WITHIN = "within", "within"
    OUTSIDE = "outside", "outside"
    REMEASURE = "remeasure", "measure again"
    UNMEASURED = "unmeasured", "not measured"


class RemedyKind(LabelledStrEnum):
    """The remedies that are computed or ordered for a finding."""

    REMEASURE = "remeasure", "Measure again"
    SHIFT = "shift", "Shift the plate within tolerance"
    SHIM = "shim", "Shim"
    NEW_PLATE = "new_plate", "New base plate, punched to the rods"
    REAM = "ream", "Enlarge the holes"
    SLOT = "slot", "Slot the holes"
    RE_ANCHOR = "re_anchor", "Cut off and re-anchor"
    EXTEND_ROD = "extend_rod", "Extend the rod"
    LOWER_PAD = "lower_pad", "Lower the high pad"
    SQUARE_UP = "square_up", "Square up"
    WAIT_FOR_STRENGTH = "wait_for_strength", "Wait for strength"
    PLUMB_UP = "plumb_up", "Plumb up"
    REFER = "refer", "Engineer to decide"
    ACCEPT = "accept", "Accept as it is"


class FitUpConclusion(LabelledStrEnum):
    """Conclusion on the steel and the rods as measured."""

    GOES_TOGETHER = "goes_together", "Goes together"
    DOES_NOT = "does_not", "Does not go together"
    NOT_SETTLED = "not_settled", "Not settled"


class Approval(LabelledStrEnum):
    """The people who must approve a remedy."""

    FIELD = "field", "field"
    ENGINEER = "engineer", "engineer"


class NextReadingKind(LabelledStrEnum):
    """The ways to take the next reading of a check."""

    UNREAD = "unread", "not measured yet"
    REPEAT = "repeat", "again with the same tape"
    TEMPERATURE_NOTED = "temperature_noted", "again with the temperature noted"
    OTHER_TAPE = "other_tape", "with another tape"
    OTHER_SETUP = "other_setup", "from another set-up"
    DIRECT = "direct", "directly, from one end to the other"


class DispositionKind(LabelledStrEnum):
    """Dispositions of a nonconformity, in the words of ISO 9000:2015, 3.12."""

    USE_AS_IS = "use_as_is", "use as is"
    REWORK = "rework", "rework"
    REPAIR = "repair", "repair"
    REJECT = "reject", "reject"


class SteelState(LabelledStrEnum):
    """How far the steel of a building is: the cheapest remedy depends on it."""

    DETAILING = "detailing", "being detailed"
    FABRICATED = "fabricated", "fabricated"
    SHIPPED = "shipped", "shipped"


class StageKind(LabelledStrEnum):
    """The three stages of a building, in their order."""

    FOUNDATION = "foundation", "foundation"
    VERIFICATION = "verification", "verification"
    ERECTION = "erection", "erection"


class ReleaseKind(LabelledStrEnum):
    """The hold points of a building, in their order, with the stage each belongs to."""

    POUR = "pour", "Pour release (foundation)"
    SHIP = "ship", "Ship release (verification)"
    ERECT = "erect", "Erect release (verification)"
    COMPLETION = "completion", "Completion (erection)"
