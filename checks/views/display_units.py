"""The units of a building's pages."""

from core.formatting import DisplayStyle, get_default_style
from core.preferences import UNIT_STYLES, load_preferences
from core.requests import AuthenticatedRequest
from core.units import LengthUnit


def get_display_units(
    request: AuthenticatedRequest, plan_unit: LengthUnit
) -> DisplayStyle:
    """Return the notation that the reader chose, or else that of the plan."""
    units = load_preferences(request).units
    if units in UNIT_STYLES:
        return units  # type: ignore[return-value]
    return get_default_style(plan_unit)
