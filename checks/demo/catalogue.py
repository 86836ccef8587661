"""What one line of the demo's order book says, and which crews there are."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from checks.demo.crew import Crew
from checks.demo.simulation import BuildingSimulation

SIXTEENTHS_CREW = Crew(name="crew 1", tape="T1", level="L1", temperature_c=12.0)
SECOND_SIXTEENTHS_CREW = Crew(
    name="crew 2", tape="T2", level="L2", temperature_c=6.0, setups=2
)
DECIMAL_FEET_CREW = Crew(
    name="crew 3", length_style="decimal_feet", tape="T1", level="L2", setups=2
)
MILLIMETRES_CREW = Crew(
    name="crew 4", length_style="millimetres", tape="T1", level="L2", setups=2
)
METRES_CREW = Crew(
    name="crew 5", length_style="metres", tape="T1", level="L1", temperature_c=9.0
)


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoBuilding:
    """One building: its plan, who measures it, what happens.

    `placed` is the day the concrete was placed, None while it is not.
    """

    document: Mapping[str, Any]
    crew: Crew
    history: Callable[[BuildingSimulation], None]
    placed_day: int | None = None
    seed: int = 0

    def build_document(self, midnight: datetime) -> dict[str, Any]:
        """Give the plan, with the date its concrete was placed."""
        document = dict(self.document)
        if self.placed_day is not None:
            day = (midnight + timedelta(days=self.placed_day)).date()
            concrete = {**document.get("concrete", {}), "placed_on": day.isoformat()}
            document["concrete"] = concrete
        return document


@dataclass(frozen=True, slots=True, kw_only=True)
class DemoJob:
    """One job: days are counted from today, `ships` may be in the past."""

    number: str
    name: str
    customer: str
    site: str
    ship_day: int | None
    opened_day: int
    field_lead: str
    engineer: str
    buildings: tuple[DemoBuilding, ...]
