"""A service's refusal, beside the field it is about."""

from collections.abc import Callable
from typing import TypeVar

from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.forms import BaseForm

Result = TypeVar("Result")


def call_service(form: BaseForm, service: Callable[[], Result]) -> Result | None:
    """Call a service; what it refuses stands in the form, and nothing is returned."""
    try:
        return service()
    except ValidationError as error:
        add_service_errors(form, error)
        return None


def add_service_errors(form: BaseForm, error: ValidationError) -> None:
    """Show what a service refused; what fits no field stands above the form."""
    told = (
        error.error_dict
        if hasattr(error, "error_dict")
        else {NON_FIELD_ERRORS: error.error_list}
    )
    for name, errors in told.items():
        field = name if name in form.fields else None
        for one in errors:
            form.add_error(field, one)
