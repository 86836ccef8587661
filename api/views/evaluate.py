"""Evaluate a document that nobody keeps."""

from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import RecordView, SignedInOrOpen
from api.examples import EVALUATE
from api.openapi import BUILDING, RESULT
from api.parsers import RawParser
from checks.evaluation.evaluate import evaluate
from jobs.exchange.parse import read_text


class Evaluate(RecordView):
    """The arithmetic alone: nothing is stored."""

    parser_classes = (RawParser,)
    permission_classes = (SignedInOrOpen,)
    throttle_scope = "evaluate"

    @extend_schema(
        operation_id="evaluate",
        summary="Evaluate a document; nothing is stored",
        description="Takes and gives what `manage.py evaluate` does. For people "
        "signed in; for everybody where the house set OPEN_EVALUATE.",
        tags=["evaluate"],
        request={"application/json": BUILDING},
        responses={200: RESULT},
        examples=EVALUATE,
    )
    def post(self, request: Request) -> Response:
        """Read, compute, answer."""
        body = request.data if isinstance(request.data, bytes) else b""
        return Response(evaluate(read_text(body)))
