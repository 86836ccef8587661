"""In what lengths a building's pages are written."""

from checks.drawings.text import Units, units_of
from core.context_processors import UNITS
from core.requests import PersonRequest
from core.units import LengthUnit


def units_for(request: PersonRequest, plan_unit: LengthUnit) -> Units:
    """What the reader chose, or else the unit the plan was drawn in."""
    chosen = request.COOKIES.get("units")
    if chosen in UNITS:
        return chosen  # type: ignore[return-value]
    return units_of(plan_unit)
