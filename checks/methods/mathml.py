r"""Formulas written as text, set as MathML, which browsers show without a script.

A formula is text with a few signs, and the few shapes that text has no sign for::

    render_formula(r"u = \frac{a + b L}{\sqrt{3}}")

`_` and `^` lower and raise the next word, number or `{group}`; a word in quotes is
upright text; `\paren{...}` is a pair of parentheses as tall as what they hold. Two
things side by side are multiplied, as on paper.
"""

import re
from collections.abc import Iterator
from html import escape

_TOKEN = re.compile(
    r'\s+|"(?P<text>[^"]*)"|(?P<number>\d+(?:\.\d+)?)|\\(?P<shape>[a-z]+)'
    r"|(?P<name>[^\W\d_]+′?)|(?P<open>\{)|(?P<close>\})|(?P<script>[_^])|(?P<sign>.)"
)
# Browsers stretch fences and space them as operators unless told otherwise.
_FENCES = {
    "|": ' stretchy="false" lspace="0" rspace="0"',
    "(": ' stretchy="false"',
    ")": ' stretchy="false"',
}
_SIGNS = {"-": "−", "*": "·"}
_GAP = '<mspace width="0.2em"></mspace>'
_SCRIPTS = {"_": "msub", "^": "msup"}
_SHAPES = {
    "frac": "<mfrac>{}{}</mfrac>",
    "sqrt": "<msqrt>{}</msqrt>",
    "paren": "<mrow><mo>(</mo>{}<mo>)</mo></mrow>",
}
# Elements that are factors: a gap between two of them is a multiplication.
_OPERAND = ("<mi>", "<mn>", "<mtext>", "<msu", "<mfrac>", "<msqrt>", "<mrow>")

Tokens = Iterator[tuple[str, str]]


class Markup(str):
    """Text that is markup already, and needs no escaping in a page."""

    __slots__ = ()

    def __html__(self) -> str:
        return str(self)


def render_formula(text: str) -> Markup:
    """Set a formula on a line of its own."""
    return Markup(f'<math display="block">{_render(text)}</math>')


def render_symbol(text: str) -> Markup:
    """Set a symbol or a short formula within a line."""
    return Markup(f"<math>{_render(text)}</math>")


def _render(text: str) -> str:
    tokens = (
        (token.lastgroup, token[token.lastgroup])
        for token in _TOKEN.finditer(text)
        if token.lastgroup is not None
    )
    try:
        return _render_group(tokens, closing=False)
    except (ValueError, KeyError) as error:
        msg = f"{text!r}: {error}"
        raise ValueError(msg) from error


def _render_group(tokens: Tokens, *, closing: bool) -> str:
    """Render elements up to the closing brace, or to the end of the formula."""
    elements: list[str] = []
    for kind, body in tokens:
        if kind == "close":
            if closing:
                return f"<mrow>{_join_with_gaps(elements)}</mrow>"
            raise ValueError("a group is closed that was never opened")
        if kind == "script":
            if not elements:
                raise ValueError(f"a group is missing before {body}")
            script = _render_element(*_next_token(tokens), tokens)
            elements.append(_attach_script(elements.pop(), body, script))
        else:
            elements.append(_render_element(kind, body, tokens))
    if closing:
        raise ValueError("a group is not closed")
    return f"<mrow>{_join_with_gaps(elements)}</mrow>"


def _next_token(tokens: Tokens) -> tuple[str, str]:
    token = next(tokens, None)
    if token is None:
        raise ValueError("a group is missing after _, ^ or a shape")
    return token


def _render_element(kind: str, body: str, tokens: Tokens) -> str:
    if kind == "number":
        return f"<mn>{body}</mn>"
    if kind == "name":
        return f"<mi>{body}</mi>"
    if kind == "text":
        body = body.replace(" ", "\N{NO-BREAK SPACE}")  # kept at its ends as well
        return f"<mtext>{escape(body)}</mtext>"
    if kind == "open":
        return _render_group(tokens, closing=True)
    if kind == "shape":
        shape = _SHAPES[body]
        arguments = [
            _render_element(*_next_token(tokens), tokens)
            for _ in range(shape.count("{}"))
        ]
        return shape.format(*arguments)
    return f"<mo{_FENCES.get(body, '')}>{escape(_SIGNS.get(body, body))}</mo>"


def _attach_script(base: str, script: str, element: str) -> str:
    """Lower or raise an element at its base, which may be lowered already."""
    # MathML has one element for both scripts: nested ones would be set apart.
    if script == "^" and base.startswith("<msub>"):
        return f"<msubsup>{base[6:-7]}{element}</msubsup>"
    shape = _SCRIPTS[script]
    return f"<{shape}>{base}{element}</{shape}>"


def _join_with_gaps(elements: list[str]) -> str:
    """Join elements, with a little room between factors."""
    out: list[str] = []
    for element in elements:
        if out and element.startswith(_OPERAND) and out[-1].startswith(_OPERAND):
            out.append(_GAP)
        out.append(element)
    return "".join(out)
