"""The program and its version, as results and records name it."""

VERSION = "0.1.0"
MADE_WITH = f"padstone {VERSION}"
