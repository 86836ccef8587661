"""Pages: fetch, ask a service, answer."""

from checks.views.as_built import building

__all__ = ["building"]
