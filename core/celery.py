"""The Celery app for background jobs."""

import os
from pathlib import Path
from typing import Any

from celery import Celery
from celery.signals import worker_process_init
from kombu.connection import Connection

from core.garbage_collection import settle_garbage_collection

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "core.settings")
# The checks of Django load every page, which a worker does not serve; the web process
# and the deployment run them.
os.environ.setdefault("CELERY_SKIP_CHECKS", "true")


class QueueApp(Celery):  # type: ignore[misc]  # Celery has no types
    """A Celery app that creates the folders of the file-system broker when needed.

    The file-system transport expects its folders to exist; a server needs none.
    """

    def _connection(self, *args: Any, **kwargs: Any) -> Connection:
        options = self.conf.broker_transport_options or {}
        for name in ("data_folder_in", "data_folder_out", "control_folder"):
            if name in options:
                Path(options[name]).mkdir(parents=True, exist_ok=True)
        connection: Connection = super()._connection(*args, **kwargs)
        return connection


@worker_process_init.connect  # type: ignore[untyped-decorator]  # Celery has no types
def settle_worker_process(**_: Any) -> None:
    """Settle the garbage collection of a worker's child process."""
    settle_garbage_collection()


app = QueueApp("padstone")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
