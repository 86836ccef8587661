"""Addresses of other programs: which are fit to be called, and where they lead.

A program of the house that calls whatever address it is given could be made to ask
its own neighbours. So only addresses of the public internet are called: what a name
resolves to is judged, each time, and the connection goes to the address that was
judged and not to what the name resolves to a moment later.
"""

import ipaddress
import socket
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

DEFAULT_PORTS = {"https": 443, "http": 80}
MAX_URL_LENGTH = 500  # characters of an address
_SAFE_PATH_CHARACTERS = "/%:@!$&'()*+,;=-._~"
_GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")  # RFC 4291 section 2.4, IANA
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")  # RFC 6052 section 2.1


class WebhookUrlError(ValueError):
    """What is wrong with an address, in words for whoever gave it."""


@dataclass(frozen=True, slots=True)
class WebhookUrl:
    """An address taken apart; `path` has the query with it."""

    scheme: str
    host: str
    port: int
    path_and_query: str

    @property
    def url(self) -> str:
        """The address in one form, which is also the one that is signed."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        port = "" if self.port == DEFAULT_PORTS[self.scheme] else f":{self.port}"
        return f"{self.scheme}://{host}{port}{self.path_and_query}"


def parse_webhook_url(text: str, *, local: bool = False) -> WebhookUrl:
    """Take an address apart and write it in one form.

    Parameters
    ----------
    text : as somebody typed it.
    local : whether `http` and addresses of this network are allowed, for a demo.

    Raises
    ------
    AddressError
        If it is not an address that can be called.
    """
    text = text.strip()
    if len(text) > MAX_URL_LENGTH or not text.isprintable() or " " in text:
        msg = f"An address has at most {MAX_URL_LENGTH} characters and no blank in it."
        raise WebhookUrlError(msg)
    try:
        parts = urlsplit(text)
        port = parts.port
        host = (parts.hostname or "").encode("idna").decode("ascii")
    except ValueError:
        msg = "This is not an address; one looks like https://example.org/padstone."
        raise WebhookUrlError(msg) from None
    _require_scheme_and_host(parts.scheme, host, local=local)
    if parts.username is not None or parts.password is not None or parts.fragment:
        msg = "Leave out a name or password before the host, and what follows a #."
        raise WebhookUrlError(msg)
    if port == 0:
        msg = "There is no port 0; leave the port out or name another."
        raise WebhookUrlError(msg)
    query = (
        f"?{quote(parts.query, safe=_SAFE_PATH_CHARACTERS + '?')}"
        if parts.query
        else ""
    )
    path = quote(parts.path, safe=_SAFE_PATH_CHARACTERS) or "/"
    target = WebhookUrl(
        parts.scheme, host, port or DEFAULT_PORTS[parts.scheme], path + query
    )
    if not local:
        _require_public_ip(target.host)
    return target


def _require_scheme_and_host(scheme: str, host: str, *, local: bool) -> None:
    if scheme != "https" and not (local and scheme == "http"):
        msg = "The address begins with https://, so that nobody on the way reads it."
        raise WebhookUrlError(msg)
    if not host:
        msg = "The address names no host; one looks like https://example.org/padstone."
        raise WebhookUrlError(msg)


def _require_public_ip(host: str) -> None:
    try:
        public = is_public_ip(host)
    except ValueError:
        return  # a name: what it resolves to is judged when it is called
    if not public:
        raise WebhookUrlError(_not_public_message(host))


def resolve_host(target: WebhookUrl, *, local: bool = False) -> list[str]:
    """Look a target's name up, once, and give the addresses it may be called at.

    Raises
    ------
    AddressError
        If the name leads nowhere, or any of its addresses is not a public one.
    """
    try:
        found = socket.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        msg = f"The name {target.host} leads nowhere."
        raise WebhookUrlError(msg) from None
    addresses = list(dict.fromkeys(str(entry[4][0]) for entry in found))
    for address in addresses:
        if not local and not is_public_ip(address):
            raise WebhookUrlError(_not_public_message(target.host))
    return addresses


def _not_public_message(host: str) -> str:
    return (
        f"{host} is on a private, local or reserved network; only addresses of the "
        "public internet are called."
    )


def is_public_ip(text: str) -> bool:
    """Tell whether an IP address belongs to the public internet.

    By the special-purpose registries of RFC 6890, which `ipaddress` follows; an
    IPv6 address that only carries an IPv4 one is judged by that as well.

    Raises
    ------
    ValueError
        If it is no IP address.
    """
    address = ipaddress.ip_address(text.partition("%")[0])
    if isinstance(address, ipaddress.IPv4Address):
        return address.is_global and not address.is_multicast
    carried = _embedded_ipv4(address)
    if address in _NAT64 or address.ipv4_mapped:
        return carried is not None and is_public_ip(str(carried))
    return (
        address in _GLOBAL_UNICAST
        and address.is_global
        and address.teredo is None
        and (carried is None or is_public_ip(str(carried)))
    )


def _embedded_ipv4(address: ipaddress.IPv6Address) -> ipaddress.IPv4Address | None:
    if address in _NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour
