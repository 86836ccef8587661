"""Patterns of the texts in a document, for JSON Schema (ECMA-262).

They say what the parsers of `core` and `json_reader` say, except what must be computed:
that a fraction is less than one, a unit one of strength, a day in the calendar.
"""

_SPACE = r"[ \u00a0\u2007\u202f]"
_VULGAR = r"[\u00bc-\u00be\u2150-\u215e]"
_SLASH = r"[/\u2044]"
_HYPHEN = r"\-\u2010\u2011\u2212"
_FOOT, _INCH = r"(?:['\u2032\u2019]|ft)", r"(?:[\"\u2033\u201d]|in)"
_DECIMAL = r"(?:[0-9]+(?:\.[0-9]+)?|\.[0-9]+)"
_UNPRINTED = r"\x00-\x1f\x7f-\x9f\u2028\u2029"


def _fractional(whole: str) -> str:
    """Return the pattern of a whole, decimal, fraction or mixed number."""
    fraction = f"(?:[0-9]+{_SLASH}[0-9]+|{_VULGAR})"
    mixed = f"{whole}(?:{_SPACE}+[0-9]+{_SLASH}[0-9]+|{_SPACE}*{_VULGAR})"
    return rf"(?:{mixed}|{fraction}|{whole}(?:\.[0-9]+)?|\.[0-9]+)"


_METRIC = f"{_DECIMAL}{_SPACE}*(?:mm|cm|m)"
_IMPERIAL = f"{_fractional('[0-9]+')}{_SPACE}*(?:{_FOOT}|{_INCH})"
_FEET_AND_INCHES = (
    f"[0-9]+{_SPACE}*{_FOOT}[{_HYPHEN}]?{_SPACE}*"
    f"{_fractional('0*(?:1[01]|[0-9])')}{_SPACE}*{_INCH}"
)
LENGTH = rf"^\s*[+{_HYPHEN}]?(?:{_METRIC}|{_IMPERIAL}|{_FEET_AND_INCHES})\s*$"

_TERM = r"[A-Za-z\u00b5\u03bc\u00b0]{1,20}(?:(?:\^|\*\*)[1-9]|[\u00b2\u00b3])?"
QUANTITY = (
    r"^\s*[\-+\u2212]?(?:[0-9]{1,15}(?:\.[0-9]{1,15})?|\.[0-9]{1,15})"
    rf"[ \u00a0\u202f]*{_TERM}(?: ?[*\u00b7/] ?{_TERM}){{0,3}}\s*$"
)
RATIO = r"^\s*(?:[0-9]{1,6} ?/ ?[0-9]{1,6}|[0-9]{0,6}\.?[0-9]{1,9})\s*$"
NAME = rf"^\s*[^\s{_UNPRINTED}](?:[^{_UNPRINTED}]*[^\s{_UNPRINTED}])?\s*$"
NOTE = r"^[^\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f]*$"

_DAY = r"[0-9]{4}-(?:0[1-9]|1[0-2])-(?:0[1-9]|[12][0-9]|3[01])"
DATE = f"^{_DAY}$"
TIME = (
    rf"^{_DAY}[Tt](?:[01][0-9]|2[0-3]):[0-5][0-9](?::[0-5][0-9](?:\.[0-9]{{1,6}})?)?"
    r"(?:[Zz]|[\-+](?:[01][0-9]|2[0-3]):[0-5][0-9])$"
)
