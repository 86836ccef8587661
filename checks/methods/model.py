"""The description of a computation: text, formulas, sources and worked examples.

The figures of an example are computed on demand, by the functions of the engine that
the evaluation calls. Beside each result may stand the same figure computed by hand,
from the same inputs and plain arithmetic, and the published figure.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

from checks.engine.sources import Provenance
from checks.methods.mathml import Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleValue:
    """A figure, or a part of a sentence: a length in mm, a verdict, or text.

    Attributes
    ----------
    text : as written; empty for a length, which the page formats.
    mm : a length, to be shown in the reader's units. [mm]
    fine : whether the length is shown in decimals, finer than a tape is read.
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


@dataclass(frozen=True, slots=True)
class MethodSource:
    """The source of a rule, a formula or a figure, with its provenance."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class ExampleResult:
    """One computed figure of an example, with what it can be compared to.

    Attributes
    ----------
    computed : by the engine.
    by_hand : from the same inputs by plain arithmetic.
    published : as printed in the source of the example.
    hand_tolerance : largest relative difference of the figure by hand, where that
        leaves a small term out.
    """

    label: str
    computed: ExampleValue
    by_hand: ExampleValue | None = None
    published: ExampleValue | None = None
    hand_tolerance: float = 1e-9


@dataclass(frozen=True, slots=True, kw_only=True)
class Calculation:
    """The figures of an example; `steps` show the computation by hand."""

    inputs: tuple[ExampleInput, ...]
    steps: tuple[ExampleText, ...]
    results: tuple[ExampleResult, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Example:
    """A worked example; `source` is None where it is invented."""

    title: str
    source: MethodSource | None
    calculate: Callable[[], Calculation]

    @property
    def inputs(self) -> tuple[ExampleInput, ...]:
        """The inputs."""
        return _calculate_once(self.calculate).inputs

    @property
    def steps(self) -> tuple[ExampleText, ...]:
        """The computation by hand, step by step."""
        return _calculate_once(self.calculate).steps

    @property
    def results(self) -> tuple[ExampleResult, ...]:
        """The computed figures."""
        return _calculate_once(self.calculate).results

    @property
    def has_hand_results(self) -> bool:
        """True where a result can be followed by hand to its last figure."""
        return any(result.by_hand is not None for result in self.results)

    @property
    def has_published_results(self) -> bool:
        """True where a result was published."""
        return any(result.published is not None for result in self.results)


# A page of methods shows every example: computing them takes longer than the page.
@cache
def _calculate_once(calculate: Callable[[], Calculation]) -> Calculation:
    """Calculate an example on first use: its inputs never change."""
    return calculate()


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodDescription:
    """One computation.

    Attributes
    ----------
    slug : its address; it stays when the name changes.
    summary : the question it answers, in one sentence.
    modules : the modules of `checks.engine` that compute it, without that prefix.
    limits : limits of use.
    remedies : the remedies whose arithmetic it is.
    """

    slug: str
    name: str
    summary: str
    modules: tuple[str, ...]
    formulas: tuple[Markup, ...]
    symbols: tuple[Symbol, ...]
    sources: tuple[MethodSource, ...]
    limits: tuple[str, ...]
    examples: tuple[Example, ...]
    cautions: tuple[str, ...] = ()
    remedies: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MethodFamily:
    """Computations on one topic."""

    slug: str
    name: str
    methods: tuple[MethodDescription, ...]
