"""Content of a report: a record with its plan, its result, and the notation to use."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from checks.drawings.result_view import ResultView
from core.formatting import QuantityFormatter, get_default_style
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building
from jobs.exchange.result.document import ResultDocument


@dataclass(frozen=True, kw_only=True)
class ReportContent:
    """A release record, or a record of the same form for a status report."""

    record: Mapping[str, Any]
    plan: Plan
    results: ResultView
    formatter: QuantityFormatter

    @property
    def result(self) -> ResultDocument | None:
        """The result in the record; None where nothing was evaluated."""
        return self.results.result

    @property
    def job_line(self) -> str:
        """Number, name and site of the job, in one line."""
        job = self.record["job"]
        return ", ".join(
            part for part in (f"{job['number']} {job['name']}", job["site"]) if part
        )


def read_record(record: Mapping[str, Any]) -> ReportContent:
    """Read a record as it was written, whatever the database holds now."""
    plan = parse_building(record["plan"]["document"]).plan
    evaluation = record["evaluation"]
    return ReportContent(
        record=record,
        plan=plan,
        results=ResultView(evaluation["result"] if evaluation else None),
        formatter=QuantityFormatter(get_default_style(plan.length_unit)),
    )
