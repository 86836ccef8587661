"""Addresses of the pages of checks."""

from django.urls import reverse


def url(name: str, *args: object) -> str:
    return reverse(f"checks:{name}", args=args)
