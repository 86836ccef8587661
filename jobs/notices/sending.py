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

from jobs.notices.addresses import AddressError, Target, resolve

TRIED_AT_MOST = 3  # addresses of one name
AGENT = "Padstone"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """How long it may take: to connect and for each step, and altogether. [s]"""

    step_s: float = 5.0
    whole_s: float = 15.0


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of it: the answer's status where there is one, and what is wrong."""

    status: int | None
    fault: str

    @property
    def taken(self) -> bool:
        """Whether the other program has it."""
        return not self.fault


class _Judged(HTTPConnection):
    """A connection to an address that was judged, in the name of its host."""

    def __init__(self, target: Target, address: str, limits: Limits) -> None:
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

    def cut(self) -> None:
        """End it now, whatever it waits for."""
        with contextlib.suppress(OSError, AttributeError):
            self.sock.shutdown(socket.SHUT_RDWR)


def post(
    target: Target,
    body: bytes,
    headers: Mapping[str, str],
    *,
    local: bool = False,
    limits: Limits | None = None,
) -> Answer:
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
        addresses = resolve(target, local=local)
    except AddressError as error:
        return Answer(None, str(error))
    limits = limits or Limits()
    answer = Answer(None, f"The name {target.host} leads nowhere.")
    for address in addresses[:TRIED_AT_MOST]:
        connection = _Judged(target, address, limits)
        with _ended_after(limits.whole_s, connection) as over:
            try:
                connection.connect()
            except (OSError, ValueError) as error:
                answer = Answer(None, _words(error, late=over.is_set()))
                continue
            return _exchange(connection, target, body, headers, over)
    return answer


@contextlib.contextmanager
def _ended_after(seconds: float, connection: _Judged) -> Iterator[threading.Event]:
    over = threading.Event()

    def end() -> None:
        over.set()
        connection.cut()

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield over
    finally:
        timer.cancel()
        connection.close()


def _exchange(
    connection: _Judged,
    target: Target,
    body: bytes,
    headers: Mapping[str, str],
    over: threading.Event,
) -> Answer:
    fields = {"User-Agent": AGENT, "Connection": "close", **headers}
    try:
        connection.request("POST", target.path, body, fields)
        with connection.getresponse() as response:
            status = response.status
    except (OSError, HTTPException, ValueError) as error:
        return Answer(None, _words(error, late=over.is_set()))
    if 200 <= status < 300:
        return Answer(status, "")
    redirect = "; redirects are not followed" if 300 <= status < 400 else ""
    return Answer(status, f"It answered {status}{redirect}.")


def _words(error: Exception, *, late: bool) -> str:
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
