"""The command line's way in."""
