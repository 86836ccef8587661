"""Forms of readings: details of a section, files and instruments."""

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

NO_INSTRUMENT_CHOICE = ("", "Not named")


class ReadingDetailsForm(forms.Form):
    """The details that every reading of a section shares."""

    instrument = forms.ChoiceField(required=False)
    temperature = forms.DecimalField(
        required=False, max_digits=5, decimal_places=1, label="Tape temperature"
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
        """Return the members that every entry of the section carries."""
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
"""As the API accepts in one request. [byte]"""


class ReadingFileForm(forms.Form):
    """A file of readings."""

    file = forms.FileField(
        widget=forms.FileInput({"accept": ".json,.xlsx,.xlsm,.csv,.tsv,.txt"}),
        help_text="A workbook, CSV, an exchange document or a JSON list of readings; "
        "you can drop it here.",
    )
    zone = forms.CharField(
        label="Time zone of times without one",
        required=False,
        max_length=60,
        help_text=ZONE_NAME_HELP,
    )
    keep_good = forms.BooleanField(
        label="Record the valid readings even if others are refused", required=False
    )

    def clean_zone(self) -> tzinfo:
        """Return the time zone by its name in the IANA database."""
        return parse_time_zone(self.cleaned_data["zone"])

    def clean_file(self) -> "UploadedFile[Any]":
        """Refuse a file larger than the readings of any day."""
        file: UploadedFile[Any] = self.cleaned_data["file"]
        if (file.size or 0) > MAX_UPLOAD_BYTES:
            msg = "The file is larger than 8 MB. Split it and send the parts."
            raise forms.ValidationError(msg)
        return file


class InstrumentForm(forms.Form):
    """An instrument of the job."""

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
        choices=[("", "Unknown"), ("I", "I"), ("II", "II"), ("III", "III")],
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
        """Return the instrument as the exchange document has it."""
        given = self.cleaned_data
        entry = {"kind": given["kind"], "class": given["accuracy"]}
        entry |= {name: given[name] for name in ("nominal_length", "actual_length")}
        return {name: value for name, value in entry.items() if value}
