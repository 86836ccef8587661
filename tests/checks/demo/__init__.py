"""The demo: its crews and its scenario."""
