"""The form that records how far the steel of a building is."""

from django import forms

from core.vocabulary import SteelState


class SteelStateForm(forms.Form):
    """The state of the steel, with a note."""

    state = forms.ChoiceField(
        label="The steel is",
        choices=SteelState.choices(),
        widget=forms.RadioSelect,
    )
    note = forms.CharField(
        required=False,
        max_length=200,
        help_text="Needed when shipped steel is called back.",
    )
