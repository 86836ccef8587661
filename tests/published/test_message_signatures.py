"""Signed requests against the examples their standards print.

RFC 9421 "HTTP Message Signatures", https://www.rfc-editor.org/rfc/rfc9421, and
RFC 9530 "Digest Fields", https://www.rfc-editor.org/rfc/rfc9530.
"""

import base64

import pytest

from jobs.notifications.http_signatures import (
    build_signature_base,
    build_signed_headers,
    format_content_digest,
    format_signature_params,
    sign_base,
)
from tests.jobs.notifications.webhook_receiver import RequestGot, refusal

# RFC 9421 appendix B.1.5, the secret test-shared-secret.
SHARED_SECRET = base64.b64decode(
    "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtb"
    "mHhIDi6pcl8jsasjlTMtDQ=="
)
COMPONENTS = ("date", "@authority", "content-type")
VALUES = ("Tue, 20 Apr 2021 02:07:55 GMT", "example.com", "application/json")


def test_a_request_is_signed_as_appendix_b_2_5_signs_it() -> None:
    # RFC 9421 appendix B.2.5, "Signing a Request Using hmac-sha256".
    params = format_signature_params(
        COMPONENTS, {"created": 1618884473, "keyid": "test-shared-secret"}
    )
    assert params == (
        '("date" "@authority" "content-type")'
        ';created=1618884473;keyid="test-shared-secret"'
    )
    base = build_signature_base(list(zip(COMPONENTS, VALUES, strict=True)), params)
    assert base.splitlines() == [
        '"date": Tue, 20 Apr 2021 02:07:55 GMT',
        '"@authority": example.com',
        '"content-type": application/json',
        '"@signature-params": ("date" "@authority" "content-type")'
        ';created=1618884473;keyid="test-shared-secret"',
    ]
    assert not base.endswith("\n")
    assert (
        sign_base(SHARED_SECRET, base)
        == ":pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:"
    )


def test_the_receiver_of_the_tests_accepts_the_request_of_appendix_b_2_5() -> None:
    # The same example the other way round: what the tests verify with is right too.
    got = RequestGot(
        method="POST",
        url="http://example.com/foo?param=Value&Pet=dog",
        headers={
            "Date": VALUES[0],
            "Content-Type": "application/json",
            "Signature-Input": 'sig-b25=("date" "@authority" "content-type")'
            ';created=1618884473;keyid="test-shared-secret"',
            "Signature": "sig-b25=:pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:",
        },
        body=b'{"hello": "world"}',
    )
    secrets = {"test-shared-secret": SHARED_SECRET}
    assert refusal(got, secrets, at=1618884480, needs=COMPONENTS) == ""
    late = refusal(got, secrets, at=1618884473 + 301, needs=COMPONENTS)
    assert late == "created too long ago"


def test_a_body_has_the_digest_of_appendix_b_1() -> None:
    # RFC 9530 appendix B.1, the JSON object with the line feed after it (from memory).
    body = b'{"hello": "world"}\n'
    assert format_content_digest(body) == (
        "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
    )


def test_a_signed_post_holds_for_a_receiver_that_knows_only_the_standard() -> None:
    body = b'{"event": "finding.opened"}'
    url = "https://example.com:8443/told?who=yard"
    headers = build_signed_headers(
        secret=b"s" * 32,
        keyid="webhook-7",
        url=url,
        body=body,
        content_type="application/json",
        created=1_800_000_000,
    )
    got = RequestGot(method="POST", url=url, headers=headers, body=body)
    secrets = {"webhook-7": b"s" * 32}
    assert refusal(got, secrets, at=1_800_000_010) == ""
    assert refusal(got, {"webhook-7": b"t" * 32}, at=1_800_000_010) == "signature"
    assert refusal(got, secrets, at=1_800_000_301) == "created too long ago"
    other = RequestGot(method="POST", url=url, headers=headers, body=b"{}")
    assert refusal(other, secrets, at=1_800_000_010) == "digest"
    moved = RequestGot(method="POST", url=url + "s", headers=headers, body=body)
    assert refusal(moved, secrets, at=1_800_000_010) == "signature"


@pytest.mark.parametrize("text", ['a"b', "a\\b", "a\nb", "é"])
def test_text_that_would_break_the_base_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="structured field"):
        format_signature_params(("date",), {"keyid": text})
