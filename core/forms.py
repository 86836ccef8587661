"""How forms are drawn, on every page alike."""

from django.forms.renderers import DjangoTemplates


class BookRenderer(DjangoTemplates):
    """Draws `{{ form }}` and `{{ field.as_field_group }}` in the book's look."""

    form_template_name = "core/forms/form.html"
    field_template_name = "core/forms/field.html"
