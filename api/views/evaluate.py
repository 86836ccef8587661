"""Stateless evaluation of a document."""

from django.utils.timezone import now
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from api.base import IsAuthenticatedOrOpen, RecordView
from api.examples import EVALUATE_EXAMPLES
from api.openapi import BUILDING_REF, RESULT_REF
from api.parsers import RawBodyParser
from checks.evaluation.evaluate import evaluate
from jobs.exchange.input.parser import parse_building_text


class EvaluateView(RecordView):
    """Evaluation only: nothing is stored."""

    parser_classes = (RawBodyParser,)
    permission_classes = (IsAuthenticatedOrOpen,)
    throttle_scope = "evaluate"

    @extend_schema(
        operation_id="evaluate",
        summary="Evaluate a document without storing it",
        description="The same as `manage.py evaluate`. Requires a session or token, "
        "unless the deployment sets OPEN_EVALUATE.",
        tags=["evaluate"],
        request={"application/json": BUILDING_REF},
        responses={200: RESULT_REF},
        examples=EVALUATE_EXAMPLES,
    )
    def post(self, request: Request) -> Response:
        """Evaluate the document in the body."""
        body = request.data if isinstance(request.data, bytes) else b""
        return Response(evaluate(parse_building_text(body, now=now())))
