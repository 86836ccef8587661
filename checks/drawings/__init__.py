"""Drawings of a building's checks: a plan and a result in, SVG out.

Nothing here touches the database. Each module makes one drawing: a function that
places everything as plain values in drawing units, and a template of the same name
in `templates/checks/drawings/` that writes them as SVG. Looks are CSS classes.
"""
