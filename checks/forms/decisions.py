"""Forms that are signed: decisions, requests to measure again, releases."""

from collections.abc import Container, Mapping
from typing import Any

from django import forms

from checks.evaluation.finding_topics import TopicKind
from checks.forms.fields import set_choices
from checks.labels import describe_remedy
from checks.models import Finding
from core.signing import SignedForm
from core.vocabulary import DispositionKind, RemedyKind

WAITS = ": waits for an independent repeat, write the reason to order it now"


class DecisionForm(SignedForm):
    """The remedy ordered, its disposition and the reason."""

    choice = forms.ChoiceField(widget=forms.RadioSelect, label="Order")
    disposition = forms.ChoiceField(
        choices=[("", "Choose one"), *DispositionKind.choices()]
    )
    note = forms.CharField(
        required=False,
        label="Order or reason",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="The field works from this text, and the record keeps it.",
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
        set_choices(self, "choice", list_order_choices(finding, approvals))

    def to_arguments(self) -> dict[str, Any]:
        """Return the arguments of the service."""
        given = self.cleaned_data
        choice = given["choice"]
        return {
            "choice": choice if choice == "accept" else int(choice),
            "disposition": given["disposition"],
            "note": given["note"],
            "seen": given["seen"],
            "signed_with": self.signed_with,
        }


def list_order_choices(
    finding: Finding, approvals: Container[str]
) -> list[tuple[str, str]]:
    """List the orders that a finding allows in its state.

    Parameters
    ----------
    finding : Finding
        The finding to decide on.
    approvals : container of str
        The approvals that this person can give: "field", "engineer".
    """
    use_as_is = DispositionKind.USE_AS_IS.label
    accept = [("accept", f"{RemedyKind.ACCEPT.label} ({use_as_is})")]
    if finding.topic == TopicKind.STRENGTH or "engineer" not in approvals:
        accept = []
    if finding.state == Finding.State.CARRIED_OUT and finding.flagged_at is None:
        return accept
    found = [
        (str(index), describe_remedy(row) + (WAITS if row.get("unconfirmed") else ""))
        for index, row in enumerate(finding.remedies)
        if row["remedy"] != "remeasure" and row.get("approval") in approvals
    ]
    return found + accept


class RemeasurementForm(SignedForm):
    """A request to measure again; signed, because it may undo a decision."""

    note = forms.CharField(
        label="What to measure again and why",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False)
    field_order = ("note", "password", "seen")

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        # The page has another form with fields of the same names.
        super().__init__(*args, auto_id="ask_%s", **kwargs)

    def to_arguments(self) -> dict[str, Any]:
        """Return the arguments of the service."""
        return {name: self.cleaned_data[name] for name in ("note", "seen")}


class BulkDecisionForm(SignedForm):
    """One order for several findings, or one request to measure them again."""

    REMEASURE = "remeasure"
    findings = forms.TypedMultipleChoiceField(
        coerce=int,
        label="Findings",
        error_messages={
            "required": "Choose at least one finding.",
            "invalid_choice": "One of these is not a finding of this building.",
        },
    )
    choice = forms.ChoiceField(widget=forms.RadioSelect, label="Order")
    disposition = forms.ChoiceField(
        choices=[("", "Choose one"), *DispositionKind.choices()],
        required=False,
        help_text="Leave empty for a request to measure again.",
    )
    note = forms.CharField(
        label="Order or reason for all of them",
        widget=forms.Textarea(attrs={"rows": 3}),
        help_text="The field works from this text, and the record keeps it.",
    )
    seen = forms.CharField(widget=forms.HiddenInput, required=False)
    field_order = ("findings", "choice", "disposition", "note", "password", "seen")

    def __init__(
        self,
        *args: Any,
        finding_labels: Mapping[int, str],
        choices: list[tuple[str, str]],
        **kwargs: Any,
    ) -> None:
        super().__init__(*args, **kwargs)
        set_choices(self, "choice", choices)
        set_choices(
            self, "findings", [(str(pk), words) for pk, words in finding_labels.items()]
        )

    def clean(self) -> dict[str, Any]:
        """Require a disposition with every order except to measure again."""
        given: dict[str, Any] = super().clean() or self.cleaned_data
        orders = given.get("choice") not in (None, self.REMEASURE)
        if orders and not given.get("disposition"):
            self.add_error("disposition", "Choose a disposition.")
        return given

    def clean_seen(self) -> dict[int, int]:
        """Parse the last event seen of each finding: 12:345 13:346."""
        pairs = [each.split(":") for each in self.cleaned_data["seen"].split()]
        try:
            return {int(finding): int(event) for finding, event in pairs}
        except ValueError as error:
            msg = "This page is out of date. Open it again."
            raise forms.ValidationError(msg, code="seen") from error


class SignReleaseForm(SignedForm):
    """The signature of a release."""

    note = forms.CharField(
        required=False, label="Note", widget=forms.Textarea(attrs={"rows": 2})
    )
    field_order = ("note", "password")
