"""What leaves the program on paper: releases, status, sheets and shim plans as PDF.

A report is composed as plain blocks (`blocks`), from the record alone, and set by
typst (`typeset`) with the looks of `paper/book.typ`. Nothing here writes to the
database; a release is made from its frozen record and nothing else, so that the same
program prints the same paper years later.
"""
