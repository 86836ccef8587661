"""Schemas of the exchange documents and of the API, and the API docs."""

from collections.abc import Callable
from typing import Any

from django.http import Http404, HttpResponse
from drf_spectacular.utils import extend_schema
from drf_spectacular.views import SpectacularAPIView, SpectacularSwaggerSplitView
from rest_framework.request import Request

from api.base import PublicView, conditional_response, with_etag
from jobs.exchange.canonical_json import sha256_of
from jobs.exchange.published_schemas import building_schema, result_schema

SCHEMAS: dict[str, Callable[[], dict[str, Any]]] = {
    "padstone.building-1": building_schema,
    "padstone.result-1": result_schema,
}
DAY_S = 86_400


class DocumentSchemaView(PublicView):
    """The JSON Schema of an exchange document."""

    @extend_schema(
        operation_id="schema_of_document",
        summary="Get the JSON Schema of an exchange document",
        tags=["schemas"],
        auth=[],
        responses={200: {"type": "object"}},
    )
    def get(self, request: Request, name: str) -> HttpResponse:
        """Return the schema; it is public."""
        if name not in SCHEMAS:
            known = " and ".join(f"{each}.json" for each in SCHEMAS)
            msg = f"No such schema. The schemas are {known}."
            raise Http404(msg)
        schema = SCHEMAS[name]()
        etag = sha256_of(schema)
        answer = conditional_response(request, etag) or with_etag(schema, etag)
        answer["Cache-Control"] = f"public, max-age={DAY_S}"
        return answer


class OpenApiView(SpectacularAPIView):
    """The OpenAPI schema of the API."""

    authentication_classes = ()


class SwaggerView(SpectacularSwaggerSplitView):
    """The API docs, to read and to try out in a browser."""

    authentication_classes = ()
    url_name = "api:schema"
    template_name = "api/docs.html"


class NotFoundView(PublicView):
    """The response for any other address below /api/v1/."""

    fallback = True

    def dispatch(self, request: Any, *args: Any, **kwargs: Any) -> HttpResponse:
        """Respond with 404 as problem details."""
        self.args, self.kwargs = args, kwargs
        request = self.initialize_request(request)
        self.request, self.headers = request, {}
        msg = "No such address. Addresses of the API end without a slash."
        return self.finalize_response(request, self.handle_exception(Http404(msg)))
