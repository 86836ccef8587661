"""What other programs are told, in the interface's description (OpenAPI 3.1)."""

from typing import Any

from django.conf import settings

from jobs.notifications.http_post import PostTimeouts
from jobs.notifications.http_signatures import SIGNATURE_LIFETIME_S
from jobs.notifications.models import Event
from jobs.notifications.webhook_delivery import EVENT_FORMAT, TEST_EVENT_TYPE

Schema = dict[str, Any]
EVENT_REF: Schema = {"$ref": "#/components/schemas/Event"}
TIMEOUT_S = int(PostTimeouts().total_s)
DESCRIPTION = f"""\
Sent to the addresses that are registered as webhooks, at least once. Signed with
`hmac-sha256` by RFC 9421 under the label `padstone`: compare the signature with one
made of the request as it came in and the secret, 32 bytes shown once in Base64; compare
the body with `Content-Digest` (RFC 9530). Refuse what was `created` more than
{SIGNATURE_LIFETIME_S // 60} minutes ago, and take an `id` once. Any status 2xx within {TIMEOUT_S}
seconds takes it; its body is not read, and redirects are not followed. Otherwise it is
sent again for a day, after longer and longer pauses; then the webhook is switched off
and its owner told.
"""


def build_event_schema() -> Schema:
    """Give the schema of what is sent."""
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
                "description": "User name; null where it followed from something else.",
            },
            "detail": {
                "type": "object",
                "additionalProperties": {"type": ["string", "integer"]},
            },
            "links": {
                "type": "object",
                "additionalProperties": False,
                "description": "Where more is to be had, with a token.",
                "properties": dict.fromkeys(settings.EVENT_LINKS, link),
            },
        },
    }


def add_webhooks(result: Schema, **_: Any) -> Schema:
    """Describe the request that a webhook gets."""
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
                "responses": {"2XX": {"description": "Taken."}},
            }
        }
    }
    return result
