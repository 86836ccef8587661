"""Long lists in pages, by cursor: what is added meanwhile shifts nothing."""

import re
from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request

CURSOR_POSITION = re.compile(r"[0-9]{1,18}")  # a primary key


class NewestFirstPagination(CursorPagination):
    """The newest first; `limit` says how many at once."""

    ordering = "-pk"
    page_size_query_param = "limit"
    max_page_size = 500

    def decode_cursor(self, request: Request) -> Any:
        """Refuse a cursor that was not given out here."""
        cursor: Cursor | None = super().decode_cursor(request)
        position = cursor.position if cursor else None
        if position is not None and not CURSOR_POSITION.fullmatch(str(position)):
            raise NotFound(self.invalid_cursor_message)
        return cursor


class OldestFirstPagination(NewestFirstPagination):
    """The oldest first, to carry on from where one stopped."""

    ordering = "pk"
