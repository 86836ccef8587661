"""Cursor pagination: rows that are added meanwhile do not shift a page."""

import re
from typing import Any

from rest_framework.exceptions import NotFound
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request

CURSOR_POSITION = re.compile(r"[0-9]{1,18}")
"""A primary key: anything else in a cursor would reach the database."""


class NewestFirstPagination(CursorPagination):
    """Newest first; `limit` sets the page size."""

    ordering = "-pk"
    page_size_query_param = "limit"
    max_page_size = 500

    def decode_cursor(self, request: Request) -> Any:
        """Refuse a cursor that no page of this API contains."""
        cursor: Cursor | None = super().decode_cursor(request)
        position = cursor.position if cursor else None
        if position is not None and not CURSOR_POSITION.fullmatch(str(position)):
            raise NotFound(self.invalid_cursor_message)
        return cursor


class OldestFirstPagination(NewestFirstPagination):
    """Oldest first, so that a client can continue where it stopped."""

    ordering = "pk"
