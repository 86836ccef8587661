"""Guided form for a rectangular building."""

import re
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from django import forms

from core.quantities import parse_strength
from core.units import LengthUnit, UnitError
from core.vocabulary import SteelState
from jobs.anchor_plan.rectangle import (
    PatternSpec,
    RectangleError,
    RectangleSpec,
    build_rectangle_document,
)
from jobs.anchor_plan.values import Plan
from jobs.exchange.input.parser import parse_building
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.exchange.vocabulary import MAX_NAME_LENGTH, TOLERANCE_BASES
from jobs.plans.plan_preview import PlanPreview, build_preview
from jobs.plans.rectangle_fields import (
    BASIS_LABELS,
    OPTIONAL_LENGTHS,
    PATTERN_LABELS,
    PATTERN_LENGTHS,
    UNIT_CHOICES,
    make_pattern_fields,
    make_text_field,
)

BARE_NUMBER = re.compile(
    r"(?P<number>[-+]?(?:(?:[0-9]+ +)?[0-9]+/[0-9]+|[0-9]+(?:\.[0-9]+)?|\.[0-9]+))"
    r"(?P<end>\s*)"
)
# Stands in for a pattern that is not complete yet; its rods are not drawn.
PLACEHOLDER_PATTERN = PatternSpec(
    gage="100 mm", first_row="100 mm", row_spacing="100 mm", rod="20 mm", hole="22 mm"
)
NOTCH_FIELDS = ("notch_width", "notch_depth")  # both or neither
FIELD_BY_POINTER = {  # fields that show the errors of the document
    "/name": "name",
    "/concrete/specified_strength": "strength",
    "/tolerances/basis": "basis",
    "/notch/width": "notch_width",
    "/notch/depth": "notch_depth",
}


@dataclass(frozen=True, slots=True)
class GroupField:
    """A field, and whether its label says "optional".

    The fields of a rod pattern are required as soon as the pattern is used, which
    Django's `required` cannot express.
    """

    bound: forms.BoundField
    optional: bool


@dataclass(frozen=True, slots=True)
class FieldGroup:
    """Fields shown together on the page.

    A collapsible group is closed until something is in it.
    """

    title: str
    fields: tuple["GroupField", ...]
    help: str = ""
    collapsible: bool = False
    is_open: bool = True


