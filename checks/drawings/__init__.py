"""Drawings of a building's checks: a plan and a result in, SVG out.

No module here reads the database. Each drawing is a module with a function that lays
everything out as plain values in drawing units, and a template of the same name in
`templates/checks/drawings/` that writes them as SVG. Colours and strokes are CSS.
"""
