"""What the page shows of a computation: words, formulas, sources, worked examples.

An example's figures are computed when it is asked for, by the functions of the engine
that the evaluation calls. Beside each result may stand what comes out by hand, from
the same inputs and plain arithmetic, and what was published.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from checks.engine.sources import Provenance
from checks.methods.mathml import Markup
from core.units import MM_PER_UNIT

MINUS = "\N{MINUS SIGN}"
NO_BREAK_SPACE = "\N{NO-BREAK SPACE}"
FOOT_MM = float(MM_PER_UNIT["ft"])
INCH_MM = float(MM_PER_UNIT["in"])


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleValue:
    """A part of a sentence or a figure by itself: a length in mm, or text.

    Attributes
    ----------
    text : as it is written; empty for a length, which the page writes.
    mm : a length, to be written as the reader likes it. [mm]
    fine : whether the length is written in decimals, finer than a tape is read.
    signed : whether a length carries its plus sign.
    value : the number itself, NaN where there is none. [as written]
    verdict : the verdict to show by shape and word, empty for anything else.
    """

    text: str = ""
    mm: float | None = None
    fine: bool = False
    signed: bool = False
    value: float = math.nan
    verdict: str = ""


ExampleText = tuple[ExampleValue, ...]


def show_length(mm: float, *, signed: bool = False) -> ExampleValue:
    """Give a length that a tape or rod could read. [mm]"""
    return ExampleValue(mm=float(mm), value=float(mm), signed=signed)


def show_fine_length(mm: float, *, signed: bool = False) -> ExampleValue:
    """Give a length finer than a tape is read. [mm]"""
    return ExampleValue(mm=float(mm), value=float(mm), fine=True, signed=signed)


def show_quantity(
    value: float, unit: str = "", digits: int = 2, *, signed: bool = False
) -> ExampleValue:
    """Give a number in the unit its source has it in."""
    shown = f"{float(value):{'+' if signed else ''}z,.{digits}f}".replace("-", MINUS)
    return ExampleValue(
        text=f"{shown}{NO_BREAK_SPACE}{unit}" if unit else shown, value=float(value)
    )


def show_text(text: str) -> ExampleValue:
    """Give an answer that is no number."""
    return ExampleValue(text=text)


def show_verdict(value: str) -> ExampleValue:
    """Give a verdict, shown by shape and word."""
    return ExampleValue(verdict=value)


def show_conformity(conforms: bool | np.bool_) -> ExampleValue:
    """Give the verdict on something that keeps its limit, or does not."""
    return show_verdict("within" if conforms else "outside")


def show_yes_no(answer: bool | np.bool_) -> ExampleValue:
    """Answer a question."""
    return show_text("yes" if answer else "no")


def write_text(*parts: str | ExampleValue) -> ExampleText:
    """Put a sentence together."""
    return tuple(ExampleValue(text=p) if isinstance(p, str) else p for p in parts)


@dataclass(frozen=True, slots=True)
class MethodSource:
    """Where a rule, a formula or a figure is from, and how it is known."""

    text: str
    provenance: Provenance


@dataclass(frozen=True, slots=True)
class Symbol:
    """A letter of a formula; `unit` is empty for a plain number."""

    sign: Markup
    meaning: str
    unit: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleInput:
    """One input of an example."""

    label: str
    text: ExampleText


@dataclass(frozen=True, slots=True)
class ExampleResult:
    """One figure of an example, computed, with what it can be held against.

    Attributes
    ----------
    computed : as the engine has it.
    by_hand : from the same inputs by plain arithmetic.
    published : as its source prints it.
    leaves_out : share of the figure that the way by hand leaves out.
    """

    label: str
    computed: ExampleValue
    by_hand: ExampleValue | None = None
    published: ExampleValue | None = None
    hand_tolerance: float = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """A worked example.

    Attributes
    ----------
    title : what it is about.
    source : of the published one; None where it is invented.
    steps : the way by hand, figure by figure.
    """

    title: str
    inputs: tuple[ExampleInput, ...]
    steps: tuple[ExampleText, ...]
    results: tuple[ExampleResult, ...]
    source: MethodSource | None = None

    @property
    def has_hand_results(self) -> bool:
        """Whether a result can be followed by hand to its last figure."""
        return any(result.by_hand is not None for result in self.results)

    @property
    def has_published_results(self) -> bool:
        """Whether a result was published."""
        return any(result.published is not None for result in self.results)


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodDescription:
    """One computation.

    Attributes
    ----------
    slug : its address; it stays when the name is bettered.
    answers : what it answers, in one sentence.
    engine : the rooms of `checks.engine` it is worked out in.
    limits : where it stops being right, or is not meant for.
    examples : functions that work an example when they are asked to.
    """

    slug: str
    name: str
    summary: str
    engine: tuple[str, ...]
    formulas: tuple[Markup, ...]
    symbols: tuple[Symbol, ...]
    sources: tuple[MethodSource, ...]
    limits: tuple[str, ...]
    examples: tuple[Callable[[], Example], ...]
    cautions: tuple[str, ...] = ()

    @property
    def worked_examples(self) -> tuple[Example, ...]:
        """Its examples, worked when first asked for."""
        return _compute_examples(self.examples)


@cache
def _compute_examples(
    examples: tuple[Callable[[], Example], ...],
) -> tuple[Example, ...]:
    """Work examples once: their inputs never change."""
    return tuple(work() for work in examples)


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodFamily:
    """Computations that belong together."""

    slug: str
    name: str
    methods: tuple[MethodDescription, ...]


def describe_input(label: str, *parts: str | ExampleValue) -> ExampleInput:
    """Name one input of an example."""
    return ExampleInput(label=label, text=write_text(*parts))
