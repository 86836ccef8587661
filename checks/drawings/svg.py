"""Rendering of a drawing as SVG."""

from typing import Any

from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from core.formatting import DisplayStyle


def render_svg(
    name: str,
    drawing: Any,
    units: DisplayStyle,
    *,
    key: str = "",
    standalone: bool = False,
) -> SafeString:
    """Render a drawing with the template of its name.

    Parameters
    ----------
    name : {"outline", "pattern", "profile", "fit_up", "new_plate"}
        The kind of drawing.
    drawing : object
        The layout that the template writes.
    units : {"imperial", "decimal", "metric"}
        Notation of lengths.
    key : str
        Prefix of the ids inside, which must differ between drawings on one page.
    standalone : bool
        Put the styles inside, for a drawing that leaves the page: on white paper, in
        a PDF.
    """
    key = key or getattr(drawing, "key", "") or name
    context = {"drawing": drawing, "units": units, "key": key, "standalone": standalone}
    return render_to_string(f"checks/drawings/{name}.svg", context)
