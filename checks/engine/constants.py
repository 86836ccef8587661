"""Conversion constants, exact by definition of the units.

The engine works in millimetres, newtons and megapascals. Published tables and formulas
in inches, pounds and psi are converted where they are written down.
"""

INCH_MM = 25.4
FOOT_MM = 304.8
POUND_N = 4.4482216152605
KSI_MPA = 6.894757293168361
PSI_MPA = KSI_MPA / 1000.0
