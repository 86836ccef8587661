"""What becomes known of the concrete, as it is typed: one form for each kind."""

from collections.abc import Iterable, Mapping
from typing import Any
from uuid import uuid4

from django import forms
from django.utils.timezone import localdate, localtime, now

from checks.forms.fields import YOUR_TIME_OR_NOW
from jobs.exchange.parse import Refusal

DEGREES = [("degF", "°F"), ("degC", "°C")]
PRESSURES = [("psi", "psi"), ("MPa", "MPa")]
METHODS = [("datum", "Nurse-Saul: °C h"), ("age", "equivalent age: h")]
PLACE = 3  # "/entries/0/temperature": the member stands fourth


def _day(label: str) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput({"type": "date"}))


def _decimal(label: str, **more: Any) -> forms.DecimalField:
    """A number whose decimals are kept as they were typed."""
    return forms.DecimalField(label=label, max_digits=8, decimal_places=3, **more)


def _time(label: str) -> forms.DateTimeField:
    return forms.DateTimeField(
        label=label,
        required=False,
        help_text=YOUR_TIME_OR_NOW,
        widget=forms.DateTimeInput({"type": "datetime-local"}, "%Y-%m-%dT%H:%M"),
    )


def _with_unit(data: Mapping[str, Any], name: str, unit: str) -> str:
    return f"{data[name]} {data[unit]}"


class KnownForm(forms.Form):
    """What every form here has: its id, what it replaces, whose word, and a note."""

    id = forms.CharField(widget=forms.HiddenInput, max_length=64)
    supersedes = forms.CharField(
        widget=forms.HiddenInput, max_length=64, required=False
    )
    by = forms.CharField(required=False, max_length=60, label="Measured by")
    note = forms.CharField(required=False, max_length=2000)

    def __init__(self, data: Any = None, *, initial: Any = None) -> None:
        super().__init__(data, initial={"id": str(uuid4()), **(initial or {})})
        own = [name for name in self.fields if name not in KnownForm.base_fields]
        self.order_fields([*own, *KnownForm.base_fields])

    @property
    def asked(self) -> list[forms.BoundField]:
        """What is asked of everybody."""
        return [each for each in self.visible_fields() if each not in self.folded]

    @property
    def folded(self) -> list[forms.BoundField]:
        """What is seldom typed, and folded away unless something is wrong there."""
        names = ("hours", "by", "note")
        return [
            each
            for each in self.visible_fields()
            if each.name in names and not each.field.required and not each.errors
        ]

    def common(self, kind: str) -> dict[str, Any]:
        """Write the members every entry may have."""
        said = {name: self.cleaned_data[name] for name in KnownForm.base_fields}
        return {"kind": kind} | {name: text for name, text in said.items() if text}

    def put(self, refused: Iterable[Refusal]) -> None:
        """Put each refusal beside the field it is of, or above the form."""
        for refusal in refused:
            steps = refusal.pointer.split("/")[PLACE:]
            shown = {each.name for each in self.visible_fields()}
            named = [step for step in steps if step in shown]
            self.add_error(named[-1] if named else None, refusal.message)


class TemperatureForm(KnownForm):
    """A temperature of the concrete in place."""

    temperature = _decimal("Temperature of the concrete")
    degree = forms.ChoiceField(choices=DEGREES, label="Degrees")
    at = _time("Read at")
    hours = forms.FloatField(
        required=False,
        min_value=0.01,
        label="Hours since placing",
        help_text="Of the first temperature only.",
    )

    def ask_age(self) -> None:
        """Ask how old the concrete is: nothing else says when it was placed."""
        self.fields["hours"].required = True
        self.fields["hours"].help_text = ""

    def entry(self) -> dict[str, Any]:
        """Write what was typed as an entry."""
        data = self.cleaned_data
        said = {
            "temperature": _with_unit(data, "temperature", "degree"),
            "at": (data["at"] or localtime(now())).isoformat(),
        }
        if data["hours"] is not None:
            said["hours"] = data["hours"]
        return {**self.common("temperature"), **said}


