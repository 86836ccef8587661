"""Descriptions of every computation: formula, source, limits, worked example."""
