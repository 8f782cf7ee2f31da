"""Permits: what was permitted, to which slots and until when, as it was seen."""

from collections.abc import Collection, Iterator, Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from audit.registry import ContentShown, SignatureShown
from people.signatures.content import Seen, as_seen, content_shown
from recipes.permits.models import Permit, PermitChange
from recipes.planning.content import Said, document_moved, slots_moved
from recipes.planning.plan import PERMIT
from recipes.planning.served import Reader, Varied
from stations.slots.models import Placement


def permit_content(signed: SignatureShown) -> ContentShown:
    """Of a permit's plan."""
    granted = Permit.objects.filter(pk=signed.about_id).first()
    if granted is None:
        return content_shown(["the permit is gone"])
    return as_seen(signed, lambda seen: _moved(granted, seen, signed.digest))


def _moved(granted: Permit, seen: Seen, digest: str) -> Iterator[str]:
    yield from document_moved(granted, seen, digest)
    changes = {each.code: each.text or str(each.target) for each in granted.changes.all()}
    if changes != seen["changes"]:
        yield "what may differ"
    if granted.ends_at != datetime.fromisoformat(seen["ends_at"]):
        yield "its end"
    planned = _planned(seen)
    if set(granted.slots.values_list("slot_id", flat=True)) != set(planned):
        yield "the slots it names"
    yield from slots_moved(PERMIT, granted.pk, planned, _variants(seen))


def deviations_of(placement: Placement) -> dict[str, tuple[Decimal | None, str]]:
    """What a placement on a permit was allowed to differ in: target or text by parameter."""
    if placement.basis != PERMIT.basis:
        return {}
    changes = PermitChange.objects.filter(permit=placement.basis_id)
    return {change.code: (change.target, change.text) for change in changes}


def _planned(seen: Seen) -> dict[int, Any]:
    """The settings of each slot (id); None where it gets no others."""
    return {line[0]: line[2] for line in seen["slots"]}


def _variants(seen: Seen) -> dict[int, int]:
    """The machine type whose variant each slot (id) keeps, where it holds one."""
    return {line[0]: line[5] for line in seen["slots"] if len(line) > 5}


def _varied(seen: Seen) -> Varied:
    variants = _variants(seen)
    return lambda slot, _: variants.get(slot)


def _said(seen: Seen) -> Said:
    planned = _planned(seen)
    return lambda slot, _: planned.get(slot)


def _digests(ids: Collection[int]) -> Mapping[int, str]:
    return dict(Permit.objects.filter(pk__in=ids).values_list("pk", "plan_digest"))


READER = Reader(PERMIT, _digests, _said, variant=_varied)
