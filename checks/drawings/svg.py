"""A drawing as SVG."""

from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from checks.drawings.text import Units


def svg(name: str, drawing: Any, units: Units, **extra: Any) -> SafeString:
    """Write a drawing with the template of its name.

    Parameters
    ----------
    name : str
        Template in `checks/drawings/`, without its ending.
    drawing : object
        What that template writes.
    units : {"imperial", "decimal", "metric"}
        How lengths are written.
    **extra : object
        Further names for the template; `standalone=True` puts the looks inside,
        for a drawing that leaves the page.
    """
    context = {"drawing": drawing, "units": units, **extra}
    return render_to_string(f"checks/drawings/{name}.svg", context)
