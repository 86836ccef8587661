"""The record: readings, evaluations, findings, decisions, photographs, releases.

Named here for whoever reads the record, and because Django finds them by this package.
"""

from checks.models.concrete import ConcreteEntry
from checks.models.findings import (
    CarriedOut,
    Decision,
    Disposition,
    Finding,
    FindingEvent,
)
from checks.models.photographs import DIGEST, Photograph
from checks.models.readings import Evaluation, Instrument, Reading
from checks.models.releases import Release

__all__ = [
    "DIGEST",
    "CarriedOut",
    "ConcreteEntry",
    "Decision",
    "Disposition",
    "Evaluation",
    "Finding",
    "FindingEvent",
    "Instrument",
    "Photograph",
    "Reading",
    "Release",
]
