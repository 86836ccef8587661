"""Concrete data recorded after the plan: one form for each kind of entry."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.timezone import localdate, localtime, now

from checks.forms.fields import OPTIONAL_TIME_HELP
from jobs.exchange.issues import DocumentIssue

DEGREES = [("degF", "°F"), ("degC", "°C")]
PRESSURES = [("psi", "psi"), ("MPa", "MPa")]
MATURITY_METHODS = [("datum", "Nurse-Saul: °C h"), ("age", "equivalent age: h")]
POINTER_MEMBER = 3  # the fourth part of "/entries/0/temperature"


def _date_field(label: str) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput({"type": "date"}))


def _decimal_field(label: str, **more: Any) -> forms.DecimalField:
    """Return a field that keeps the decimals as typed."""
    return forms.DecimalField(label=label, max_digits=8, decimal_places=3, **more)


def _time_field(label: str) -> forms.DateTimeField:
    return forms.DateTimeField(
        label=label,
        required=False,
        help_text=OPTIONAL_TIME_HELP,
        widget=forms.DateTimeInput({"type": "datetime-local"}, "%Y-%m-%dT%H:%M"),
    )


def _quantity_text(data: Mapping[str, Any], name: str, unit: str) -> str:
    return f"{data[name]} {data[unit]}"


class ConcreteEntryForm(forms.Form):
    """The fields of every entry: id, replaced entry, who measured, and a note."""

    id = forms.CharField(widget=forms.HiddenInput, max_length=64)
    supersedes = forms.CharField(
        widget=forms.HiddenInput, max_length=64, required=False
    )
    by = forms.CharField(required=False, max_length=60, label="Measured by")
    note = forms.CharField(required=False, max_length=2000)

    def __init__(self, data: Any = None, *, initial: Any = None) -> None:
        super().__init__(data, initial={"id": str(uuid4()), **(initial or {})})
        own = [
            name for name in self.fields if name not in ConcreteEntryForm.base_fields
        ]
        self.order_fields([*own, *ConcreteEntryForm.base_fields])

    @property
    def main_fields(self) -> list[forms.BoundField]:
        """The fields that are always shown."""
        return [
            each for each in self.visible_fields() if each not in self.optional_fields
        ]

    @property
    def optional_fields(self) -> list[forms.BoundField]:
        """The fields that are folded away unless they are required or have errors."""
        names = ("hours", "by", "note")
        return [
            each
            for each in self.visible_fields()
            if each.name in names and not each.field.required and not each.errors
        ]

    @property
    def optional_labels(self) -> str:
        """The labels of the folded fields, as the summary over them."""
        return ", ".join(str(each.label) for each in self.optional_fields)

    def common_members(self, kind: str) -> dict[str, Any]:
        """Return the members that every entry may have."""
        said = {name: self.cleaned_data[name] for name in ConcreteEntryForm.base_fields}
        return {"kind": kind} | {name: text for name, text in said.items() if text}

    def add_issues(self, issues: Iterable[DocumentIssue]) -> None:
        """Show each issue beside its field, or above the form where it has none."""
        for refusal in issues:
            steps = refusal.pointer.split("/")[POINTER_MEMBER:]
            shown = {each.name for each in self.visible_fields()}
            named = [step for step in steps if step in shown]
            self.add_error(named[-1] if named else None, refusal.message)


class TemperatureForm(ConcreteEntryForm):
    """A temperature of the concrete in place."""

    temperature = _decimal_field("Temperature of the concrete")
    degree = forms.ChoiceField(choices=DEGREES, label="Degrees")
    at = _time_field("Read at")
    hours = forms.FloatField(
        required=False,
        min_value=0.01,
        label="Hours since placing",
        help_text="Only for the first temperature.",
    )

    def require_age(self) -> None:
        """Require the age of the concrete: nothing else tells when it was placed."""
        self.fields["hours"].required = True
        self.fields["hours"].help_text = ""

    def to_entry(self) -> dict[str, Any]:
        """Return the entry of what was typed."""
        data = self.cleaned_data
        said = {
            "temperature": _quantity_text(data, "temperature", "degree"),
            "at": (data["at"] or localtime(now())).isoformat(),
        }
        if data["hours"] is not None:
            said["hours"] = data["hours"]
        return {**self.common_members("temperature"), **said}


class StandardCuredTestForm(ConcreteEntryForm):
    """A strength test of standard-cured cylinders."""

    strength = _decimal_field("Strength", help_text="Mean of the test's cylinders.")
    pressure = forms.ChoiceField(choices=PRESSURES, label="Unit")
    on = _date_field("Tested on")

    def to_entry(self) -> dict[str, Any]:
        """Return the entry of what was typed."""
        data = self.cleaned_data
        strength = _quantity_text(data, "strength", "pressure")
        return {
            **self.common_members("standard_cured"),
            "strength": strength,
            "on": data["on"].isoformat(),
        }


class PlacingDayForm(ConcreteEntryForm):
    """The day the concrete was placed."""

    placed_on = _date_field("Placed on")

    def to_entry(self) -> dict[str, Any]:
        """Return the entry of what was typed."""
        placed_on = self.cleaned_data["placed_on"].isoformat()
        return {**self.common_members("placing"), "placed_on": placed_on}


class ExpectedTemperaturesForm(ConcreteEntryForm):
    """The temperatures expected from now on, for the forecast."""

    low = _decimal_field("Low")
    likely = _decimal_field("Likely")
    high = _decimal_field("High")
    degree = forms.ChoiceField(choices=DEGREES, label="Degrees")

    def to_entry(self) -> dict[str, Any]:
        """Return the entry of what was typed."""
        data = self.cleaned_data
        names = ("low", "likely", "high")
        return {
            **self.common_members("expected"),
            "on": localdate().isoformat(),
            "expected": {name: _quantity_text(data, name, "degree") for name in names},
        }


class MixtureCylindersForm(ConcreteEntryForm):
    """Cylinders of the mixture, each broken at a maturity or an equivalent age."""

    method = forms.ChoiceField(choices=MATURITY_METHODS, label="Maturity method")
    datum = _decimal_field("Datum temperature (Nurse-Saul)", required=False)
    activation = forms.FloatField(
        required=False, min_value=1, label="Activation temperature [K] (equivalent age)"
    )
    reference = _decimal_field("Reference temperature (equivalent age)", required=False)
    degree = forms.ChoiceField(choices=DEGREES, label="Degrees")
    curve = forms.CharField(
        label="Cylinders",
        max_length=20_000,
        widget=forms.Textarea({"rows": 5}),
        help_text="One per line: maturity or age, then strength, such as 1000 2050 psi",
    )

    def to_entry(self) -> dict[str, Any]:
        """Return the entry of what was typed."""
        data = self.cleaned_data
        said: dict[str, Any] = {}
        for name in ("datum",) if data["method"] == "datum" else ("reference",):
            if data[name] is not None:
                said[name] = _quantity_text(data, name, "degree")
        if data["method"] == "age" and data["activation"] is not None:
            said["activation"] = data["activation"]
        name = "maturity" if data["method"] == "datum" else "age"
        return {
            **self.common_members("mixture"),
            **said,
            "on": localdate().isoformat(),
            "curve": [{name: age, "strength": mpa} for age, mpa in data["curve"]],
        }

    def clean_curve(self) -> list[tuple[float, str]]:
        """Parse the lines: a number, a space, and a strength with its unit."""
        read = []
        for number, line in enumerate(self.cleaned_data["curve"].splitlines(), start=1):
            age, _, strength = line.strip().partition(" ")
            if not line.strip():
                continue
            try:
                read.append((float(age.rstrip(",;")), strength.strip()))
            except ValueError:
                msg = f"Line {number}: write a number, a space and a strength."
                raise forms.ValidationError(msg) from None
        return read


class FieldCuredSampleForm(ConcreteEntryForm):
    """A field-cured sample, which is recorded as a reading."""

    name = forms.CharField(label="Sample", max_length=40)
    value = _decimal_field("Strength")
    pressure = forms.ChoiceField(choices=PRESSURES, label="Unit")
    at = _time_field("Broken at")

    def to_entry(self) -> dict[str, Any]:
        """Return the reading of what was typed."""
        data = self.cleaned_data
        said = self.common_members("")
        del said["kind"]
        return {
            **said,
            "check": f"strength:{data['name'].strip()}",
            "value": _quantity_text(data, "value", "pressure"),
            "at": (data["at"] or localtime(now())).isoformat(),
        }


ENTRY_FORMS: dict[str, Any] = {
    "temperature": TemperatureForm,
    "sample": FieldCuredSampleForm,
    "standard_cured": StandardCuredTestForm,
    "placing": PlacingDayForm,
    "expected": ExpectedTemperaturesForm,
    "mixture": MixtureCylindersForm,
}
"""The form of each kind, in the order of the tabs; `sample` is a reading."""
