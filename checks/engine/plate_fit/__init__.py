"""Plate fit."""
