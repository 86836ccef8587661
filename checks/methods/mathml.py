r"""Formulas written as text, set as MathML, which browsers show without a script.

A formula is text with a few signs, and the few shapes that text has no sign for::

    formula("C_T = α L (T − T_0)")
    formula("u =", frac("a + b L", root("3")))

`_` and `^` lower and raise the next word, number or `{group}`; a word in quotes is
upright text. Two things side by side are multiplied, as on paper.
"""

import re
from html import escape

_TOKEN = re.compile(
    r'(?P<space>\s+)|"(?P<text>[^"]*)"|(?P<number>\d+(?:\.\d+)?)'
    r"|(?P<name>[^\W\d_]+′?)|(?P<open>\{)|(?P<close>\})|(?P<shift>[_^])|(?P<sign>.)"
)
_FENCES = {
    "|": ' stretchy="false" lspace="0" rspace="0"',
    "(": ' stretchy="false"',
    ")": ' stretchy="false"',
}
_SIGNS = {"-": "−", "*": "·"}
_GAP = '<mspace width="0.2em"></mspace>'
_SHAPES = {"_": "msub", "^": "msup"}
_OPERAND = ("<mi>", "<mn>", "<mtext>", "<msu", "<mfrac>", "<msqrt>", "<mrow>")


class Markup(str):
    """Text that is markup already, and needs no escaping in a page."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


def render_formula(*parts: str) -> Markup:
    """Set a formula on a line of its own."""
    return Markup(f'<math display="block"><mrow>{_render_parts(*parts)}</mrow></math>')


def render_symbol(*parts: str) -> Markup:
    """Set a symbol or a short formula within a line."""
    return Markup(f"<math><mrow>{_render_parts(*parts)}</mrow></math>")


def group_parts(*parts: str) -> Markup:
    """Put parts side by side, to go into another shape as one."""
    return Markup(f"<mrow>{_render_parts(*parts)}</mrow>")


def render_fraction(above: str, below: str) -> Markup:
    """Put one part over another."""
    return Markup(f"<mfrac>{_wrap_group(above)}{_wrap_group(below)}</mfrac>")


def render_root(*inside: str) -> Markup:
    """Take the square root."""
    return Markup(f"<msqrt>{_render_parts(*inside)}</msqrt>")


def render_parentheses(*inside: str) -> Markup:
    """Put brackets round a part, as tall as it is."""
    return Markup(f"<mrow><mo>(</mo>{_render_parts(*inside)}<mo>)</mo></mrow>")


def render_power(base: str, power: str) -> Markup:
    """Raise a whole part to a power."""
    return Markup(f"<msup>{_wrap_group(base)}{_wrap_group(power)}</msup>")


def render_sum(index: str, *what: str) -> Markup:
    """Add up over an index, written under the sign."""
    under = (
        f"<munder><mo>∑</mo>{_wrap_group(index)}</munder>" if index else "<mo>∑</mo>"
    )
    return Markup(f"<mrow>{under}{_render_parts(*what)}</mrow>")


def _wrap_group(part: str) -> str:
    return f"<mrow>{_render_parts(part)}</mrow>"


def _render_parts(*parts: str) -> str:
    return _join_with_gaps(
        [
            piece
            for part in parts
            for piece in ([part] if isinstance(part, Markup) else _render_tokens(part))
        ]
    )


def _render_tokens(text: str) -> list[str]:
    """Elements of a text, what is lowered or raised bound to what it stands at."""
    found: list[str] = []
    stack: list[list[str]] = [found]
    pending: list[tuple[int, str]] = []
    for token in _TOKEN.finditer(text):
        kind, body = str(token.lastgroup), token[str(token.lastgroup)]
        if kind == "space":
            continue
        if kind == "open":
            stack.append([])
            continue
        if kind == "shift":
            pending.append((len(stack), body))
            continue
        if kind == "close" and len(stack) > 1:
            inner = stack.pop()
            piece = f"<mrow>{_join_with_gaps(inner)}</mrow>"
        elif kind == "close":
            raise ValueError(f"{text!r}: a group is closed that was never opened")
        else:
            piece = _render_token(kind, body)
        here = stack[-1]
        if pending and pending[-1][0] == len(stack):
            _attach_script(here, pending.pop()[1], piece)
        else:
            here.append(piece)
    if len(stack) != 1 or pending:
        raise ValueError(f"{text!r}: a group is not closed, or nothing follows _ or ^")
    return found


def _render_token(kind: str, body: str) -> str:
    if kind == "number":
        return f"<mn>{body}</mn>"
    if kind == "name":
        return f"<mi>{body}</mi>"
    if kind == "text":
        body = body.replace(" ", "\N{NO-BREAK SPACE}")  # kept at its ends as well
        return f"<mtext>{escape(body)}</mtext>"
    return f"<mo{_FENCES.get(body, '')}>{escape(_SIGNS.get(body, body))}</mo>"


def _attach_script(here: list[str], shift: str, piece: str) -> None:
    """Lower or raise a piece at the last one, which may be lowered already."""
    base = here.pop()
    if shift == "^" and base.startswith("<msub>"):
        here.append(f"<msubsup>{base[6:-7]}{piece}</msubsup>")
    else:
        shape = _SHAPES[shift]
        here.append(f"<{shape}>{base}{piece}</{shape}>")


def _join_with_gaps(pieces: list[str]) -> str:
    """Put a little room between things multiplied with each other."""
    out: list[str] = []
    for piece in pieces:
        if out and piece.startswith(_OPERAND) and out[-1].startswith(_OPERAND):
            out.append(_GAP)
        out.append(piece)
    return "".join(out)
