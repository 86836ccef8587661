"""The form of a point file and of how to read it."""

from datetime import datetime
from typing import Any, cast

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.timezone import get_current_timezone_name

from checks.evaluation.survey_readings import ControlChoice
from checks.queries.survey_import import SurveyImport, read_survey_file
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.exchange.points.point_file import (
    COLUMN_ORDERS,
    MAX_POINT_FILE_BYTES,
    PointUnit,
)
from jobs.models import Building

ORDER_CHOICES = [(name, name.replace(" ", ", ")) for name in COLUMN_ORDERS]
DELIMITER_CHOICES = [
    ("auto", "detected"), ("comma", "comma"), ("semicolon", "semicolon"),
    ("tab", "tab"), ("space", "spaces"),
]  # fmt: skip
UNIT_CHOICES = [
    ("ft", "ft (international)"), ("survey_ft", "U.S. survey ft"), ("m", "m"),
    ("mm", "mm"),
]  # fmt: skip
CONTROL_CHOICES = [
    ("corners", "the corners"), ("rods", "the rods"), ("both", "corners and rods"),
]  # fmt: skip


class SurveyPointsForm(forms.Form):
    """A point file of a survey; reading it validates the form."""

    file = forms.FileField(
        label="Point file",
        allow_empty_file=True,
        error_messages={"required": "Choose a point file."},
        widget=forms.FileInput({"accept": ".csv,.txt,.pts,.asc,text/plain"}),
        help_text="Point, northing, easting, elevation, description. You can also "
        "drop it here.",
    )
    order = forms.ChoiceField(label="Columns", choices=ORDER_CHOICES)
    delimiter = forms.ChoiceField(label="Separated by", choices=DELIMITER_CHOICES)
    unit = forms.ChoiceField(label="Unit", choices=UNIT_CHOICES)
    control = forms.ChoiceField(label="Align to plan by", choices=CONTROL_CHOICES)
    instrument = forms.CharField(
        label="Total station",
        max_length=40,
        required=False,
        help_text="Its name on this job; a new name adds it.",
    )
    by = forms.CharField(label="Surveyed by", max_length=60, required=False)
    at = forms.DateTimeField(
        label="Taken at",
        required=False,
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)

    survey: SurveyImport | None = None
    issues: tuple[DocumentIssue, ...] = ()

    def __init__(self, *args: Any, building: Building, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.building = building
        zone = get_current_timezone_name()
        self.fields["at"].help_text = f"{zone}; empty means now."

    def clean_file(self) -> "UploadedFile[Any]":
        """Refuse a file larger than any survey."""
        file: UploadedFile[Any] = self.cleaned_data["file"]
        if (file.size or 0) > MAX_POINT_FILE_BYTES:
            limit = MAX_POINT_FILE_BYTES // 1_000_000
            msg = f"The file is larger than {limit} MB. Split it and send the parts."
            raise forms.ValidationError(msg)
        return file

    def clean(self) -> dict[str, Any]:
        """Read the file by the choices of the form."""
        data = super().clean() or {}
        if self.errors:
            return data
        at: datetime | None = data["at"]
        told = {
            "by": data["by"],
            "at": at.isoformat() if at else "",
            "instrument": data["instrument"],
        }
        try:
            self.survey = read_survey_file(
                self.building,
                data["file"].read(),
                unit=cast("PointUnit", data["unit"]),
                order=data["order"],
                delimiter=data["delimiter"],
                control=cast(ControlChoice, data["control"]),
                excluded=self.excluded_points,
                shared={name: value for name, value in told.items() if value},
            )
        except DocumentError as error:
            self.issues = error.issues
            self.add_error("file", "Nothing was recorded. See the list below.")
        return data

    @property
    def excluded_points(self) -> set[str]:
        """The names of the points excluded from control."""
        data: Any = self.data
        given = data.getlist("leave") if hasattr(data, "getlist") else []
        return {name.strip() for each in given for name in each.split(",")}

    @property
    def is_confirmed(self) -> bool:
        """True when the preview of exactly these readings was shown."""
        return (
            self.survey is not None
            and self.cleaned_data["seen"] == self.survey.entries_hash
        )
