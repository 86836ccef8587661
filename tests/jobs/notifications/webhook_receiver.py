"""Another program that is told: it knows RFC 9421 and RFC 9530 and nothing of ours.

Written from the texts of the standards; it imports nothing of the program.
"""

import base64
import contextlib
import hashlib
import hmac
import re
import socket
import ssl
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from urllib.parse import urlsplit

WINDOW_S = 300
NEEDED = ("@method", "@target-uri", "content-type", "content-digest")


@dataclass(frozen=True)
class RequestGot:
    """One request as it came in."""

    method: str
    url: str
    headers: Mapping[str, str]
    body: bytes


def refusal(
    got: RequestGot,
    secrets: Mapping[str, bytes],
    *,
    at: float,
    needs: Sequence[str] = NEEDED,
) -> str:
    """Say why a request is not believed; empty where it is (RFC 9421 section 3.2)."""
    fields = {name.lower(): value for name, value in got.headers.items()}
    label, _, params = fields["signature-input"].partition("=")
    inner, _, rest = params.partition(")")
    components = re.findall(r'"([^"]*)"', inner)
    told = dict(re.findall(r';([a-z]+)=("[^"]*"|-?\d+)', rest))
    if not set(needs) <= set(components):
        return "too little is covered"
    if told.get("alg", '"hmac-sha256"') != '"hmac-sha256"':
        return "algorithm"
    if at - int(told["created"]) > WINDOW_S or at > int(told.get("expires", "9" * 12)):
        return "created too long ago"
    lines = [f'"{name}": {_component(name, got, fields)}' for name in components]
    base = "\n".join([*lines, f'"@signature-params": {params}'])
    secret = secrets[told["keyid"].strip('"')]
    expected = hmac.new(secret, base.encode(), hashlib.sha256).digest()
    sent = re.fullmatch(rf"{label}=:([^:]*):", fields["signature"])
    if sent is None or not hmac.compare_digest(
        expected, base64.b64decode(sent.group(1))
    ):
        return "signature"
    if "content-digest" in components:
        digest = base64.b64encode(hashlib.sha256(got.body).digest()).decode()
        if fields["content-digest"] != f"sha-256=:{digest}:":
            return "digest"
    return ""


def _component(name: str, got: RequestGot, fields: Mapping[str, str]) -> str:
    """Return a component's value (RFC 9421 sections 2.1 and 2.2)."""
    if name == "@method":
        return got.method
    if name == "@target-uri":
        return got.url
    if name == "@authority":
        parts = urlsplit(got.url)
        usual = {"http": 80, "https": 443}[parts.scheme]
        host = parts.hostname or ""
        return host if parts.port in (None, usual) else f"{host}:{parts.port}"
    return ", ".join(part.strip() for part in fields[name].splitlines())


Reply = Callable[[BaseHTTPRequestHandler], None]


def say(status: int, **headers: str) -> Reply:
    """Answer with a status and nothing else."""

    def reply(handler: BaseHTTPRequestHandler) -> None:
        handler.send_response(status)
        for name, value in headers.items():
            handler.send_header(name, value)
        handler.send_header("Content-Length", "0")
        handler.end_headers()

    return reply


@dataclass
class Receiver:
    """A server on this machine: what it got, and how it answers from now on."""

    url: str
    port: int
    got: list[RequestGot] = field(default_factory=list)
    reply: Reply = field(default_factory=lambda: say(204))


@contextlib.contextmanager
def receiving(certificate: str = "") -> Iterator[Receiver]:
    """Run a receiver, over https where it is given a certificate with its key."""

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"]))
            url = f"{scheme}://{self.headers['Host']}{self.path}"
            fields = dict(self.headers.items())
            receiver.got.append(RequestGot("POST", url, fields, body))
            with contextlib.suppress(ConnectionError, ssl.SSLError):
                receiver.reply(self)

        def log_message(self, *args: object) -> None:
            """Keep the tests' output clean."""

    class Server(ThreadingHTTPServer):
        daemon_threads = True

        def handle_error(self, request: object, client_address: object) -> None:
            """A client that hangs up is what some tests are about."""

    server = Server(("127.0.0.1", 0), Handler)
    scheme = "http"
    if certificate:
        context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        context.load_cert_chain(certificate)
        server.socket = context.wrap_socket(server.socket, server_side=True)
        scheme = "https"
    port = server.server_address[1]
    receiver = Receiver(f"{scheme}://127.0.0.1:{port}/told", port)
    thread = threading.Thread(target=server.serve_forever, args=(0.05,))
    thread.start()
    try:
        yield receiver
    finally:
        server.shutdown()
        thread.join()
        server.server_close()


@contextlib.contextmanager
def answering(raw: Callable[[socket.socket], None]) -> Iterator[int]:
    """Listen on a port and let `raw` do what it likes with each connection."""
    listener = socket.create_server(("127.0.0.1", 0))
    over = threading.Event()

    def serve() -> None:
        while not over.is_set():
            try:
                connection, _ = listener.accept()
            except OSError:
                return
            with connection, contextlib.suppress(OSError):
                raw(connection)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield int(listener.getsockname()[1])
    finally:
        over.set()
        with contextlib.suppress(OSError):
            listener.shutdown(socket.SHUT_RDWR)
        listener.close()
        thread.join()
