"""Reports as PDF: releases, status reports, check sheets and shim plans.

A report is composed of plain blocks (`blocks`) from the record alone, and typeset by
typst (`typst_pdf`) with the template `paper/report.typ`. No module here writes to the
database. A release is composed from its frozen record and the files named there, so
that the same program prints the same PDF years later.
"""
