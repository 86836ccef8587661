"""Forms of photographs, and of the report of work they show."""

from typing import Any
from uuid import uuid4

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.timezone import now

from checks.forms.fields import OPTIONAL_TIME_HELP, TIME_ZONE_HELP
from checks.services.image_normalisation import ImageError, require_image_size
from checks.services.photographs import UploadedPhotograph


class PhotographPicker(forms.FileInput):
    """Two inputs for the same files: take photographs, or choose files."""

    template_name = "checks/photograph_picker.html"
    allow_multiple_selected = True
    use_fieldset = True

    def use_required_attribute(self, initial: Any) -> bool:
        """Return False: either input is enough, which HTML cannot express."""
        return False


class PhotographsField(forms.FileField):
    """Any number of photographs; the service checks their content."""

    widget = PhotographPicker

    def clean(self, data: Any, initial: Any = None) -> "list[UploadedFile[Any]]":
        """Return the files; an empty list where none is required."""
        sent = [super(PhotographsField, self).clean(each) for each in data or [None]]
        files: list[UploadedFile[Any]] = [file for file in sent if file]
        refused = [told for file in files if (told := size_error(file))]
        if refused:
            raise forms.ValidationError(refused)
        return files


def size_error(file: "UploadedFile[Any]") -> str:
    """Return why a photograph is too large to process; empty where it is not."""
    try:
        require_image_size(file.size or 0)
    except ImageError as fault:
        return f"{file.name}: {fault}"
    return ""


def read_uploads(files: "list[UploadedFile[Any]]") -> list[UploadedPhotograph]:
    """Read the uploaded files."""
    return [
        UploadedPhotograph(name=file.name or "", content=file.read()) for file in files
    ]


class AddPhotographsForm(forms.Form):
    """Photographs of a finding, or of work that is reported already."""

    photographs = PhotographsField()
    caption = forms.CharField(required=False, max_length=200, label="Caption")
    at = forms.DateTimeField(
        required=False,
        label="Taken at",
        help_text=OPTIONAL_TIME_HELP,
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )
    batch = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # The page has another form with fields of the same names.
        kwargs.setdefault("initial", {"batch": uuid4()})
        super().__init__(*args, **{"auto_id": "add_%s", **kwargs})

    def to_arguments(self) -> dict[str, Any]:
        """Return the arguments of the service."""
        given = self.cleaned_data
        return {
            "uploads": read_uploads(given["photographs"]),
            "caption": given["caption"],
            "taken_at": given["at"],
            "batch": given["batch"],
        }


class CarryOutForm(forms.Form):
    """The report of work: when and how a decision was carried out."""

    at = forms.DateTimeField(
        label="Done at",
        initial=now,
        help_text=TIME_ZONE_HELP,
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )
    note = forms.CharField(
        required=False,
        label="What was done",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    photographs = PhotographsField(required=False)
    caption = forms.CharField(
        required=False, max_length=200, label="Caption of the photographs"
    )

    def to_arguments(self) -> dict[str, Any]:
        """Return the arguments of the service."""
        given = self.cleaned_data
        return {**given, "photographs": read_uploads(given["photographs"])}
