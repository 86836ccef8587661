"""The reading that lowers the chance of a wrong conclusion most."""

from math import erf, sqrt

from checks.engine.next_reading import wrong_probability, wrong_probability_after
from checks.methods.example_values import (
    INCH_MM,
    build_result,
    describe_input,
    write_text,
)
from checks.methods.model import Calculation

LIMIT_MM, DEVIATION_MM, UNCERTAINTY_MM = INCH_MM / 8.0, 3.0 * INCH_MM / 32.0, 1.2


def calculate_next_reading() -> Calculation:
    """Compare a reading with another tape with one more of the same tape."""
    margin, handling = LIMIT_MM - DEVIATION_MM, 0.7
    # Another tape of the class is as good as the first: half of u**2 goes. The same
    # tape halves only what belongs to the single reading.
    other, same = UNCERTAINTY_MM / sqrt(2.0), handling / sqrt(2.0)
    now = wrong_probability(margin, UNCERTAINTY_MM)
    after_other = wrong_probability_after(margin, UNCERTAINTY_MM, other)
    after_same = wrong_probability_after(margin, UNCERTAINTY_MM, same)
    by_hand = (1.0 - erf(margin / UNCERTAINTY_MM / sqrt(2.0))) / 2.0
    return Calculation(
        inputs=(
            describe_input("Distance from the limit", "{:fine}", margin),
            describe_input("Standard uncertainty", "{:fine}", UNCERTAINTY_MM),
            describe_input("Of it, of the single reading", "{:fine}", handling),
        ),
        steps=(
            write_text(
                "Now: Φ(−{:fine} ÷ {:fine}) = {:3}.", margin, UNCERTAINTY_MM, by_hand
            ),
            write_text(
                "Another tape as good: d² = u² ÷ 2, and 2 T(h, 1) = Φ(h) Φ(−h) ="
                " {:3} × {:3} = {:3}.",
                1.0 - by_hand,
                by_hand,
                (1.0 - by_hand) * by_hand,
            ),
            write_text(
                "The same tape: d² is half of {:fine} squared, by Owen's T.", handling
            ),
        ),
        results=(
            build_result("Chance of a wrong verdict now", "3", now, by_hand),
            build_result(
                "After another tape", "3", after_other, by_hand * (1.0 - by_hand)
            ),
            build_result("After the same tape again", "3", after_same),
        ),
    )
