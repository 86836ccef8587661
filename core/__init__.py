"""The Django project, and what every app shares."""
