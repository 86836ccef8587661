"""The anchor plan as values, its geometry, and its checks; no Django."""
