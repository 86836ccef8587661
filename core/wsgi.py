"""WSGI entry point."""

import os

from django.core.wsgi import get_wsgi_application
from django.urls import get_resolver

from core.garbage_collection import settle_garbage_collection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")

application = get_wsgi_application()

# Load now what every request uses.
_ = get_resolver().url_patterns
settle_garbage_collection()
