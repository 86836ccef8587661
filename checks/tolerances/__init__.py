"""Tolerance bases, one TOML file each, and the limits they give a building.

`basis.py` reads a file; `limits.py` resolves the limits of one building: the limit of
a wall is `ToleranceLimits.wall`.
"""
