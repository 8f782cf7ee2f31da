"""Pages of a list by key, never by number: as fast on the last page as on the first."""

from rest_framework.exceptions import NotFound, ValidationError
from rest_framework.pagination import Cursor, CursorPagination
from rest_framework.request import Request


class KeysetPagination(CursorPagination):
    """Newest first by id; `limit` rows a page, `next` and `previous` as ready addresses."""

    ordering = "-id"
    page_size = 50
    page_size_query_param = "limit"
    max_page_size = 500

    def get_page_size(self, request: Request) -> int:
        """The wished-for size. Raises ValidationError if it is none from 1 to 500."""
        wished = str(request.query_params.get("limit", ""))
        if not wished:
            return self.page_size
        if not (_whole(wished) and 1 <= int(wished) <= 500):
            raise ValidationError({"limit": "a whole number from 1 to 500"})
        return int(wished)

    def decode_cursor(self, request: Request) -> Cursor | None:
        """The place in the list. Raises ValidationError for a cursor we did not give out."""
        hint = {"cursor": "the one in `next` or `previous` of an earlier answer"}
        try:
            cursor = super().decode_cursor(request)
        except NotFound as bad:
            raise ValidationError(hint) from bad
        if cursor and cursor.position is not None and not _whole(str(cursor.position)):
            raise ValidationError(hint)
        return cursor


def _whole(text: str) -> bool:
    """Digits only, and not more of them than a row's number has."""
    return text.isascii() and text.isdigit() and len(text) <= 18
