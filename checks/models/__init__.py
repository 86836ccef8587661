"""The record: readings, evaluations, findings, decisions, photographs and releases.

Django finds the models through this package; other modules import them from it.
"""

from checks.models.concrete import ConcreteEntry
from checks.models.findings import (
    Decision,
    Finding,
    FindingEvent,
    WorkReport,
)
from checks.models.photographs import DIGEST_PATTERN, Photograph
from checks.models.readings import (
    Evaluation,
    EvaluationSupplement,
    Instrument,
    Reading,
    ReadingWithdrawal,
)
from checks.models.reevaluation import Reevaluation, ReevaluationTask
from checks.models.releases import Release

__all__ = [
    "DIGEST_PATTERN",
    "ConcreteEntry",
    "Decision",
    "Evaluation",
    "EvaluationSupplement",
    "Finding",
    "FindingEvent",
    "Instrument",
    "Photograph",
    "Reading",
    "ReadingWithdrawal",
    "Reevaluation",
    "ReevaluationTask",
    "Release",
    "WorkReport",
]
