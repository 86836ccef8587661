"""A rectangular building described on one page, read field by field."""

import re
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from django import forms

from core.quantities import parse_strength
from core.units import LengthUnit, UnitError
from jobs.exchange.parse import DocumentError, Refusal, read_building
from jobs.exchange.vocabulary import BASES, LONGEST_NAME
from jobs.plan.rectangle import (
    PatternSpec,
    RectangleError,
    RectangleSpec,
    rectangle_document,
)
from jobs.previews import Preview, preview_of
from jobs.rectangle_fields import (
    BASIS_NAMES,
    MAY_BE_LEFT_OUT,
    PATTERN_LENGTHS,
    PATTERNS,
    UNITS,
    pattern_fields,
    typed,
)

BARE = re.compile(
    r"(?P<number>[-+]?(?:(?:[0-9]+ +)?[0-9]+/[0-9]+|[0-9]+(?:\.[0-9]+)?|\.[0-9]+))"
    r"(?P<end>\s*)"
)
STAND_IN = PatternSpec(  # while a pattern is not typed yet; its rods are not drawn
    gage="100 mm", first_row="100 mm", row_spacing="100 mm", rod="20 mm", hole="22 mm"
)
NOTCH = ("notch_width", "notch_depth")  # both, or none
PLACES = {  # where the document's refusals belong on the page
    "/name": "name",
    "/concrete/specified_strength": "strength",
    "/tolerances/basis": "basis",
    "/notch/width": "notch_width",
    "/notch/depth": "notch_depth",
}


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that stand together on the page.

    `needed` hides "may be left out"; one that may fold is closed until it is begun.
    """

    title: str
    fields: tuple[forms.BoundField, ...]
    help: str = ""
    needed: bool = False
    may_fold: bool = False
    begun: bool = True


class RectangleForm(forms.Form):
    """Everything on the guided page; `document` is what would be stored."""

    name = forms.CharField(label="Name of the building", max_length=LONGEST_NAME)
    length_unit = forms.ChoiceField(
        label="A number alone is in", choices=UNITS, initial="ft"
    )
    width = typed("Width", "50'", "Of the steel line, along the endwalls.")
    length = typed("Length", "95'", "Of the steel line, along the sidewalls.")
    bays = typed("Bays", "20', 3 @ 25'", "From one end to the other.", longest=400)
    endwall_spacing = typed(
        "Spaces between endwall columns",
        "15', 20', 15'",
        "Corner to corner across the width.",
        longest=400,
        required=False,
    )
    corner_inset = typed("Endwall to the reference line", '6"', required=False)
    notch_width = typed("Notch width", '1 1/2"', required=False)
    notch_depth = typed("Notch depth", '1 1/2"', required=False)
    strength = typed("Specified strength", "3000 psi", required=False)
    basis = forms.ChoiceField(
        label="Tolerance basis",
        choices=[(name, BASIS_NAMES[name]) for name in BASES],
        initial=BASES[0],
    )
    note = forms.CharField(
        max_length=200, required=False, help_text="Which drawing this was taken from."
    )

    document: dict[str, Any] | None = None
    needs: ClassVar = {"endwall": "endwall_spacing", "corner": "corner_inset"}

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for pattern in PATTERNS:
            self.fields |= pattern_fields(pattern)

    def clean_strength(self) -> str:
        """Read the strength here, so that it is judged whatever else is wrong."""
        text = str(self.cleaned_data["strength"]).strip()
        try:
            if text and parse_strength(text) <= 0:
                raise forms.ValidationError("This has to be greater than zero.")
        except UnitError as error:
            raise forms.ValidationError(str(error)) from None
        return text

    def clean(self) -> dict[str, Any]:
        """Draw up the document; each fault goes to its field."""
        data = super().clean() or {}
        for name in self._blank_but_needed():
            self.add_error(name, "This is needed.")
        try:
            document = rectangle_document(self._spec())
            read_building(document)
        except RectangleError as error:
            for fault in error.errors:
                self._fault(fault.field.replace(".", "_"), fault.message)
        except DocumentError as error:
            for refusal in error.errors:
                self._fault(*_place(refusal))
        else:
            self.document = document
        return data

    def entered(self) -> dict[str, Any]:
        """Give the document that was drawn up; a form that is valid has one."""
        return self.document or {}

    def forgive_blanks(self) -> None:
        """Forget what is wrong with fields nothing is typed in yet."""
        for name in list(self.errors):
            if name in self.fields and not self._typed(name):
                del self.errors[name]

    def still_needed(self) -> list[str]:
        """Name the fields that have to be filled in yet, with their group."""
        if not self.is_bound:
            return []
        required = [
            name
            for name, field in self.fields.items()
            if field.required and not self._typed(name)
        ]
        return [
            self._label(name)
            if name in self.base_fields
            else f"{self._label(name)} ({name.partition('_')[0]})"
            for name in [*required, *self._blank_but_needed(), *self._half_a_notch()]
        ]

    def preview(self) -> Preview | None:
        """Draw the building as far as it is known; counts come with the whole."""
        if not self.is_bound:
            return None
        if self.document is not None:
            return preview_of(read_building(self.document).plan)
        try:
            plan = read_building(rectangle_document(self._draft())).plan
        except (RectangleError, DocumentError):
            return None
        preview = preview_of(plan)
        drawing = replace(
            preview.drawing,
            positions=tuple(
                each
                if not self._faulty(plan_position.detail)
                else replace(each, rods=(), plate="")
                for each, plan_position in zip(
                    preview.drawing.positions, plan.positions, strict=True
                )
            ),
        )
        details = tuple(
            each
            for name, each in zip(plan.details, preview.details, strict=True)
            if not self._faulty(name)
        )
        return replace(
            preview, drawing=drawing, details=details, counts=(), few_rods=()
        )

    @property
    def groups(self) -> list[Group]:
        """The fields as they stand on the page."""
        outline = ("name", "length_unit", "width", "length", "bays")
        concrete = ("notch_width", "notch_depth", "strength")
        return [
            Group("Outline", self._bound(outline)),
            Group(PATTERNS["frame"], self._pattern("frame"), needed=True),
            *(
                Group(
                    PATTERNS[name],
                    (self[place], *self._pattern(name)),
                    help="if there are any",
                    may_fold=True,
                    begun=self._used(name),
                )
                for name, place in self.needs.items()
            ),
            Group("Concrete", self._bound(concrete)),
            Group("For the record", self._bound(("basis", "note"))),
        ]

    def _bound(self, names: tuple[str, ...]) -> tuple[forms.BoundField, ...]:
        return tuple(self[name] for name in names)

    def _pattern(self, pattern: str) -> tuple[forms.BoundField, ...]:
        return self._bound(tuple(pattern_fields(pattern)))

    def _typed(self, name: str) -> str:
        return str(self.data.get(name, "")).strip()

    def _used(self, pattern: str) -> bool:
        """Whether a pattern is meant: the frame's always, others once begun."""
        begun = [f"{pattern}_{name}" for name in PATTERN_LENGTHS]
        return pattern == "frame" or any(
            map(self._typed, [*begun, self.needs[pattern]])
        )

    def _blank_but_needed(self) -> list[str]:
        needed = []
        for pattern in filter(self._used, PATTERNS):
            needed += [
                f"{pattern}_{name}"
                for name in PATTERN_LENGTHS
                if name not in MAY_BE_LEFT_OUT
            ]
            if pattern in self.needs:
                needed.append(self.needs[pattern])
        return [name for name in needed if not self._typed(name)]

    def _half_a_notch(self) -> list[str]:
        """Name what is missing where only one of a notch's two lengths is typed."""
        blank = [name for name in NOTCH if not self._typed(name)]
        return blank if len(blank) == 1 else []

    def _fault(self, field: str | None, message: str) -> None:
        if field not in self.fields:
            self.add_error(None, message)
        elif field not in self.errors:
            self.add_error(field, message)

    def _faulty(self, pattern: str) -> bool:
        """Whether a pattern cannot be drawn as it is typed."""
        wrong = {*self.errors, *self._blank_but_needed()}
        return not wrong.isdisjoint(pattern_fields(pattern))

    def _length(self, name: str) -> str | None:
        """Give what is typed, with the unit of the page behind a number alone."""
        text = self._typed(name)
        return with_unit(text, self._unit()) if text else None

    def _label(self, name: str) -> str:
        return str(self.fields[name].label).lower()

    def _unit(self) -> LengthUnit:
        typed = self._typed("length_unit")
        return next((unit for unit, _ in UNITS if unit == typed), "ft")

    def _pattern_spec(self, pattern: str) -> PatternSpec:
        data = self.cleaned_data
        lengths: dict[str, Any] = {
            name: self._length(f"{pattern}_{name}") for name in PATTERN_LENGTHS
        }
        for name in set(PATTERN_LENGTHS) - set(MAY_BE_LEFT_OUT):
            lengths[name] = lengths[name] or ""
        return PatternSpec(
            **lengths,
            rows=data.get(f"{pattern}_rows") or 2,
            reference=data.get(f"{pattern}_reference") or "centreline",
        )

    def _spec(self) -> RectangleSpec:
        """Describe the building in the words of `jobs.plan.rectangle`."""
        used = {name: self._used(name) for name in PATTERNS}
        return RectangleSpec(
            name=self.cleaned_data.get("name") or "Building",
            length_unit=self._unit(),
            width=self._length("width") or "",
            length=self._length("length") or "",
            bays=self._length("bays") or "",
            frame=self._pattern_spec("frame"),
            endwall_spacing=(self._length("endwall_spacing") or "")
            if used["endwall"]
            else None,
            endwall=self._pattern_spec("endwall") if used["endwall"] else None,
            corner_inset=(self._length("corner_inset") or "")
            if used["corner"]
            else None,
            corner=self._pattern_spec("corner") if used["corner"] else None,
            notch_width=self._length("notch_width"),
            notch_depth=self._length("notch_depth"),
            specified_strength=self._typed("strength") or None,
            basis=self.cleaned_data.get("basis") or BASES[0],
        )

    def _draft(self) -> RectangleSpec:
        """Describe as much of the building as is known, the rest by stand-ins."""
        spec = self._spec()
        changes: dict[str, Any] = {"specified_strength": None}
        if "bays" in self.errors or not spec.bays:
            changes["bays"] = [spec.length]
        if self._half_a_notch() or not self.errors.keys().isdisjoint(NOTCH):
            changes |= {"notch_width": None, "notch_depth": None}
        for pattern in PATTERNS:
            if getattr(spec, pattern) is not None and self._faulty(pattern):
                changes[pattern] = STAND_IN
        for pattern, place in self.needs.items():
            if place in self.errors:
                changes |= {pattern: None, place: None}
        return replace(spec, **changes)


def with_unit(text: str, unit: str) -> str:
    """Put the unit behind every number that stands alone, between commas or after @."""
    parts = re.split(r"([,;\n@]\s*)", text)
    counted = [
        following is not None and following.startswith("@")
        for following in [*parts[1:], None]
    ]
    return "".join(
        f"{found['number']} {unit}{found['end']}"
        if (found := BARE.fullmatch(part)) and not is_count
        else part
        for part, is_count in zip(parts, counted, strict=True)
    )


def _place(refusal: Refusal) -> tuple[str | None, str]:
    if field := PLACES.get(refusal.pointer):
        return field, refusal.message
    return None, f"{refusal.pointer}: {refusal.message}"
