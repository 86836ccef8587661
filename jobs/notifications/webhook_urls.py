"""Webhook URLs: parsing, and protection against server-side request forgery.

A server that calls any address it is given can be made to call its own neighbours. So
only addresses of the public internet are allowed. The IP addresses of a host name are
checked at every call, and the connection goes to the address that was checked, not to
what the name resolves to a moment later.
"""

import ipaddress
import socket
from dataclasses import dataclass
from urllib.parse import quote, urlsplit

DEFAULT_PORTS = {"https": 443, "http": 80}
MAX_URL_LENGTH = 500  # characters
_SAFE_PATH_CHARACTERS = "/%:@!$&'()*+,;=-._~"
_GLOBAL_UNICAST = ipaddress.IPv6Network("2000::/3")  # RFC 4291 section 2.4, IANA
_NAT64 = ipaddress.IPv6Network("64:ff9b::/96")  # RFC 6052 section 2.1


class WebhookUrlError(ValueError):
    """An address that cannot be called; the message is for the user."""


@dataclass(frozen=True, slots=True)
class WebhookUrl:
    """The parts of a webhook URL."""

    scheme: str
    host: str
    port: int
    path_and_query: str

    @property
    def url(self) -> str:
        """The normalised URL, which is also the one that is signed."""
        host = f"[{self.host}]" if ":" in self.host else self.host
        port = "" if self.port == DEFAULT_PORTS[self.scheme] else f":{self.port}"
        return f"{self.scheme}://{host}{port}{self.path_and_query}"


def parse_webhook_url(text: str, *, local: bool = False) -> WebhookUrl:
    """Parse and normalise a webhook URL.

    Parameters
    ----------
    text : the URL as typed.
    local : allow `http` and local addresses, for a demo.

    Raises
    ------
    AddressError
        If the address cannot be called.
    """
    text = text.strip()
    if len(text) > MAX_URL_LENGTH or not text.isprintable() or " " in text:
        msg = f"Use an address of at most {MAX_URL_LENGTH} characters, without spaces."
        raise WebhookUrlError(msg)
    try:
        parts = urlsplit(text)
        port = parts.port
        # The ASCII form is what is resolved, sent and signed.
        host = (parts.hostname or "").encode("idna").decode("ascii")
    except ValueError:
        msg = "This is not an address. Use one like https://example.org/padstone."
        raise WebhookUrlError(msg) from None
    _require_scheme_and_host(parts.scheme, host, local=local)
    if parts.username is not None or parts.password is not None or parts.fragment:
        msg = "Remove the user name or password before the host, and anything after #."
        raise WebhookUrlError(msg)
    if port == 0:
        msg = "Port 0 is not valid: remove it or use another port."
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
        msg = "Use an address that begins with https://, so that it stays private."
        raise WebhookUrlError(msg)
    if not host:
        msg = "The address has no host. Use one like https://example.org/padstone."
        raise WebhookUrlError(msg)


def _require_public_ip(host: str) -> None:
    try:
        public = is_public_ip(host)
    except ValueError:
        return  # a host name: its IP addresses are checked at every call
    if not public:
        raise WebhookUrlError(_not_public_message(host))


def resolve_host(target: WebhookUrl, *, local: bool = False) -> list[str]:
    """Resolve a host once and return the IP addresses it may be called at.

    Raises
    ------
    AddressError
        If the name cannot be resolved, or any of its addresses is not public.
    """
    try:
        found = socket.getaddrinfo(target.host, target.port, type=socket.SOCK_STREAM)
    except (OSError, UnicodeError):
        msg = f"The host name {target.host} cannot be resolved."
        raise WebhookUrlError(msg) from None
    addresses = list(dict.fromkeys(str(entry[4][0]) for entry in found))
    # One private address is enough to refuse: the connection may use any of them.
    for address in addresses:
        if not local and not is_public_ip(address):
            raise WebhookUrlError(_not_public_message(target.host))
    return addresses


def _not_public_message(host: str) -> str:
    return (
        f"{host} is on a private, local or reserved network. Use an address of the "
        "public internet."
    )


def is_public_ip(text: str) -> bool:
    """Return True for an IP address of the public internet.

    Follows the special-purpose registries of RFC 6890, as `ipaddress` does. An IPv6
    address that embeds an IPv4 address must be public in both.

    Raises
    ------
    ValueError
        If the text is not an IP address.
    """
    address = ipaddress.ip_address(text.partition("%")[0])
    if isinstance(address, ipaddress.IPv4Address):
        return address.is_global and not address.is_multicast
    embedded = _embedded_ipv4(address)
    if address in _NAT64 or address.ipv4_mapped:
        return embedded is not None and is_public_ip(str(embedded))
    return (
        address in _GLOBAL_UNICAST
        and address.is_global
        and address.teredo is None
        and (embedded is None or is_public_ip(str(embedded)))
    )


def _embedded_ipv4(address: ipaddress.IPv6Address) -> ipaddress.IPv4Address | None:
    if address in _NAT64:
        return ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
    return address.ipv4_mapped or address.sixtofour
