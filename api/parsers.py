"""Bodies: never more than is taken at once, and every JSON member meant once."""

from collections.abc import Mapping
from typing import IO, Any

from django.conf import settings
from rest_framework.parsers import BaseParser, MultiPartParser

from api.errors import BodyTooLarge, PhotographTooLarge
from checks.services.pictures import MOST_BYTES
from jobs.exchange.json_text import load_json
from jobs.exchange.reader import Refusals

PIECE = 1 << 16
MEMBERS = 100_000  # bytes beside a photograph, at most
PASSED_OVER = 8  # bodies up to so many times the limit are read to their end


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
    drop(stream, most)
    raise BodyTooLarge(most)


def drop(stream: IO[bytes], most: int) -> None:
    """Read what is not taken to its end, up to a point."""
    left = PASSED_OVER * most
    while left > 0 and (piece := stream.read(PIECE)):
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
        if (declared_length(parser_context) or 0) > MOST_BYTES + MEMBERS:
            drop(stream, MOST_BYTES)
            raise PhotographTooLarge(MOST_BYTES)
        return super().parse(stream, media_type, parser_context)


class RawParser(BaseParser):
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


class ExactJSONParser(RawParser):
    """Reads JSON as the exchange documents are read: no member named twice."""

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Read and decode the body."""
        refusals = Refusals()
        document = load_json(super().parse(stream, None, parser_context), refusals)
        refusals.settle()
        return document
