"""One way to write JSON (RFC 8785)."""

import json
import math
import struct

import pytest
from hypothesis import given
from hypothesis import strategies as st

from jobs.exchange.canonical_json import canonical_json, number_text, sha256_of

# RFC 8785 appendix B: IEEE 754 bits and how the number is written.
NUMBERS = {
    "0000000000000000": "0",
    "8000000000000000": "0",
    "0000000000000001": "5e-324",
    "8000000000000001": "-5e-324",
    "7fefffffffffffff": "1.7976931348623157e+308",
    "ffefffffffffffff": "-1.7976931348623157e+308",
    "4340000000000000": "9007199254740992",
    "c340000000000000": "-9007199254740992",
    "4430000000000000": "295147905179352830000",
    "44b52d02c7e14af5": "9.999999999999997e+22",
    "44b52d02c7e14af6": "1e+23",
    "44b52d02c7e14af7": "1.0000000000000001e+23",
    "444b1ae4d6e2ef4e": "999999999999999700000",
    "444b1ae4d6e2ef4f": "999999999999999900000",
    "444b1ae4d6e2ef50": "1e+21",
    "3eb0c6f7a0b5ed8c": "9.999999999999997e-7",
    "3eb0c6f7a0b5ed8d": "0.000001",
    "41b3de4355555553": "333333333.3333332",
    "41b3de4355555554": "333333333.33333325",
    "41b3de4355555555": "333333333.3333333",
    "41b3de4355555556": "333333333.3333334",
    "41b3de4355555557": "333333333.33333343",
    "becbf647612f3696": "-0.0000033333333333333333",
    "43143ff3c1cb0959": "1424953923781206.2",
}


@pytest.mark.parametrize(("bits", "text"), NUMBERS.items())
def test_numbers_are_written_as_the_standard_s_samples(bits, text):
    assert number_text(struct.unpack(">d", bytes.fromhex(bits))[0]) == text


def test_members_are_sorted_by_utf_16_code_units():
    # RFC 8785 section 3.2.3: an astral character sorts before U+FB33 in UTF-16.
    names = ["\u20ac", "\r", "\ufb33", "1", "\U0001f600", "\u0080", "\u00f6"]
    written = json.loads(canonical_json(dict.fromkeys(names, 0)))
    assert list(written) == ["\r", "1", "\x80", "ö", "€", "\U0001f600", "\ufb33"]


def test_text_is_escaped_only_where_it_has_to_be():
    # RFC 8785 section 3.2.2: its sample string.
    text = '\u20ac$\u000f\nA\'B"\\\\"/'
    assert canonical_json(text) == '"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"'.encode()


def test_the_digest_is_that_of_the_bytes():
    # FIPS 180-4 SHA-256 of the empty object's two characters, by sha256sum.
    known = "44136fa355b3678a1146ad16f7e8649e94fb4fc21fe77e8310c060f61caaff8a"
    assert sha256_of({}) == known


def test_order_and_form_of_numbers_do_not_change_the_digest():
    assert sha256_of({"a": 4.0, "b": [1, None]}) == sha256_of(
        {"b": [1.0, None], "a": 4}
    )
    assert sha256_of({"a": True}) != sha256_of({"a": 1})
    assert sha256_of({"a": "4"}) != sha256_of({"a": 4})


@pytest.mark.parametrize(
    "value",
    [math.nan, math.inf, [-math.inf], 2**53 + 1, -(10**400), "\ud800", {"\udfff": 1}],
)
def test_what_json_cannot_carry_is_refused(value):
    with pytest.raises(ValueError, match=r".+"):
        canonical_json(value)


@pytest.mark.parametrize("value", [{1: 2}, {1, 2}, b"x", object()])
def test_what_json_does_not_have_is_refused(value):
    with pytest.raises(TypeError):
        canonical_json(value)


def test_bottomless_nesting_is_refused():
    value: list[object] = []
    for _ in range(100_000):
        value = [value]
    with pytest.raises(ValueError, match="nested too deeply"):
        canonical_json(value)


@given(
    st.recursive(
        st.none()
        | st.booleans()
        | st.integers(-(2**53), 2**53)
        | st.floats(allow_nan=False, allow_infinity=False)
        | st.text(),
        lambda inner: st.lists(inner) | st.dictionaries(st.text(), inner),
        max_leaves=12,
    )
)
def test_what_is_written_reads_back_and_is_written_the_same(value):
    written = canonical_json(value)
    # Past 2^53 the shortest text of a double is not its whole number to the last digit.
    assert json.loads(written, parse_int=float) == value
    assert canonical_json(json.loads(written)) == written