class StandardCuredForm(KnownForm):
    """A strength test of standard-cured cylinders."""

    strength = _decimal("Strength", help_text="The mean of the test's cylinders.")
    pressure = forms.ChoiceField(choices=PRESSURES, label="In")
    on = _day("Tested on")

    def entry(self) -> dict[str, Any]:
        """Write what was typed as an entry."""
        data = self.cleaned_data
        strength = _with_unit(data, "strength", "pressure")
        return {
            **self.common("standard_cured"),
            "strength": strength,
            "on": data["on"].isoformat(),
        }


class PlacingForm(KnownForm):
    """The day the concrete was placed."""

    placed_on = _day("Placed on")

    def entry(self) -> dict[str, Any]:
        """Write what was typed as an entry."""
        placed_on = self.cleaned_data["placed_on"].isoformat()
        return {**self.common("placing"), "placed_on": placed_on}


class ExpectedForm(KnownForm):
    """How warm the concrete is expected to be from now on."""

    low = _decimal("Low")
    likely = _decimal("Likely")
    high = _decimal("High")
    degree = forms.ChoiceField(choices=DEGREES, label="Degrees")

    def entry(self) -> dict[str, Any]:
        """Write what was typed as an entry."""
        data = self.cleaned_data
        names = ("low", "likely", "high")
        return {
            **self.common("expected"),
            "on": localdate().isoformat(),
            "expected": {name: _with_unit(data, name, "degree") for name in names},
        }


class MixtureForm(KnownForm):
    """Cylinders of the mixture, each broken at a maturity or an equivalent age."""

    method = forms.ChoiceField(choices=METHODS, label="Counted by")
    datum = _decimal("Datum temperature (Nurse-Saul)", required=False)
    activation = forms.FloatField(
        required=False, min_value=1, label="Activation [K] (equivalent age)"
    )
    reference = _decimal("Reference temperature (equivalent age)", required=False)
    degree = forms.ChoiceField(choices=DEGREES, label="Degrees")
    curve = forms.CharField(
        label="Cylinders",
        max_length=20_000,
        widget=forms.Textarea({"rows": 5}),
        help_text="One a line: maturity or age, then strength: 1000 2050 psi",
    )

    def entry(self) -> dict[str, Any]:
        """Write what was typed as an entry."""
        data = self.cleaned_data
        said: dict[str, Any] = {}
        for name in ("datum",) if data["method"] == "datum" else ("reference",):
            if data[name] is not None:
                said[name] = _with_unit(data, name, "degree")
        if data["method"] == "age" and data["activation"] is not None:
            said["activation"] = data["activation"]
        name = "maturity" if data["method"] == "datum" else "age"
        return {
            **self.common("mixture"),
            **said,
            "on": localdate().isoformat(),
            "curve": [{name: age, "strength": mpa} for age, mpa in data["curve"]],
        }

    def clean_curve(self) -> list[tuple[float, str]]:
        """Read the lines: a number, and the strength with its unit."""
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


class SampleForm(KnownForm):
    """A field-cured sample: a reading like any other."""

    name = forms.CharField(label="Sample", max_length=40)
    value = _decimal("Strength")
    pressure = forms.ChoiceField(choices=PRESSURES, label="In")
    at = _time("Broken at")

    def entry(self) -> dict[str, Any]:
        """Write what was typed as a reading."""
        data = self.cleaned_data
        said = self.common("")
        del said["kind"]
        return {
            **said,
            "check": f"strength:{data['name'].strip()}",
            "value": _with_unit(data, "value", "pressure"),
            "at": (data["at"] or localtime(now())).isoformat(),
        }


FORMS: dict[str, Any] = {
    "temperature": TemperatureForm,
    "sample": SampleForm,
    "standard_cured": StandardCuredForm,
    "placing": PlacingForm,
    "expected": ExpectedForm,
    "mixture": MixtureForm,
}
"""The form of each kind, in the order they are offered; `sample` is a reading."""
