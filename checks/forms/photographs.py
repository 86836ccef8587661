"""Photographs, by themselves or with the work they show."""

from typing import Any
from uuid import uuid4

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.timezone import now

from checks.forms.fields import YOUR_TIME, YOUR_TIME_OR_NOW
from checks.services.photographs import Handed
from checks.services.pictures import PictureError, require_size


class PhotographsInput(forms.FileInput):
    """Two ways to the same files: take photographs, or choose some."""

    template_name = "checks/photographs_input.html"
    allow_multiple_selected = True
    use_fieldset = True

    def use_required_attribute(self, initial: Any) -> bool:
        """One of the two is enough, which a browser cannot be told."""
        return False


class PhotographsField(forms.FileField):
    """Any number of photographs; what is in them is the service's to look at."""

    widget = PhotographsInput

    def clean(self, data: Any, initial: Any = None) -> list[UploadedFile]:
        """Take one or several; none where none is needed."""
        sent = [super(PhotographsField, self).clean(each) for each in data or [None]]
        files: list[UploadedFile] = [file for file in sent if file]
        refused = [told for file in files if (told := too_large(file))]
        if refused:
            raise forms.ValidationError(refused)
        return files


def too_large(file: UploadedFile) -> str:
    """Say that a photograph is too large to be read; empty where it is not."""
    try:
        require_size(file.size or 0)
    except PictureError as fault:
        return f"{file.name}: {fault}"
    return ""


def handed_in(files: list[UploadedFile]) -> list[Handed]:
    """Read the files of a form, by their names."""
    return [Handed(name=file.name or "", content=file.read()) for file in files]


class AddPhotographsForm(forms.Form):
    """Photographs of a finding, or of work that was reported before."""

    photographs = PhotographsField()
    caption = forms.CharField(required=False, max_length=200, label="What they show")
    at = forms.DateTimeField(
        required=False,
        label="Taken at",
        help_text=YOUR_TIME_OR_NOW,
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )
    batch = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # Beside another form on the page, whose fields have the same names.
        kwargs.setdefault("initial", {"batch": uuid4()})
        super().__init__(*args, **{"auto_id": "add_%s", **kwargs})

    def order(self) -> dict[str, Any]:
        """Give what the service takes."""
        given = self.cleaned_data
        return {
            "handed": handed_in(given["photographs"]),
            "caption": given["caption"],
            "taken_at": given["at"],
            "batch": given["batch"],
        }


class CarryOutForm(forms.Form):
    """When a decision was carried out, and how."""

    at = forms.DateTimeField(
        label="Done at",
        initial=now,
        help_text=YOUR_TIME,
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
        required=False, max_length=200, label="What the photographs show"
    )

    def order(self) -> dict[str, Any]:
        """Give what the service takes."""
        given = self.cleaned_data
        return {**given, "photographs": handed_in(given["photographs"])}
