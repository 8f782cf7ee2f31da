"""What the history calls the changes of variants, and how it shows them."""

from collections.abc import Iterable, Sequence

from audit.registry import register_approval, register_touched
from audit.vocabulary import register as action
from people.signatures.content import signed_rows
from recipes.variants.models import VariantValue
from recipes.versions.history import DRAFT

VARIANT_EDITED = action("variant.edited", "Edited variant for a machine type")
VARIANT_REMOVED = action("variant.removed", "Removed variant for a machine type")


def register() -> None:
    """Called once, when the program starts."""
    table = VariantValue._meta.db_table
    register_approval(table, signed_rows(VariantValue, "version__signature"), DRAFT)
    register_touched(table, _versions_of)


def _versions_of(values: Sequence[int]) -> Iterable[tuple[int, str, int]]:
    """The versions whose variants these values stand in."""
    rows = VariantValue.objects.filter(pk__in=values).values_list("pk", "version_id")
    return [(row, "version", version) for row, version in rows]
