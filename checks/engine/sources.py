"""Provenance: how the source of a rule, a formula or a table is known."""

from enum import StrEnum


class Provenance(StrEnum):
    """How a source is known; shown beside every rule and value.

    A value from memory never carries a limit alone unless it is remembered with
    confidence.
    """

    PUBLISHED = "published"
    SECOND_HAND = "published, seen second-hand"
    FROM_MEMORY = "from memory"
    COMMON_PRACTICE = "common practice"
    PROJECT_CHOICE = "project choice"
    OVERRIDE = "override"


# An override needs no entry: it is named with the building, not with a source.
PROVENANCE_MEANINGS = {
    Provenance.PUBLISHED: "the text itself was read",
    Provenance.SECOND_HAND: "read where another text quotes it",
    Provenance.FROM_MEMORY: "remembered and not seen; it carries no limit alone",
    Provenance.COMMON_PRACTICE: "a rule of the trade without a published source",
    Provenance.PROJECT_CHOICE: "chosen or derived in this project",
}
