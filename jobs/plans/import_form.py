"""Form to import a plan from a document or a file."""

import json
from collections.abc import Mapping
from typing import Any, cast

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.utils.timezone import now

from core.units import LengthUnit
from jobs.anchor_plan.values import BuildingInput
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.dxf.drawing_shapes import DrawingShapes
from jobs.exchange.dxf.plan_import import (
    ROD_GROUP_DISTANCE_MM,
    DrawingOptions,
    guess_rod_layer,
)
from jobs.exchange.input.parser import parse_building_text
from jobs.exchange.issues import DocumentError, DocumentIssue
from jobs.exchange.plan_reader import MAX_FILE_BYTES, file_suffix, read_plan_file
from jobs.exchange.vocabulary import LENGTH_UNITS

MAX_DOCUMENT_BYTES = 2_000_000  # a plan of a thousand columns has a tenth of it
MAX_NOTE_LENGTH = 200
GROUP_DISTANCE_CHOICES = [
    ("", "18 in (460 mm)"),
    ("305", "1 ft (305 mm)"),
    ("610", "2 ft (610 mm)"),
    ("915", "3 ft (915 mm)"),
    ("1525", "5 ft (1525 mm)"),
]
LAYER_FIELDS = ("outline", "rods", "marks")
"""Fields that choose the layers of a drawing."""


class PlanImportForm(forms.Form):
    """A pasted exchange document or an uploaded file, with its errors."""

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
        help_text="Workbook, CSV, DXF drawing or exchange document. Drop it here, or "
        "choose it.",
    )
    note = forms.CharField(
        label="Note",
        required=False,
        max_length=MAX_NOTE_LENGTH,
        help_text="What this revision is, or what changed and at whose request",
    )
    confirmed = forms.CharField(required=False, widget=forms.HiddenInput)
    name = forms.CharField(label="Building name", required=False, max_length=120)
    unit = forms.ChoiceField(
        label="Drawing unit",
        required=False,
        choices=[("", "As in the drawing"), *((u, u) for u in LENGTH_UNITS)],
    )
    outline = forms.CharField(label="Outline layer", required=False)
    rods = forms.CharField(label="Rod layer", required=False)
    marks = forms.CharField(label="Label layer", required=False)
    near = forms.ChoiceField(
        label="Largest spread of one rod group",
        required=False,
        choices=GROUP_DISTANCE_CHOICES,
    )

    building: BuildingInput | None = None
    issues: tuple[DocumentIssue, ...] = ()
    ignored: tuple[DocumentIssue, ...] = ()
    assumptions: tuple[DocumentIssue, ...] = ()
    text: str = ""
    shapes: DrawingShapes | None = None

    def __init__(
        self, *args: Any, base: Mapping[str, Any] | None = None, **kwargs: Any
    ) -> None:
        super().__init__(*args, **kwargs)
        self.base = base

    def clean_file(self) -> "UploadedFile[Any] | None":
        """Refuse a file that is too large for a plan."""
        upload: UploadedFile[Any] | None = self.cleaned_data["file"]
        if upload is None:
            return None
        most = MAX_FILE_BYTES.get(file_suffix(str(upload.name)), MAX_DOCUMENT_BYTES)
        if (upload.size or 0) > most:
            msg = (
                f"This file is larger than {most // 1_000_000} MB, and a plan is far "
                "smaller. Choose another file."
            )
            raise forms.ValidationError(msg)
        return upload

    def clean(self) -> dict[str, Any]:
        """Parse the document or file; its errors go to `issues`."""
        data = super().clean() or {}
        if "file" in self.errors:
            return data
        upload = data.get("file")
        try:
            if upload is None:
                self.text = data.get("document", "")
                self._parse_text()
            else:
                self._read_file(upload, data)
        except DocumentError as error:
            self.issues = error.issues
            self.add_error("document", "Nothing was saved. See the list above.")
        return data

    def _parse_text(self) -> None:
        if not self.text.strip():
            self.add_error("document", "Choose a file, or paste a document here.")
            return
        self.building = parse_building_text(self.text, now=now())

    def _read_file(self, upload: "UploadedFile[Any]", data: dict[str, Any]) -> None:
        suffix = file_suffix(str(upload.name))
        content = upload.read()
        # Any other suffix is taken for an exchange document, which is JSON.
        if suffix not in MAX_FILE_BYTES:
            try:
                self.text = content.decode("utf-8-sig")
            except UnicodeDecodeError:
                msg = "This is not a UTF-8 text file. An exchange document is JSON."
                self.add_error("file", msg)
                return
            self._parse_text()
        else:
            self._import_plan_file(content, suffix, data)
        data["note"] = data.get("note") or f"From {upload.name}"[:MAX_NOTE_LENGTH]

    def _import_plan_file(
        self, content: bytes, suffix: str, data: dict[str, Any]
    ) -> None:
        found, self.shapes = read_plan_file(
            content, suffix, options=self._drawing_options(data), base=self.base
        )
        if self.shapes:
            self._set_layer_choices(self.shapes)
        self.ignored = found.ignored
        self.assumptions = found.assumptions
        building = found.parse_building(now=now())
        self.text = json.dumps(found.document, indent=2, ensure_ascii=False)
        # A small compressed workbook can hold a document of any size.
        if len(self.text) > MAX_DOCUMENT_BYTES:
            msg = "This is larger than a plan. Remove what does not belong to it."
            raise DocumentError([DocumentIssue("", msg)])
        self.building = building

    def _drawing_options(self, data: Mapping[str, Any]) -> DrawingOptions:
        stem = str(data["file"].name).rpartition(".")[0]
        # A revision keeps the name of its building; a new one takes that of the file.
        named = "" if self.base else " ".join(stem.replace("_", " ").split())[:120]
        return DrawingOptions(
            name=data.get("name") or named,
            unit=cast("LengthUnit | None", data.get("unit") or None),
            outline=data.get("outline", ""),
            rods=data.get("rods", ""),
            marks=data.get("marks", ""),
            group_distance_mm=float(data.get("near") or ROD_GROUP_DISTANCE_MM),
        )

    def _set_layer_choices(self, shapes: DrawingShapes) -> None:
        found = {
            "outline": "largest, or named outline",
            "rods": guess_rod_layer(shapes) or "any layer",
            "marks": "any layer",
        }
        for name, meant in found.items():
            layers = [("", meant), *((layer, layer) for layer in shapes.layers)]
            self.fields[name].widget = forms.Select(choices=layers)

    @property
    def is_pasted(self) -> bool:
        """True if a document was pasted, and can be corrected in place."""
        return self.is_bound and not self.files

    @property
    def is_confirmed(self) -> bool:
        """True if the plan is the one that was previewed.

        A document pasted and saved at once has no preview, and needs none.
        """
        confirmed = self.cleaned_data.get("confirmed")
        return confirmed == self.preview_hash or not (confirmed or self.files)

    @property
    def preview_hash(self) -> str:
        """SHA-256 of the plan in the preview, to notice another file."""
        return sha256_of(self.to_document()) if self.building else ""

    @property
    def drawing_fields(self) -> list[forms.BoundField]:
        """Fields that control how a drawing is read; none without a drawing."""
        if self.shapes is None:
            return []
        return [self[name] for name in ("name", "unit", *LAYER_FIELDS, "near")]

    def to_document(self) -> dict[str, Any]:
        """Return the document."""
        document: dict[str, Any] = json.loads(self.text)
        return document
