"""Bodies: never more than is taken at once, and every JSON member meant once."""

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.parsers import BaseParser, MultiPartParser

from api.errors import BodyTooLarge, PhotographTooLarge
from checks.services.image_normalisation import MAX_IMAGE_BYTES
from jobs.exchange.input.json_reader import IssueCollector
from jobs.exchange.input.json_text import load_json

CHUNK_BYTES = 1 << 16
MAX_FORM_BYTES = 100_000  # bytes beside a photograph, at most
MAX_DISCARD_RATIO = 8  # bodies up to so many times the limit are read to their end


def read_body(stream: IO[bytes], declared: int | None) -> bytes:
    """Read a body, and refuse one that is too large.

    What is too large is read and dropped, up to a point, for a server that closes
    the connection on a client still sending takes its answer away with it.

    Raises
    ------
    BodyTooLarge
        Saying how much is taken.
    """
    most: int = settings.API_MAX_BODY
    if declared is None or declared <= most:
        body = stream.read(most + 1)
        if len(body) <= most:
            return body
    discard_body(stream, most)
    raise BodyTooLarge(most)


def discard_body(stream: IO[bytes], most: int) -> None:
    """Read what is not taken to its end, up to a point."""
    left = MAX_DISCARD_RATIO * most
    while left > 0 and (piece := stream.read(CHUNK_BYTES)):
        left -= len(piece)


def declared_length(parser_context: Mapping[str, Any] | None) -> int | None:
    """Give how long a request says its body is, None where it does not. [byte]"""
    request = (parser_context or {}).get("request")
    declared = request.META.get("CONTENT_LENGTH", "") if request else ""
    return int(declared) if str(declared).isdecimal() else None


class PhotographParser(MultiPartParser):
    """Reads the members and the file of a photograph, none larger than is taken."""

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Refuse what says it is too large, then read it."""
        if (declared_length(parser_context) or 0) > MAX_IMAGE_BYTES + MAX_FORM_BYTES:
            discard_body(stream, MAX_IMAGE_BYTES)
            raise PhotographTooLarge(MAX_IMAGE_BYTES)
        return super().parse(stream, media_type, parser_context)


class RawBodyParser(BaseParser):
    """Gives the bytes of a JSON body, to be read by whoever knows the document."""

    media_type = "application/json"

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Read the body within the limit."""
        return read_body(stream, declared_length(parser_context))


class StrictJSONParser(RawBodyParser):
    """Reads JSON as the exchange documents are read: no member named twice."""

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Read and decode the body."""
        refusals = IssueCollector()
        document = load_json(super().parse(stream, None, parser_context), refusals)
        refusals.raise_if_any()
        return document
