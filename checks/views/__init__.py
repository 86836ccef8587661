"""Pages: fetch, ask a service, answer."""

from checks.views.plans import building

__all__ = ["building"]
