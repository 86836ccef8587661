"""Request parsers with a size limit and duplicate-key rejection."""

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.parsers import BaseParser, MultiPartParser

from api.errors import BodyTooLarge, PhotographTooLarge
from checks.services.image_normalisation import MAX_IMAGE_BYTES
from jobs.exchange.input.json_text import load_json
from jobs.exchange.issues import IssueCollector

CHUNK_BYTES = 1 << 16
MAX_FORM_BYTES = 100_000
"""Of the form around a photograph."""

MAX_DISCARD_RATIO = 8
"""Bodies up to this many times the limit are read to their end before the refusal."""


def read_body(stream: IO[bytes], declared: int | None) -> bytes:
    """Read a body within the limit.

    Raises
    ------
    BodyTooLarge
        With the limit.
    """
    limit: int = settings.API_MAX_BODY
    if declared is None or declared <= limit:
        body = stream.read(limit + 1)
        if len(body) <= limit:
            return body
    discard_body(stream, limit)
    raise BodyTooLarge(limit)


def discard_body(stream: IO[bytes], limit: int) -> None:
    """Read and drop the rest of a body, up to a multiple of the limit.

    A connection that is closed while the client still sends loses the response.
    """
    left = MAX_DISCARD_RATIO * limit
    while left > 0 and (chunk := stream.read(CHUNK_BYTES)):
        left -= len(chunk)


def declared_length(parser_context: Mapping[str, Any] | None) -> int | None:
    """Return the declared length of a body; None without one. [byte]"""
    request = (parser_context or {}).get("request")
    declared = request.META.get("CONTENT_LENGTH", "") if request else ""
    return int(declared) if str(declared).isdecimal() else None


class PhotographParser(MultiPartParser):
    """Parser of a photograph upload, with a size limit."""

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Parse the form unless its declared length is too large."""
        if (declared_length(parser_context) or 0) > MAX_IMAGE_BYTES + MAX_FORM_BYTES:
            discard_body(stream, MAX_IMAGE_BYTES)
            raise PhotographTooLarge(MAX_IMAGE_BYTES)
        return super().parse(stream, media_type, parser_context)


class RawBodyParser(BaseParser):
    """Parser that returns the bytes of a JSON body, for a document parser."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the body within the limit."""
        return read_body(stream, declared_length(parser_context))


class StrictJSONParser(RawBodyParser):
    """Strict JSON parser: duplicate keys are refused, as in exchange documents."""

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Return the decoded body."""
        refusals = IssueCollector()
        document = load_json(super().parse(stream, None, parser_context), refusals)
        refusals.raise_if_any()
        return document
