"""Reads for the pages, each in a constant number of queries."""
