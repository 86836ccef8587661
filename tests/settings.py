"""The program's settings, with what would only make tests slow turned off."""

import atexit
import os
import shutil
import tempfile
from pathlib import Path
from uuid import uuid4

from core.settings import *  # noqa: F403

if "MEDIA_ROOT" not in os.environ:
    # Made when the first file is kept; a process that keeps none leaves none.
    MEDIA_ROOT = Path(tempfile.gettempdir()) / f"padstone-tests-{uuid4().hex}"
    atexit.register(shutil.rmtree, MEDIA_ROOT, ignore_errors=True)

PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
STORAGES = {
    "default": {"BACKEND": "core.file_storage.DurableFileStorage"},
    "staticfiles": {"BACKEND": "django.contrib.staticfiles.storage.StaticFilesStorage"},
}
WHITENOISE_USE_FINDERS = True
# A device is noticed with every request, so that each asks the database as often.
CACHES = {
    **CACHES,  # noqa: F405 - the program's
    "devices": {"BACKEND": "django.core.cache.backends.dummy.DummyCache"},
    # A page is rendered each time, so that its context is there to be read.
    "fragments": {"BACKEND": "django.core.cache.backends.dummy.DummyCache"},
}
# Counts go back with everything else that a test did in the database.
CACHES.pop("rate_limits", None)
EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
DATABASES["default"]["CONN_MAX_AGE"] = 0  # noqa: F405 - the program's
# A task runs where it is queued; tests/core/test_celery.py sends one to a real worker.
CELERY_TASK_ALWAYS_EAGER = True
CELERY_TASK_EAGER_PROPAGATES = True
REPORT_FOLDER = Path(tempfile.gettempdir()) / f"padstone-reports-{uuid4().hex}"
atexit.register(shutil.rmtree, REPORT_FOLDER, ignore_errors=True)
# A report is in the first answer, however busy the machine; one test waits for none.
REPORT_WAIT_S = 120.0
