"""Tastings attached to a request or a draft, as its page shows them."""

from dataclasses import dataclass

from recipes.models import ChangeRequest, Tasting, Version
from recipes.tastings.result import Result, result_of


@dataclass(frozen=True, slots=True)
class Evidence:
    """An opened tasting with its outcome."""

    tasting: Tasting
    result: Result


def evidence_of(thing: ChangeRequest | Version) -> list[Evidence]:
    """What was attached to it; a version also carries what its change request brought."""
    found = list(thing.tastings.select_related("site").prefetch_related("answers"))
    if isinstance(thing, Version) and thing.change_request_id:
        rows = Tasting.objects.filter(for_request=thing.change_request_id)
        found += rows.select_related("site").prefetch_related("answers")
    return [Evidence(one, result_of(one)) for one in found]
