"""Forms of the crew tokens page."""

from django import forms


class TokenForm(forms.Form):
    """A new token."""

    name = forms.CharField(max_length=60, help_text="Whose phone, or which program.")
    days = forms.IntegerField(
        label="Expires after (days)",
        initial=90,
        min_value=1,
        max_value=400,
        widget=forms.NumberInput({"inputmode": "numeric"}),
    )