class RectangleForm(forms.Form):
    """The guided page; `document` is the exchange document to be saved."""

    name = forms.CharField(label="Building name", max_length=MAX_NAME_LENGTH)
    length_unit = forms.ChoiceField(
        label="Numbers without a unit are in", choices=UNIT_CHOICES, initial="ft"
    )
    width = make_text_field("Width", "50'", "Steel line, along the endwalls")
    length = make_text_field("Length", "95'", "Steel line, along the sidewalls")
    bays = make_text_field(
        "Bays", "20', 3 @ 25'", "From one end to the other", max_length=400
    )
    endwall_spacing = make_text_field(
        "Spaces between endwall columns",
        "15', 20', 15'",
        "Corner to corner across the width",
        max_length=400,
        required=False,
    )
    corner_inset = make_text_field("Endwall to reference line", '6"', required=False)
    notch_width = make_text_field("Notch width", '1 1/2"', required=False)
    notch_depth = make_text_field("Notch depth", '1 1/2"', required=False)
    strength = make_text_field("Specified strength", "3000 psi", required=False)
    basis = forms.ChoiceField(
        label="Tolerance basis",
        choices=[(name, BASIS_LABELS[name]) for name in TOLERANCE_BASES],
        initial=TOLERANCE_BASES[0],
    )
    steel = forms.ChoiceField(
        label="Steel",
        choices=SteelState.choices(),
        initial=SteelState.FABRICATED.value,
        required=False,
        help_text="How far it is: the cheapest remedy depends on it",
    )
    note = forms.CharField(
        max_length=200,
        required=False,
        help_text="For example the drawing it was taken from",
    )

    document: dict[str, Any] | None = None
    plan: Plan | None = None
    placement_fields: ClassVar = {
        "endwall": "endwall_spacing",
        "corner": "corner_inset",
    }

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for pattern in PATTERN_LABELS:
            self.fields |= make_pattern_fields(pattern)

    def clean_strength(self) -> str:
        """Validate the strength on its own, whatever else is wrong."""
        text = str(self.cleaned_data["strength"]).strip()
        try:
            if text and parse_strength(text) <= 0:
                raise forms.ValidationError("Enter a strength greater than zero.")
        except UnitError as error:
            raise forms.ValidationError(str(error)) from None
        return text

    def clean(self) -> dict[str, Any]:
        """Build the document; each error goes to its field."""
        data = super().clean() or {}
        for name in self._missing_fields():
            self.add_error(name, "This field is required.")
        try:
            document = build_rectangle_document(self._rectangle_spec())
            self.plan = parse_building(document).plan
        except RectangleError as error:
            for issue in error.issues:
                self._add_issue(issue.field.replace(".", "_"), issue.message)
        except DocumentError as error:
            for document_issue in error.issues:
                self._add_issue(*_locate_issue(document_issue))
        else:
            if steel := data.get("steel"):
                document["steel"] = steel
            self.document = document
        return data

    def to_document(self) -> dict[str, Any]:
        """Return the document; a valid form has one."""
        return self.document or {}

    def clear_blank_errors(self) -> None:
        """Remove the errors of fields that are still blank."""
        for name in list(self.errors):
            if name in self.fields and not self._entered_text(name):
                del self.errors[name]

    def missing_labels(self) -> list[str]:
        """List the labels of required fields that are still blank."""
        if not self.is_bound:
            return []
        required = [
            name
            for name, field in self.fields.items()
            if field.required and not self._entered_text(name)
        ]
        return [
            self._lower_label(name)
            if name in self.base_fields
            else f"{self._lower_label(name)} ({name.partition('_')[0]})"
            for name in [
                *required,
                *self._missing_fields(),
                *self._missing_notch_fields(),
            ]
        ]

    def build_preview(self) -> PlanPreview | None:
        """Preview the building as far as it is entered; counts only when complete."""
        if not self.is_bound:
            return None
        if self.plan is not None:
            return build_preview(self.plan)
        try:
            plan = parse_building(build_rectangle_document(self._preview_spec())).plan
        except (RectangleError, DocumentError):
            return None
        preview = build_preview(plan)
        # Positions whose pattern has errors show their place, but no rods: those would
        # be the placeholder's.
        drawing = replace(
            preview.drawing,
            positions=tuple(
                each
                if not self._has_issues(plan_position.detail)
                else replace(each, rods=(), plate="")
                for each, plan_position in zip(
                    preview.drawing.positions, plan.positions, strict=True
                )
            ),
        )
        details = tuple(
            each
            for name, each in zip(plan.details, preview.details, strict=True)
            if not self._has_issues(name)
        )
        return replace(
            preview,
            drawing=drawing,
            details=details,
            check_counts=(),
            sparse_details=(),
            # Of placeholders there is nothing to warn of.
            warnings=(),
        )

    @property
    def groups(self) -> list[FieldGroup]:
        """The fields in groups, in page order."""
        outline = ("name", "length_unit", "width", "length", "bays")
        concrete = ("notch_width", "notch_depth", "strength")
        return [
            FieldGroup("Outline", self._group_fields(outline)),
            FieldGroup(PATTERN_LABELS["frame"], self._pattern_fields("frame")),
            *(
                FieldGroup(
                    PATTERN_LABELS[name],
                    (GroupField(self[place], False), *self._pattern_fields(name)),
                    help="optional",
                    collapsible=True,
                    is_open=self._is_used(name),
                )
                for name, place in self.placement_fields.items()
            ),
            FieldGroup("Concrete", self._group_fields(concrete)),
            FieldGroup("Record", self._group_fields(("basis", "steel", "note"))),
        ]

    def _group_fields(self, names: tuple[str, ...]) -> tuple[GroupField, ...]:
        return tuple(
            GroupField(self[name], not self.fields[name].required) for name in names
        )

    def _pattern_fields(self, pattern: str) -> tuple[GroupField, ...]:
        optional = {f"{pattern}_{name}" for name in OPTIONAL_LENGTHS}
        return tuple(
            GroupField(self[name], name in optional)
            for name in make_pattern_fields(pattern)
        )

    def _entered_text(self, name: str) -> str:
        return str(self.data.get(name, "")).strip()

    def _is_used(self, pattern: str) -> bool:
        """Return True for the frame's pattern, and others once something is in them."""
        begun = [f"{pattern}_{name}" for name in PATTERN_LENGTHS]
        return pattern == "frame" or any(
            map(self._entered_text, [*begun, self.placement_fields[pattern]])
        )

    def _missing_fields(self) -> list[str]:
        needed = []
        for pattern in filter(self._is_used, PATTERN_LABELS):
            needed += [
                f"{pattern}_{name}"
                for name in PATTERN_LENGTHS
                if name not in OPTIONAL_LENGTHS
            ]
            if pattern in self.placement_fields:
                needed.append(self.placement_fields[pattern])
        return [name for name in needed if not self._entered_text(name)]

    def _missing_notch_fields(self) -> list[str]:
        """Return the missing field where only one of a notch's two lengths is given."""
        blank = [name for name in NOTCH_FIELDS if not self._entered_text(name)]
        return blank if len(blank) == 1 else []

    def _add_issue(self, field: str | None, message: str) -> None:
        if field not in self.fields:
            self.add_error(None, message)
        elif field not in self.errors:
            self.add_error(field, message)

    def _has_issues(self, pattern: str) -> bool:
        """Return True if a pattern cannot be drawn as entered."""
        wrong = {*self.errors, *self._missing_fields()}
        return not wrong.isdisjoint(make_pattern_fields(pattern))

    def _length_text(self, name: str) -> str | None:
        """Return the entered text, with the form's unit added to bare numbers."""
        text = self._entered_text(name)
        return append_unit(text, self._length_unit()) if text else None

    def _lower_label(self, name: str) -> str:
        return str(self.fields[name].label).lower()

    def _length_unit(self) -> LengthUnit:
        typed = self._entered_text("length_unit")
        return next((unit for unit, _ in UNIT_CHOICES if unit == typed), "ft")

    def _pattern_spec(self, pattern: str) -> PatternSpec:
        data = self.cleaned_data
        lengths: dict[str, Any] = {
            name: self._length_text(f"{pattern}_{name}") for name in PATTERN_LENGTHS
        }
        for name in set(PATTERN_LENGTHS) - set(OPTIONAL_LENGTHS):
            lengths[name] = lengths[name] or ""
        return PatternSpec(
            **lengths,
            rows=data.get(f"{pattern}_rows") or 2,
            reference=data.get(f"{pattern}_reference") or "centreline",
        )

    def _rectangle_spec(self) -> RectangleSpec:
        """Build the specification for `jobs.anchor_plan.rectangle`."""
        used = {name: self._is_used(name) for name in PATTERN_LABELS}
        return RectangleSpec(
            name=self.cleaned_data.get("name") or "Building",
            length_unit=self._length_unit(),
            width=self._length_text("width") or "",
            length=self._length_text("length") or "",
            bays=self._length_text("bays") or "",
            frame=self._pattern_spec("frame"),
            endwall_spacing=(self._length_text("endwall_spacing") or "")
            if used["endwall"]
            else None,
            endwall=self._pattern_spec("endwall") if used["endwall"] else None,
            corner_inset=(self._length_text("corner_inset") or "")
            if used["corner"]
            else None,
            corner=self._pattern_spec("corner") if used["corner"] else None,
            notch_width=self._length_text("notch_width"),
            notch_depth=self._length_text("notch_depth"),
            specified_strength=self._entered_text("strength") or None,
            basis=self.cleaned_data.get("basis") or TOLERANCE_BASES[0],
        )

    def _preview_spec(self) -> RectangleSpec:
        """Build a specification of what is entered, with placeholders for the rest."""
        spec = self._rectangle_spec()
        changes: dict[str, Any] = {"specified_strength": None}
        if "bays" in self.errors or not spec.bays:
            changes["bays"] = [spec.length]
        if self._missing_notch_fields() or not self.errors.keys().isdisjoint(
            NOTCH_FIELDS
        ):
            changes |= {"notch_width": None, "notch_depth": None}
        for pattern in PATTERN_LABELS:
            if getattr(spec, pattern) is not None and self._has_issues(pattern):
                changes[pattern] = PLACEHOLDER_PATTERN
        for pattern, place in self.placement_fields.items():
            if place in self.errors:
                changes |= {pattern: None, place: None}
        return replace(spec, **changes)


def append_unit(text: str, unit: str) -> str:
    """Add the unit to every bare number, between commas or after @."""
    # A number before "@" is a count ("3 @ 25'"), which has no unit.
    parts = re.split(r"([,;\n@]\s*)", text)
    counted = [
        following is not None and following.startswith("@")
        for following in [*parts[1:], None]
    ]
    return "".join(
        f"{found['number']} {unit}{found['end']}"
        if (found := BARE_NUMBER.fullmatch(part)) and not is_count
        else part
        for part, is_count in zip(parts, counted, strict=True)
    )


def _locate_issue(refusal: DocumentIssue) -> tuple[str | None, str]:
    if field := FIELD_BY_POINTER.get(refusal.pointer):
        return field, refusal.message
    return None, f"{refusal.pointer}: {refusal.message}"
