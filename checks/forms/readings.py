"""Readings as they are typed or sent in a file, and what they are taken with."""

from datetime import tzinfo
from typing import Any

from django import forms
from django.core.files.uploadedfile import UploadedFile

from checks.forms.fields import (
    OPTIONAL_TIME_HELP,
    ZONE_NAME_HELP,
    parse_time_zone,
    set_choices,
)

NO_INSTRUMENT_CHOICE = ("", "not named")


class ReadingDetailsForm(forms.Form):
    """What every reading of a section shares."""

    instrument = forms.ChoiceField(required=False)
    temperature = forms.DecimalField(
        required=False, max_digits=5, decimal_places=1, label="Temperature of the tape"
    )
    degree = forms.ChoiceField(
        choices=[("degF", "°F"), ("degC", "°C")], required=False, label="Degrees"
    )
    crew = forms.CharField(required=False, max_length=60, label="Measured by")
    at = forms.DateTimeField(
        required=False,
        label="Taken at",
        help_text=OPTIONAL_TIME_HELP,
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )

    def __init__(self, *args: Any, instruments: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = [(name, name) for name in instruments]
        set_choices(self, "instrument", [NO_INSTRUMENT_CHOICE, *named])

    def to_members(self) -> dict[str, Any]:
        """Give the members every entry of the section carries."""
        given = self.cleaned_data
        entry: dict[str, Any] = {}
        if given["instrument"]:
            entry["instrument"] = given["instrument"]
        if given["temperature"] is not None:
            entry["temperature"] = f"{given['temperature']} {given['degree'] or 'degF'}"
        if given["crew"]:
            entry["by"] = given["crew"]
        if given["at"]:
            entry["at"] = given["at"].isoformat()
        return entry


MAX_UPLOAD_BYTES = 8_000_000
"""As much as the API takes at once. [byte]"""


class ReadingFileForm(forms.Form):
    """A file of readings."""

    file = forms.FileField(
        widget=forms.FileInput({"accept": ".json,.xlsx,.xlsm,.csv,.tsv,.txt"}),
        help_text="A workbook, CSV, an exchange document or a JSON list of readings; "
        "it can be dropped here.",
    )
    zone = forms.CharField(
        label="Times without a zone are in",
        required=False,
        max_length=60,
        help_text=ZONE_NAME_HELP,
    )
    keep_good = forms.BooleanField(
        label="Record the good ones where some are refused", required=False
    )

    def clean_zone(self) -> tzinfo:
        """Read a time zone by its name in the IANA time zone database."""
        return parse_time_zone(self.cleaned_data["zone"])

    def clean_file(self) -> UploadedFile:
        """Refuse a file that no day's readings fill."""
        file: UploadedFile = self.cleaned_data["file"]
        if (file.size or 0) > MAX_UPLOAD_BYTES:
            msg = "A file of readings has at most 8 MB; send it in parts."
            raise forms.ValidationError(msg)
        return file


class InstrumentForm(forms.Form):
    """A tape or level of the job."""

    name = forms.CharField(max_length=40)
    kind = forms.ChoiceField(
        choices=[
            ("steel tape", "steel tape"),
            ("fibre tape", "fibre tape"),
            ("optical level", "optical level"),
            ("laser level", "laser level"),
            ("total station", "total station"),
        ]
    )
    accuracy = forms.ChoiceField(
        choices=[("", "not known"), ("I", "I"), ("II", "II"), ("III", "III")],
        required=False,
        label="Accuracy class",
        help_text="OIML R 35, printed on the tape.",
    )
    nominal_length = forms.CharField(
        required=False, max_length=30, help_text="With its unit, such as 100 ft."
    )
    actual_length = forms.CharField(
        required=False, max_length=30, help_text="From its certificate, if it has one."
    )

    def to_specification(self) -> dict[str, str]:
        """Give the exchange document's entry of this instrument."""
        given = self.cleaned_data
        entry = {"kind": given["kind"], "class": given["accuracy"]}
        entry |= {name: given[name] for name in ("nominal_length", "actual_length")}
        return {name: value for name, value in entry.items() if value}
