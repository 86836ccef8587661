"""What a result says of the concrete, as a JSON Schema."""

from jobs.exchange.schema.result_parts import (
    Schema,
    count,
    flag,
    list_of,
    number,
    object_of,
    ref,
    ref_or_null,
    text,
    text_or_null,
    texts,
)


def definitions() -> Schema:
    """Return the definitions of `concrete` and of what stands in it."""
    return {"concrete": _gate(), **_acceptance(), **_forecast()}


def _gate() -> Schema:
    return object_of(
        {
            "ratio": number("Of the specified strength."),
            "verdict": ref("verdict"),
            "strength": number("Of the latest samples [MPa]."),
            "required": number("For the gate to open [MPa]."),
            "route": text_or_null("Which of the two rules it is judged by."),
            "samples": texts("The checks it rests on."),
            "reason": text_or_null("Why it is not judged, or to be looked at again."),
            "acceptance": ref_or_null("acceptance"),
            "forecast": ref_or_null("strength_forecast"),
        },
        ("verdict",),
    )


def _acceptance() -> Schema:
    return {
        "acceptance": object_of(
            {
                "accepted": flag("Whether the concrete as delivered is accepted."),
                "specified": number("The specified strength [MPa]."),
                "lowest_allowed": number("Of a single test [MPa]."),
                "tests": list_of("strength_test", "In the order made."),
                "averages": list_of("strength_average", "Of three, running."),
                "note": text("What it does not say."),
                "source": text("The rule, and how it was seen."),
            },
            ("accepted", "lowest_allowed", "tests", "averages", "note", "source"),
        ),
        "strength_test": object_of(
            {
                "test": count("Its number in the order made.", 1),
                "strength": number("Its strength [MPa]."),
                "low": flag("Whether it is below what a single test may be."),
            },
            ("test", "strength", "low"),
        ),
        "strength_average": object_of(
            {
                "tests": {
                    "type": "array",
                    "items": count("A test.", 1),
                    "description": "The three tests.",
                },
                "strength": number("Their average [MPa]."),
                "low": flag("Whether it is below the specified strength."),
            },
            ("tests", "strength", "low"),
        ),
    }


def _forecast() -> Schema:
    return {
        "strength_forecast": object_of(
            {
                "method": {"enum": ["nurse_saul", "equivalent_age"]},
                "unit": text("Of the maturities: degC h or h."),
                "required": number("The strength the forecast is for [MPa]."),
                "strength_now": number("By the curve, within its cylinders [MPa]."),
                "maturity_now": number("Of the concrete in place."),
                "maturity_needed": number("At which the strength is expected."),
                "elapsed_hours": number("Since placing, by the temperatures given."),
                "likely_hours": number(
                    "From then on; 0 where it may be there already."
                ),
                "earliest_hours": number("From then on."),
                "latest_hours": number("From then on."),
                "confidence": number("Of the range, two-sided."),
                "opens_on": _opens_on(),
                "remarks": texts("What is not known, and why."),
                "note": text("What it does not do."),
                "sources": texts("The methods, and how they were seen."),
            },
            (
                "maturity_now",
                "maturity_needed",
                "likely_hours",
                "earliest_hours",
                "latest_hours",
                "opens_on",
                "note",
                "sources",
            ),
        )
    }


def _opens_on() -> Schema:
    date = {
        "type": ["string", "null"],
        "format": "date",
        "description": "Null where it is not reached or cannot be told.",
    }
    return {
        "anyOf": [
            object_of(
                {"likely": date, "earliest": date, "latest": date},
                ("likely", "earliest", "latest"),
            ),
            {"type": "null"},
        ],
        "description": "Days, where the day of placing is known.",
    }
