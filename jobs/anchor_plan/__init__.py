"""The anchor plan as values and its geometry; knows nothing of Django."""
