"""A plan as a document or as a file, what it amounts to, and what is wrong with it."""

import json
from collections.abc import Mapping
from typing import Any, cast

from django import forms
from django.core.files.uploadedfile import UploadedFile

from core.units import LengthUnit
from jobs.exchange.canonical import digest
from jobs.exchange.dxf.plan_in import NEAR_MM, Choices, rod_layer
from jobs.exchange.dxf.shapes import Shapes
from jobs.exchange.parse import DocumentError, Refusal, read_text
from jobs.exchange.plan_files import LARGEST, read_plan_file, suffix_of
from jobs.exchange.vocabulary import LENGTH_UNITS
from jobs.plan.model import Building

LARGEST_DOCUMENT = 2_000_000  # bytes; a plan of a thousand columns is a tenth of it
LONGEST_NOTE = 200
NEAR = [
    ("", "18 in (460 mm)"),
    ("305", "1 ft (305 mm)"),
    ("610", "2 ft (610 mm)"),
    ("915", "3 ft (915 mm)"),
    ("1525", "5 ft (1525 mm)"),
]
LAYERS = ("outline", "rods", "marks")
"""Fields a drawing's layers are chosen in."""


class DocumentForm(forms.Form):
    """An exchange document pasted, or a file that amounts to one, and its faults."""

    document = forms.CharField(
        label="Document",
        required=False,
        strip=False,
        widget=forms.Textarea({"rows": 14, "spellcheck": "false"}),
    )
    file = forms.FileField(
        label="File",
        required=False,
        allow_empty_file=True,
        widget=forms.FileInput({"accept": ".json,.xlsx,.xlsm,.csv,.tsv,.dxf"}),
        help_text="A workbook, CSV, a DXF drawing or an exchange document; "
        "it can be dropped here.",
    )
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=LONGEST_NOTE,
        help_text="What this issue of the plan is, or what changed and who asked.",
    )
    seen = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="Name of the building", required=False, max_length=120)
    unit = forms.ChoiceField(
        label="Unit of the drawing",
        required=False,
        choices=[("", "as the drawing says"), *((u, u) for u in LENGTH_UNITS)],
    )
    outline = forms.CharField(label="Outline on layer", required=False)
    rods = forms.CharField(label="Rods on layer", required=False)
    marks = forms.CharField(label="Marks on layer", required=False)
    near = forms.ChoiceField(
        label="Rods of one position stand within", required=False, choices=NEAR
    )

    building: Building | None = None
    refusals: tuple[Refusal, ...] = ()
    left: tuple[Refusal, ...] = ()
    text: str = ""
    shapes: Shapes | None = None

    def __init__(
        self, *args: Any, base: Mapping[str, Any] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.base = base

    def clean_file(self) -> UploadedFile | None:
        """Refuse a file that is too large to be a plan."""
        upload: UploadedFile | None = self.cleaned_data["file"]
        if upload is None:
            return None
        most = LARGEST.get(suffix_of(str(upload.name)), LARGEST_DOCUMENT)
        if (upload.size or 0) > most:
            msg = (
                f"This file is over {most // 1_000_000} MB; a plan is far smaller. Is "
                "it the right file?"
            )
            raise forms.ValidationError(msg)
        return upload

    def clean(self) -> dict[str, Any]:
        """Read the document or file; what does not fit is listed in `refusals`."""
        data = super().clean() or {}
        if "file" in self.errors:
            return data
        upload = data.get("file")
        try:
            if upload is None:
                self.text = data.get("document", "")
                self._read_text()
            else:
                self._read_file(upload, data)
        except DocumentError as error:
            self.refusals = error.errors
            self.add_error("document", "Nothing was stored: see the list above.")
        return data

    def _read_text(self) -> None:
        if not self.text.strip():
            self.add_error("document", "Paste a document here, or choose a file.")
            return
        self.building = read_text(self.text)

    def _read_file(self, upload: UploadedFile, data: dict[str, Any]) -> None:
        suffix = suffix_of(str(upload.name))
        content = upload.read()
        if suffix not in LARGEST:
            try:
                self.text = content.decode("utf-8-sig")
            except UnicodeDecodeError:
                msg = "This is not a text file in UTF-8; an exchange document is JSON."
                self.add_error("file", msg)
                return
            self._read_text()
        else:
            self._read_other(content, suffix, data)
        data["note"] = data.get("note") or f"From {upload.name}"[:LONGEST_NOTE]

    def _read_other(self, content: bytes, suffix: str, data: dict[str, Any]) -> None:
        found, self.shapes = read_plan_file(
            content, suffix, choices=self._choices(data), base=self.base
        )
        if self.shapes:
            self._offer_layers(self.shapes)
        self.left = found.left
        building = found.building()
        self.text = json.dumps(found.document, indent=2, ensure_ascii=False)
        if len(self.text) > LARGEST_DOCUMENT:
            msg = "This is larger than any plan: leave out what is none."
            raise DocumentError([Refusal("", msg)])
        self.building = building

    def _choices(self, data: Mapping[str, Any]) -> Choices:
        stem = str(data["file"].name).rpartition(".")[0]
        named = "" if self.base else " ".join(stem.replace("_", " ").split())[:120]
        return Choices(
            name=data.get("name") or named,
            unit=cast("LengthUnit | None", data.get("unit") or None),
            outline=data.get("outline", ""),
            rods=data.get("rods", ""),
            marks=data.get("marks", ""),
            near_mm=float(data.get("near") or NEAR_MM),
        )

    def _offer_layers(self, shapes: Shapes) -> None:
        found = {
            "outline": "the largest, or named so",
            "rods": rod_layer(shapes) or "any",
            "marks": "any",
        }
        for name, meant in found.items():
            layers = [("", meant), *((layer, layer) for layer in shapes.layers)]
            self.fields[name].widget = forms.Select(choices=layers)

    @property
    def pasted(self) -> bool:
        """Whether a document was pasted, and stands where it can be mended."""
        return self.is_bound and not self.files

    @property
    def looked_at(self) -> bool:
        """Whether what would be stored has been shown: it might be another by now.

        A document pasted and sent at once was never shown, and need not be.
        """
        seen = self.cleaned_data.get("seen")
        return seen == self.shown or not (seen or self.files)

    @property
    def shown(self) -> str:
        """Tell what is shown from what another file would give."""
        return digest(self.entered()) if self.building else ""

    @property
    def drawing_fields(self) -> list[forms.BoundField]:
        """How a drawing is read; none where no drawing came."""
        if self.shapes is None:
            return []
        return [self[name] for name in ("name", "unit", *LAYERS, "near")]

    def entered(self) -> dict[str, Any]:
        """Give the document that was understood."""
        document: dict[str, Any] = json.loads(self.text)
        return document
