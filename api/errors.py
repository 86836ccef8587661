"""Every refusal of the interface as problem details (RFC 9457)."""

from typing import Any

from rest_framework.response import Response
from rest_framework.views import exception_handler

MEDIA_TYPE = "application/problem+json"


def problem_details(fault: Exception, context: dict[str, Any]) -> Response | None:
    """Turn an exception into `type`, `title`, `status`, `detail` and `errors`.

    What is not a refusal stays an exception, and becomes a fault of ours (500).
    """
    answer = exception_handler(fault, context)
    if answer is None:
        return None
    problem: dict[str, Any] = {
        "type": "about:blank",
        "title": answer.status_text,
        "status": answer.status_code,
    }
    if isinstance(answer.data, dict) and set(answer.data) == {"detail"}:
        problem["detail"] = str(answer.data["detail"])
    else:
        problem["errors"] = answer.data
    answer.data = problem
    answer.content_type = MEDIA_TYPE
    return answer
