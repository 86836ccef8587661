"""What people type about their tokens."""

from django import forms


class TokenForm(forms.Form):
    """A token to be made."""

    name = forms.CharField(
        max_length=60, help_text="Whose phone or which program, to tell it by."
    )
    days = forms.IntegerField(
        label="Ends after (days)",
        initial=90,
        min_value=1,
        max_value=400,
        widget=forms.NumberInput({"inputmode": "numeric"}),
    )
