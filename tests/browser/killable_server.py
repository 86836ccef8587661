"""A server to be killed: the program on a test's own database, in its own process."""

import os
import sys
from socketserver import ThreadingMixIn
from wsgiref.simple_server import WSGIServer, make_server

from django.conf import settings


class Threaded(ThreadingMixIn, WSGIServer):
    """Answers several requests at once."""

    daemon_threads = True


def serve(database: str, port: int) -> None:
    settings.DATABASES["default"]["NAME"] = database

    from core.wsgi import application  # only now: it reads the settings

    make_server("127.0.0.1", port, application, Threaded).serve_forever()


if __name__ == "__main__":
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    serve(sys.argv[1], int(sys.argv[2]))
