"""HTTP POST to a webhook address.

The connection goes to the IP address that `webhook_urls` has checked, follows no
redirect and no proxy, reads only the head of the response, and is aborted after a total
time. The certificate must be valid for the host name by the system's authorities.
"""

import contextlib
import socket
import ssl
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPException

from jobs.notifications.webhook_urls import WebhookUrl, WebhookUrlError, resolve_host

MAX_ADDRESSES_TRIED = 3  # IP addresses of one name
USER_AGENT = "Padstone"


@dataclass(frozen=True, slots=True, kw_only=True)
class PostTimeouts:
    """Time limits: for connecting and each step, and in total. [s]"""

    step_s: float = 5.0
    total_s: float = 15.0


@dataclass(frozen=True, slots=True)
class PostResponse:
    """Result of a POST: the HTTP status if there was a response, and the error."""

    status: int | None
    error: str

    @property
    def accepted(self) -> bool:
        """True for a 2xx response."""
        return self.status is not None and 200 <= self.status < 300


class _PinnedConnection(HTTPConnection):
    """A connection to a checked IP address, under the name of its host."""

    def __init__(self, target: WebhookUrl, address: str, limits: PostTimeouts) -> None:
        super().__init__(target.host, target.port, timeout=limits.step_s)
        # Keeps the port out of the Host header where it is the default.
        self.default_port = 443 if target.scheme == "https" else 80
        self._ip_address = address
        self._uses_tls = target.scheme == "https"

    def connect(self) -> None:
        """Connect; over https, with a TLS handshake that `abort` can interrupt."""
        self.sock = socket.create_connection(
            (self._ip_address, self.port), self.timeout
        )
        if self._uses_tls:
            context = ssl.create_default_context()
            self.sock = context.wrap_socket(
                self.sock, server_hostname=self.host, do_handshake_on_connect=False
            )
            # Only now, when `self.sock` is the one `abort` shuts down.
            self.sock.do_handshake()

    def abort(self) -> None:
        """Shut the socket down, whatever it waits for."""
        with contextlib.suppress(OSError, AttributeError):
            self.sock.shutdown(socket.SHUT_RDWR)


def post_body(
    target: WebhookUrl,
    body: bytes,
    headers: Mapping[str, str],
    *,
    local: bool = False,
    timeouts: PostTimeouts | None = None,
) -> PostResponse:
    """Send a body to a webhook address; it is accepted with any 2xx status.

    Parameters
    ----------
    target : the address.
    body : the content.
    headers : its fields; `Host`, `Content-Length` and `User-Agent` are added.
    local : allow addresses of the local network, for a demo.
    limits : how long it may take.
    """
    try:
        addresses = resolve_host(target, local=local)
    except WebhookUrlError as error:
        return PostResponse(None, str(error))
    timeouts = timeouts or PostTimeouts()
    response = PostResponse(None, f"The host name {target.host} cannot be resolved.")
    for address in addresses[:MAX_ADDRESSES_TRIED]:
        connection = _PinnedConnection(target, address, timeouts)
        with _abort_after(timeouts.total_s, connection) as timed_out:
            try:
                connection.connect()
            except (OSError, ValueError) as error:
                response = PostResponse(
                    None, _describe_error(error, timed_out=timed_out.is_set())
                )
                continue
            return _send_request(connection, target, body, headers, timed_out)
    return response


@contextlib.contextmanager
def _abort_after(
    seconds: float, connection: _PinnedConnection
) -> Iterator[threading.Event]:
    timed_out = threading.Event()

    def end() -> None:
        timed_out.set()
        connection.abort()

    timer = threading.Timer(seconds, end)
    timer.daemon = True  # must not keep a worker that is told to stop
    timer.start()
    try:
        yield timed_out
    finally:
        timer.cancel()
        connection.close()


def _send_request(
    connection: _PinnedConnection,
    target: WebhookUrl,
    body: bytes,
    headers: Mapping[str, str],
    timed_out: threading.Event,
) -> PostResponse:
    fields = {"User-Agent": USER_AGENT, "Connection": "close", **headers}
    try:
        connection.request("POST", target.path_and_query, body, fields)
        # The body is never read: it may be endless.
        with connection.getresponse() as response:
            status = response.status
    except (OSError, HTTPException, ValueError) as error:
        return PostResponse(None, _describe_error(error, timed_out=timed_out.is_set()))
    if 200 <= status < 300:
        return PostResponse(status, "")
    redirect = "; redirects are not followed" if 300 <= status < 400 else ""
    return PostResponse(status, f"The response was {status}{redirect}.")


def _describe_error(error: Exception, *, timed_out: bool) -> str:
    if timed_out or isinstance(error, TimeoutError):
        return "The request timed out."
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"The certificate is not valid: {error.verify_message}."
    if isinstance(error, ssl.SSLError):
        return "The TLS handshake failed."
    if isinstance(error, ConnectionRefusedError):
        return "The connection was refused."
    if isinstance(error, OSError):
        return "The connection failed."
    return "The response is not HTTP."
