"""Fit-up: can every column stand on its lines and every bay keep its length."""
