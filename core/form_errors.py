"""Errors of a service call, shown in a form."""

from collections.abc import Callable
from typing import TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.forms import BaseForm

Result = TypeVar("Result")


def call_service(form: BaseForm, service: Callable[[], Result]) -> Result | None:
    """Call a service; on a validation error, add it to the form and return None."""
    try:
        return service()
    except ValidationError as error:
        add_service_errors(form, error)
        return None


def add_service_errors(form: BaseForm, error: ValidationError) -> None:
    """Add a service's errors to the fields they name, the others to the form."""
    errors_by_field = (
        error.error_dict
        if hasattr(error, "error_dict")
        else {NON_FIELD_ERRORS: error.error_list}
    )
    for name, errors in errors_by_field.items():
        field = name if name in form.fields else None
        for each in errors:
            form.add_error(field, each)
