"""One POST to another program's address, and whether it took it.

It connects to the address that was judged (`addresses`), asks nobody else for it,
follows no redirect, reads no more of the answer than its head, and is cut off when it
takes too long altogether. A certificate must hold for the name, by the machine's own
list of authorities.
"""

import contextlib
import socket
import ssl
import threading
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from http.client import HTTPConnection, HTTPException

from jobs.notifications.webhook_urls import WebhookUrl, WebhookUrlError, resolve_host

MAX_ADDRESSES_TRIED = 3  # addresses of one name
USER_AGENT = "Padstone"


@dataclass(frozen=True, slots=True, kw_only=True)
class PostTimeouts:
    """How long it may take: to connect and for each step, and altogether. [s]"""

    step_s: float = 5.0
    total_s: float = 15.0


@dataclass(frozen=True, slots=True)
class PostResponse:
    """What came of it: the answer's status where there is one, and what is wrong."""

    status: int | None
    error: str

    @property
    def accepted(self) -> bool:
        """Whether the other program has it."""
        return not self.error


class _PinnedConnection(HTTPConnection):
    """A connection to an address that was judged, in the name of its host."""

    def __init__(self, target: WebhookUrl, address: str, limits: PostTimeouts) -> None:
        super().__init__(target.host, target.port, timeout=limits.step_s)
        self.default_port = 443 if target.scheme == "https" else 80
        self._judged = address
        self._sealed = target.scheme == "https"

    def connect(self) -> None:
        """Connect; over https, shake hands in a way that can be cut off."""
        self.sock = socket.create_connection((self._judged, self.port), self.timeout)
        if self._sealed:
            context = ssl.create_default_context()
            self.sock = context.wrap_socket(
                self.sock, server_hostname=self.host, do_handshake_on_connect=False
            )
            self.sock.do_handshake()

    def abort(self) -> None:
        """End it now, whatever it waits for."""
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
    """Send a body to another program and say whether it took it: any status 2xx.

    Parameters
    ----------
    target : where to.
    body : what is sent.
    headers : its fields; `Host`, `Content-Length` and `User-Agent` are added.
    local : whether addresses of this network are allowed, for a demo.
    limits : how long it may take.
    """
    try:
        addresses = resolve_host(target, local=local)
    except WebhookUrlError as error:
        return PostResponse(None, str(error))
    timeouts = timeouts or PostTimeouts()
    answer = PostResponse(None, f"The name {target.host} leads nowhere.")
    for address in addresses[:MAX_ADDRESSES_TRIED]:
        connection = _PinnedConnection(target, address, timeouts)
        with _abort_after(timeouts.total_s, connection) as over:
            try:
                connection.connect()
            except (OSError, ValueError) as error:
                answer = PostResponse(None, _describe_error(error, late=over.is_set()))
                continue
            return _send_request(connection, target, body, headers, over)
    return answer


@contextlib.contextmanager
def _abort_after(
    seconds: float, connection: _PinnedConnection
) -> Iterator[threading.Event]:
    over = threading.Event()

    def end() -> None:
        over.set()
        connection.abort()

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield over
    finally:
        timer.cancel()
        connection.close()


def _send_request(
    connection: _PinnedConnection,
    target: WebhookUrl,
    body: bytes,
    headers: Mapping[str, str],
    over: threading.Event,
) -> PostResponse:
    fields = {"User-Agent": USER_AGENT, "Connection": "close", **headers}
    try:
        connection.request("POST", target.path_and_query, body, fields)
        with connection.getresponse() as response:
            status = response.status
    except (OSError, HTTPException, ValueError) as error:
        return PostResponse(None, _describe_error(error, late=over.is_set()))
    if 200 <= status < 300:
        return PostResponse(status, "")
    redirect = "; redirects are not followed" if 300 <= status < 400 else ""
    return PostResponse(status, f"It answered {status}{redirect}.")


def _describe_error(error: Exception, *, late: bool) -> str:
    if late or isinstance(error, TimeoutError):
        return "It took too long to answer."
    if isinstance(error, ssl.SSLCertVerificationError):
        return f"Its certificate does not hold: {error.verify_message}."
    if isinstance(error, ssl.SSLError):
        return "No secure connection could be agreed on."
    if isinstance(error, ConnectionRefusedError):
        return "Nobody listens at this address."
    if isinstance(error, OSError):
        return "The connection failed."
    return "What it answered is not HTTP."
