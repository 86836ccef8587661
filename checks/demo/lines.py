"""What one line of the demo's order book says, and which crews there are."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from checks.demo.crew import Crew
from checks.demo.story import Story

TAPE_1 = Crew(name="crew 1", tape="T1", level="L1", temperature_c=12.0)
TAPE_2 = Crew(name="crew 2", tape="T2", level="L2", temperature_c=6.0, setups=2)
FEET = Crew(name="crew 3", hand="decimal_feet", tape="T1", level="L2", setups=2)
METRIC = Crew(name="crew 4", hand="millimetres", tape="T1", level="L2", setups=2)
METRES = Crew(name="crew 5", hand="metres", tape="T1", level="L1", temperature_c=9.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingLine:
    """One building: its plan, who measures it, what happens.

    `placed` is the day the concrete was placed, None while it is not.
    """

    document: Mapping[str, Any]
    crew: Crew
    happens: Callable[[Story], None]
    placed: int | None = None
    seed: int = 0

    def document_for(self, midnight: datetime) -> dict[str, Any]:
        """Give the plan, with the date its concrete was placed."""
        document = dict(self.document)
        if self.placed is not None:
            day = (midnight + timedelta(days=self.placed)).date()
            concrete = {**document.get("concrete", {}), "placed_on": day.isoformat()}
            document["concrete"] = concrete
        return document


@dataclass(frozen=True, slots=True, kw_only=True)
class JobLine:
    """One job: days are counted from today, `ships` may be in the past."""

    number: str
    name: str
    customer: str
    site: str
    ships: int | None
    opened: int
    field: str
    engineer: str
    buildings: tuple[BuildingLine, ...]
