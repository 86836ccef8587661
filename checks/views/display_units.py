"""In what lengths a building's pages are written."""

from core.context_processors import UNIT_STYLES
from core.formatting import DisplayStyle, get_default_style
from core.requests import AuthenticatedRequest
from core.units import LengthUnit


def get_display_units(
    request: AuthenticatedRequest, plan_unit: LengthUnit
) -> DisplayStyle:
    """What the reader chose, or else the unit the plan was drawn in."""
    chosen = request.COOKIES.get("units")
    if chosen in UNIT_STYLES:
        return chosen  # type: ignore[return-value]
    return get_default_style(plan_unit)
