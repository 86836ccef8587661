"""The jobs of the demo, read from `data/jobs.toml`, and their crews.

Customers, sites and buildings are invented. Days are counted from today.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial
from typing import Any

from checks.demo import foundation, histories
from checks.demo.crew import Crew
from checks.demo.data_files import read_table
from checks.demo.plan_documents import build_hall, load_plan_document
from checks.demo.simulation import BuildingSimulation
from checks.demo.steps import Fault


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoBuilding:
    """One building: its plan, its crew and its history.

    `placed_day` is the day the concrete was placed, None before that; `steel` how far
    the steel is, where the plan says it.
    """

    document: Mapping[str, Any]
    crew: Crew
    history: Callable[[BuildingSimulation], None]
    placed_day: int | None = None
    steel: str = ""

    def build_document(self, midnight: datetime) -> dict[str, Any]:
        """Return the plan, with the date its concrete was placed."""
        document = dict(self.document)
        if self.placed_day is not None:
            day = (midnight + timedelta(days=self.placed_day)).date()
            concrete = {**document.get("concrete", {}), "placed_on": day.isoformat()}
            document["concrete"] = concrete
        if self.steel:
            document["steel"] = self.steel
        return document


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoJob:
    """One job; `ship_day` may be in the past."""

    number: str
    name: str
    customer: str
    site: str
    opened_day: int
    field_lead: str
    engineer: str
    buildings: tuple[DemoBuilding, ...]
    ship_day: int | None = None


CREWS = {row["name"]: Crew(**row) for row in read_table("crews")["crews"]}


def _read_fault(row: Mapping[str, Any]) -> Fault:
    arguments = {name: value for name, value in row.items() if name != "fault"}
    return partial(getattr(foundation, row["fault"]), **arguments)


def _read_building(row: Mapping[str, Any]) -> DemoBuilding:
    name = row["name"]
    # A name in the file stands for a function: what happens is code, to whom is data.
    history = getattr(histories, row["history"])
    # What a history takes: mistakes and errors of the crew, faults of the pour.
    told: dict[str, Any] = {
        key: row[key] for key in ("mistakes", "errors") if key in row
    }
    if "faults" in row:
        told["faults"] = tuple(_read_fault(fault) for fault in row["faults"])
    document = (
        build_hall(name, **row["hall"])
        if "hall" in row
        else load_plan_document(row["plan"], name)
    )
    if "details" in row:
        document["details"] = {**document["details"], **row["details"]}
    return DemoBuilding(
        document=document,
        crew=CREWS[row["crew"]],
        history=partial(history, **told) if told else history,
        placed_day=row.get("placed_day"),
        steel=row.get("steel", ""),
    )


def _read_job(row: Mapping[str, Any]) -> DemoJob:
    buildings = tuple(_read_building(each) for each in row["buildings"])
    return DemoJob(**{**row, "buildings": buildings})


JOBS: tuple[DemoJob, ...] = tuple(_read_job(row) for row in read_table("jobs")["jobs"])
