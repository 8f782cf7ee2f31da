"""A decimal kept exactly as it was entered."""

from typing import TYPE_CHECKING, Any

from django.db import models
from django.db.backends.base.base import BaseDatabaseWrapper

if TYPE_CHECKING:
    DecimalField = models.DecimalField[Any, Any]  # generic for the type checker only
else:
    DecimalField = models.DecimalField


class ExactDecimalField(DecimalField):
    """PostgreSQL ``numeric`` without a fixed scale: 18.0 stays 18.0 and 18.00 stays 18.00.

    ``max_digits`` and ``decimal_places`` bound what forms accept; the column itself rounds
    nothing, because rounding belongs to one place only, the machine's resolution.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:  # noqa: ANN401
        kwargs.setdefault("max_digits", 14)
        kwargs.setdefault("decimal_places", 6)
        super().__init__(*args, **kwargs)

    def db_type(self, connection: BaseDatabaseWrapper) -> str:
        """The column type."""
        return "numeric"
