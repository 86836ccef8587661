"""What people type on the pages, turned into what the services take."""

from collections.abc import Container, Mapping
from datetime import tzinfo
from typing import Any
from uuid import uuid4
from zoneinfo import ZoneInfo

from django import forms
from django.contrib.auth import authenticate
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest
from django.utils.functional import lazy
from django.utils.timezone import get_current_timezone, get_current_timezone_name

from checks.models import Disposition, Finding
from checks.services.photographs import Handed
from checks.services.pictures import PictureError, require_size
from checks.wording import order_words
from core.models import Person

NO_INSTRUMENT = ("", "not named")


def _choose(form: forms.Form, name: str, choices: list[tuple[str, str]]) -> None:
    """Give a field of a form the choices that hold for this page."""
    field = form.fields[name]
    assert isinstance(field, forms.ChoiceField)  # noqa: S101  # as declared
    field.choices = choices


# Named when the form is shown: in the zone of whoever reads it.
YOUR_TIME = lazy(get_current_timezone_name, str)()
YOUR_TIME_OR_NOW = lazy(
    lambda: f"{get_current_timezone_name()}; now, if left out.", str
)()
ZONE_OR_YOURS = lazy(
    lambda: f"Such as America/Chicago; {get_current_timezone_name()}, if left out.", str
)()


class CommonForm(forms.Form):
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
        help_text=YOUR_TIME_OR_NOW,
        widget=forms.DateTimeInput(
            attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M"
        ),
    )

    def __init__(self, *args: Any, instruments: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        named = [(name, name) for name in instruments]
        _choose(self, "instrument", [NO_INSTRUMENT, *named])

    def shared(self) -> dict[str, Any]:
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


def read_zone(name: str) -> tzinfo:
    """Find a time zone by its name; the reader's own where none is given."""
    try:
        return ZoneInfo(name.strip()) if name.strip() else get_current_timezone()
    except (KeyError, ValueError, OSError):
        msg = f"There is no time zone “{name}”: write one such as America/Chicago."
        raise forms.ValidationError(msg) from None


LARGEST_UPLOAD = 8_000_000
"""As much as the API takes at once. [byte]"""


class UploadForm(forms.Form):
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
        help_text=ZONE_OR_YOURS,
    )
    keep_good = forms.BooleanField(
        label="Record the good ones where some are refused", required=False
    )

    def clean_zone(self) -> tzinfo:
        """Read a time zone by its name in the IANA time zone database."""
        return read_zone(self.cleaned_data["zone"])

    def clean_file(self) -> UploadedFile:
        """Refuse a file that no day's readings fill."""
        file: UploadedFile = self.cleaned_data["file"]
        if (file.size or 0) > LARGEST_UPLOAD:
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

    def specification(self) -> dict[str, str]:
        """Give the exchange document's entry of this instrument."""
        given = self.cleaned_data
        entry = {"kind": given["kind"], "class": given["accuracy"]}
        entry |= {name: given[name] for name in ("nominal_length", "actual_length")}
        return {name: value for name, value in entry.items() if value}


class SignedForm(forms.Form):
    """A form that is signed: whoever sends it gives their password again."""

    password = forms.CharField(
        label="Your password, as signature",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, request: HttpRequest, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.request = request

    def clean_password(self) -> str:
        """Check the password of whoever is signed in."""
        password: str = self.cleaned_data["password"]
        person = self.request.user
        assert isinstance(person, Person)  # noqa: S101  # the page asks for sign-in
        found = authenticate(
            self.request, username=person.get_username(), password=password
        )
        if found is None or found.pk != person.pk:
            raise forms.ValidationError("This is not your password.", code="password")
        return password


class DecideForm(SignedForm):
    """Which remedy is ordered, how it is disposed of, and why."""

    choice = forms.ChoiceField(widget=forms.RadioSelect, label="What is ordered")
    disposition = forms.ChoiceField(choices=[("", "choose one"), *Disposition.choices])
    note = forms.CharField(
        required=False,
        label="Order or reason",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="In writing: the field works from it, and the record keeps it.",
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    field_order = ("choice", "disposition", "note", "password", "seen")

    def __init__(
        self,
        *args: Any,
        finding: Finding,
        approvals: Container[str] = ("field", "engineer"),
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        _choose(self, "choice", choices_for(finding, approvals))

    def order(self) -> dict[str, Any]:
        """Give what the service takes."""
        given = self.cleaned_data
        choice = given["choice"]
        return {
            "choice": choice if choice == "accept" else int(choice),
            "disposition": given["disposition"],
            "note": given["note"],
            "seen": given["seen"],
        }


def choices_for(finding: Finding, approvals: Container[str]) -> list[tuple[str, str]]:
    """List what can be ordered for a finding where it stands.

    Parameters
    ----------
    finding : what is decided on.
    approvals : those whoever decides can give, "field" and "engineer".
    """
    accept = [("accept", "Accept it as it is (use as is)")]
    if finding.topic == "strength" or "engineer" not in approvals:
        accept = []
    if finding.state == Finding.State.CARRIED_OUT and finding.flagged_at is None:
        return accept
    found = [
        (str(index), order_words(row))
        for index, row in enumerate(finding.remedies)
        if row["remedy"] != "remeasure" and row.get("approval") in approvals
    ]
    return found + accept


class AskForm(SignedForm):
    """What is to be measured again, and why; signed, as it may undo a decision."""

    note = forms.CharField(
        label="What to measure again, and why",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    field_order = ("note", "password", "seen")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # Beside another form on the page, whose fields have the same names.
        super().__init__(*args, auto_id="ask_%s", **kwargs)

    def order(self) -> dict[str, Any]:
        """Give what the service takes."""
        return {name: self.cleaned_data[name] for name in ("note", "seen")}


class TogetherForm(SignedForm):
    """One order for several findings, or one request to measure them again."""

    REMEASURE = "remeasure"
    findings = forms.TypedMultipleChoiceField(
        coerce=int,
        label="For these",
        error_messages={
            "required": "Choose at least one finding.",
            "invalid_choice": "One of these is not a finding of this building.",
        },
    )
    choice = forms.ChoiceField(widget=forms.RadioSelect, label="What is ordered")
    disposition = forms.ChoiceField(
        choices=[("", "choose one"), *Disposition.choices],
        required=False,
        help_text="Not for measuring again.",
    )
    note = forms.CharField(
        label="Order or reason, the same for all",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="In writing: the field works from it, and the record keeps it.",
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    field_order = ("findings", "choice", "disposition", "note", "password", "seen")

    def __init__(
        self,
        *args: Any,
        known: Mapping[int, str],
        choices: list[tuple[str, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        _choose(self, "choice", choices)
        _choose(self, "findings", [(str(pk), words) for pk, words in known.items()])

    def clean(self) -> dict[str, Any]:
        """Ask for a disposition with every order but to measure again."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        orders = given.get("choice") not in (None, self.REMEASURE)
        if orders and not given.get("disposition"):
            self.add_error("disposition", "Choose how it is disposed of.")
        return given

    def clean_seen(self) -> dict[int, int]:
        """Read the last event seen of each finding: 12:345 13:346."""
        pairs = [each.split(":") for each in self.cleaned_data["seen"].split()]
        try:
            return {int(finding): int(event) for finding, event in pairs}
        except ValueError as error:
            msg = "What this page knew is not readable; open it again."
            raise forms.ValidationError(msg, code="seen") from error


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


class SignReleaseForm(SignedForm):
    """A hold point's signature."""

    note = forms.CharField(
        required=False, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )
    field_order = ("note", "password")
