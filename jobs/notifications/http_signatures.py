"""HTTP Message Signatures with a shared secret, and the digest of a body.

The signature base of RFC 9421 (section 2.5, parameters section 2.3), signed with
`hmac-sha256` (section 3.3.3); the digest of RFC 9530 (section 2). Their values are
written as structured fields (RFC 8941).

What a receiver does with it: it takes the signature base together from the request
it got, signs that with the secret it was given and compares; compares the digest with
the body; refuses what was created more than `WINDOW_S` ago, or lies that far ahead;
and remembers the ids of the events of that time, so that nothing counts twice.
"""

import base64
import hashlib
import hmac
import re
from collections.abc import Mapping, Sequence

SIGNATURE_LIFETIME_S = 300  # how long a signature is good for [s]; ours
SIGNATURE_LABEL = "padstone"
SIGNATURE_TAG = "padstone-event"
COVERED_COMPONENTS = ("@method", "@target-uri", "content-type", "content-digest")
_QUOTABLE_TEXT = re.compile(r"[ !#-\[\]-~]*")  # of a quoted string, nothing to escape


def format_content_digest(body: bytes) -> str:
    """Give the value of `Content-Digest` for a body."""
    return f"sha-256=:{_encode_base64(hashlib.sha256(body).digest())}:"


def format_signature_params(
    components: Sequence[str], params: Mapping[str, str | int]
) -> str:
    """Write what is covered and how, as `Signature-Input` has it after its label.

    Parameters
    ----------
    components : names of fields in lower case, and derived components.
    params : `created`, `keyid` and the like, in the order they are written.

    Raises
    ------
    ValueError
        If a text holds what a quoted string cannot.
    """
    covered = " ".join(_quote(name) for name in components)
    written = (
        f";{name}={value if isinstance(value, int) else _quote(value)}"
        for name, value in params.items()
    )
    return f"({covered}){''.join(written)}"


def build_signature_base(components: Sequence[tuple[str, str]], params: str) -> str:
    """Put together what is signed: a line for each component, the parameters last."""
    lines = [f"{_quote(name)}: {value}" for name, value in components]
    return "\n".join([*lines, f'"@signature-params": {params}'])


def sign_base(secret: bytes, base: str) -> str:
    """Sign a base with HMAC-SHA256 and write it as `Signature` has it."""
    signed = hmac.new(secret, base.encode("ascii"), hashlib.sha256).digest()
    return f":{_encode_base64(signed)}:"


def build_signed_headers(
    *, secret: bytes, keyid: str, url: str, body: bytes, content_type: str, created: int
) -> dict[str, str]:
    """Give the fields of a signed POST.

    Parameters
    ----------
    secret : what sender and receiver share.
    keyid : which of the receiver's secrets it is.
    url : the target, exactly as it is asked for.
    body : what is sent.
    content_type : of the body.
    created : when it is signed. [s since 1970 UTC]
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
