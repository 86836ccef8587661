"""Fields of the guided page for a rectangular building."""

from django import forms

from core.units import LengthUnit

UNIT_CHOICES: list[tuple[LengthUnit, str]] = [
    ("ft", "feet"),
    ("in", "inches"),
    ("m", "metres"),
    ("cm", "centimetres"),
    ("mm", "millimetres"),
]
BASIS_LABELS = {
    "metal-building-practice": "metal building practice",
    "aisc-303-2010": "AISC 303-10",
    "aisc-303-2016": "AISC 303-16 and 303-22",
    "aci-117-2010": "ACI 117-10",
    "en-1090-2-2008": "EN 1090-2:2008",
}
PATTERN_LABELS = {
    "frame": "Frame columns",
    "endwall": "Endwall columns",
    "corner": "Corner columns",
}
PATTERN_LENGTHS = {  # name: label, example, help text
    "gage": ("Gage along the wall", '5"', "Between the two rods of a row"),
    "first_row": ("Steel line to first row", '7"', ""),
    "row_spacing": ("Row to row", '5"', ""),
    "rod": ("Rod diameter", '7/8"', ""),
    "hole": ("Hole in the plate", '1 1/16"', "From the plate drawing"),
    "projection": ("Projection", '3 1/2"', "Above the bearing surface"),
    "thickness": ("Plate thickness", '5/8"', ""),
    "edge": ("Hole to plate edge", '1 1/2"', "From the centre of the hole"),
}
OPTIONAL_LENGTHS = ("projection", "thickness", "edge")


def make_text_field(
    label: str,
    example: str,
    help_text: str = "",
    *,
    max_length: int = 60,
    required: bool = True,
) -> forms.CharField:
    """Make a text field with an example as its placeholder."""
    return forms.CharField(
        label=label,
        help_text=help_text,
        max_length=max_length,
        required=required,
        error_messages={"required": "This field is required."},
        widget=forms.TextInput(
            {"placeholder": f"e.g. {example}", "autocomplete": "off"}
        ),
    )


def make_pattern_fields(pattern: str) -> dict[str, forms.Field]:
    """Make the fields of one rod pattern, named `frame_gage` and so on."""
    lengths = {
        f"{pattern}_{name}": make_text_field(
            label, example, explanation, required=False
        )
        for name, (label, example, explanation) in PATTERN_LENGTHS.items()
    }
    return lengths | {
        f"{pattern}_rows": forms.IntegerField(
            label="Rows of two rods",
            min_value=1,
            max_value=10,
            initial=2,
            required=False,
            widget=forms.NumberInput({"inputmode": "numeric"}),
        ),
        f"{pattern}_reference": forms.ChoiceField(
            label="Reference line",
            choices=[("centreline", "centreline"), ("web", "web")],
            required=False,
        ),
    }
