"""The OpenAPI schema of webhooks: the events that other systems receive."""

from typing import Any

from django.conf import settings

from jobs.notifications.http_post import PostTimeouts
from jobs.notifications.http_signatures import SIGNATURE_LIFETIME_S
from jobs.notifications.models import Event
from jobs.notifications.webhook_delivery import EVENT_FORMAT, TEST_EVENT_TYPE

Schema = dict[str, Any]
EVENT_REF: Schema = {"$ref": "#/components/schemas/Event"}
TIMEOUT_S = int(PostTimeouts().total_s)
LIFETIME_MIN = SIGNATURE_LIFETIME_S // 60
DESCRIPTION = f"""\
Sent at least once to every address that is registered as a webhook. Signed with
`hmac-sha256` by RFC 9421 under the label `padstone`: compare the signature with the one
you compute from the received request and the secret (32 bytes, shown once in Base64),
and the body with `Content-Digest` (RFC 9530). Refuse a signature `created` more than
{LIFETIME_MIN} minutes ago, and process each `id` once. Any 2xx status within
{TIMEOUT_S} seconds accepts the event; the response body is not read, and redirects are
not followed. Otherwise it is sent again for a day with growing pauses; then the webhook
is switched off and its owner is notified.
"""


def build_event_schema() -> Schema:
    """Return the schema of an event."""
    link = {"type": "string", "format": "uri"}
    return {
        "type": "object",
        "required": ["format", "id", "type", "time", "by", "detail", "links"],
        "additionalProperties": False,
        "properties": {
            "format": {"const": EVENT_FORMAT},
            "id": {
                "type": "string",
                "format": "uuid",
                "description": "The same each time the event is sent.",
            },
            "type": {"enum": [*Event.Kind.values, TEST_EVENT_TYPE]},
            "time": {"type": "string", "format": "date-time"},
            "by": {
                "type": ["string", "null"],
                "description": "User name; null where the system did it.",
            },
            "detail": {
                "type": "object",
                "additionalProperties": {"type": ["string", "integer"]},
            },
            "links": {
                "type": "object",
                "additionalProperties": False,
                "description": "Addresses of the details; they need a token.",
                "properties": dict.fromkeys(settings.EVENT_LINKS, link),
            },
        },
    }


def add_webhooks(result: Schema, **_: Any) -> Schema:
    """Add the request that a webhook receives."""
    result["components"]["schemas"]["Event"] = build_event_schema()
    fields = ("Content-Digest", "Signature-Input", "Signature")
    result["webhooks"] = {
        "event": {
            "post": {
                "operationId": "event",
                "summary": "Something happened",
                "description": DESCRIPTION,
                "parameters": [
                    {
                        "name": name,
                        "in": "header",
                        "required": True,
                        "schema": {"type": "string"},
                    }
                    for name in fields
                ],
                "requestBody": {
                    "required": True,
                    "content": {"application/json": {"schema": EVENT_REF}},
                },
                "responses": {"2XX": {"description": "Accepted."}},
            }
        }
    }
    return result
