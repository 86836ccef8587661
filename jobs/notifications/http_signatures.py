"""HTTP Message Signatures with a shared secret, and the digest of a body.

The signature base of RFC 9421 (section 2.5, parameters section 2.3), signed with
`hmac-sha256` (section 3.3.3); the digest of RFC 9530 (section 2). Their values are
written as structured fields (RFC 8941).

A receiver builds the signature base from the request, signs it with the shared secret
and compares; compares the digest with the body; refuses what was created more than
`SIGNATURE_LIFETIME_S` ago or ahead; and remembers the event ids of that time, so that
no event counts twice.
"""

import base64
import hashlib
import hmac
import re
from collections.abc import Mapping, Sequence

SIGNATURE_LIFETIME_S = 300  # project choice
SIGNATURE_LABEL = "padstone"
SIGNATURE_TAG = "padstone-event"
COVERED_COMPONENTS = ("@method", "@target-uri", "content-type", "content-digest")
_QUOTABLE_TEXT = re.compile(r"[ !#-\[\]-~]*")  # of a quoted string, without escapes


def format_content_digest(body: bytes) -> str:
    """Return the value of `Content-Digest` for a body."""
    return f"sha-256=:{_encode_base64(hashlib.sha256(body).digest())}:"


def format_signature_params(
    components: Sequence[str], params: Mapping[str, str | int]
) -> str:
    """Format the covered components and parameters for `Signature-Input`.

    Parameters
    ----------
    components : field names in lower case, and derived components.
    params : `created`, `keyid` and so on, in output order.

    Raises
    ------
    ValueError
        If a text contains a character that a quoted string cannot hold.
    """
    covered = " ".join(_quote(name) for name in components)
    written = (
        f";{name}={value if isinstance(value, int) else _quote(value)}"
        for name, value in params.items()
    )
    return f"({covered}){''.join(written)}"


def build_signature_base(components: Sequence[tuple[str, str]], params: str) -> str:
    """Build the signature base: one line a component, the parameters last."""
    lines = [f"{_quote(name)}: {value}" for name, value in components]
    return "\n".join([*lines, f'"@signature-params": {params}'])


def sign_base(secret: bytes, base: str) -> str:
    """Sign a base with HMAC-SHA256, formatted for the `Signature` field."""
    signed = hmac.new(secret, base.encode("ascii"), hashlib.sha256).digest()
    return f":{_encode_base64(signed)}:"


def build_signed_headers(
    *, secret: bytes, keyid: str, url: str, body: bytes, content_type: str, created: int
) -> dict[str, str]:
    """Build the header fields of a signed POST.

    Parameters
    ----------
    secret : shared by sender and receiver.
    keyid : name of the secret.
    url : target URI, exactly as requested.
    body : content.
    content_type : media type of the body.
    created : time of signing. [s since 1970 UTC]
    """
    digest = format_content_digest(body)
    params = format_signature_params(
        COVERED_COMPONENTS,
        {
            "created": created,
            "expires": created + SIGNATURE_LIFETIME_S,
            "keyid": keyid,
            "alg": "hmac-sha256",
            "tag": SIGNATURE_TAG,
        },
    )
    values = ("POST", url, content_type, digest)
    base = build_signature_base(
        list(zip(COVERED_COMPONENTS, values, strict=True)), params
    )
    return {
        "Content-Type": content_type,
        "Content-Digest": digest,
        "Signature-Input": f"{SIGNATURE_LABEL}={params}",
        "Signature": f"{SIGNATURE_LABEL}={sign_base(secret, base)}",
    }


def _quote(text: str) -> str:
    if not _QUOTABLE_TEXT.fullmatch(text):
        msg = f"A structured field cannot hold this text as it is: {text!r}"
        raise ValueError(msg)
    return f'"{text}"'


def _encode_base64(value: bytes) -> str:
    return base64.b64encode(value).decode("ascii")
