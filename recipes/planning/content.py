"""Whether what is stored of a signed plan still says what was seen: the part all kinds share."""

from collections.abc import Callable, Collection, Iterator, Mapping
from hashlib import sha256
from typing import Any

import rfc8785
from django.db.models import F

from people.signatures.content import Seen, scheme_of
from recipes.planning.models import SignedPlan
from recipes.planning.plan import Kind
from stations.slots.models import Placement

Values = Mapping[str, Any]
# Of a slot (id) at a station (id), the settings that a plan said, or the digest of them where it
# has too many to write out; None where it said nothing.
Said = Callable[[int, int], Values | str | None]


def settings_digest(values: Values) -> str:
    """SHA-256 (hex) over the RFC 8785 bytes of a station's settings."""
    return sha256(rfc8785.dumps(dict(values))).hexdigest()


def are_said(values: Values, said: Values | str | None) -> bool:
    """Whether stored settings are what a plan said of them."""
    return settings_digest(values) == said if isinstance(said, str) else values == said


def document_moved(made: SignedPlan, seen: Seen, digest: str) -> Iterator[str]:
    """What of the document itself no longer fits its signature's digest and what was seen."""
    if made.plan_digest != digest:
        yield "the plan it names"
    if scheme_of(seen) > 1 and made.accepted != seen["accepted"]:
        yield "what was accepted by name"


def slots_moved(
    kind: Kind,
    basis_id: int,
    planned: Mapping[int, Values],
    variants: Mapping[int, int],
) -> Iterator[str]:
    """Whether a slot was given other settings, or another variant, than were planned for it."""
    placed = Placement.objects.filter(slot__in=planned, basis=kind.basis, basis_id=basis_id)
    rows = placed.values_list("slot_id", "settings__values", "settings__variant_id")
    if any((values, variant) != (planned[pk], variants.get(pk)) for pk, values, variant in rows):
        yield "the settings of its slots"


def settings_written(
    kind: Kind, basis_id: int, stations: Collection[int]
) -> Iterator[tuple[int, Values, int | None]]:
    """Each different (station, settings, variant) that a signed plan placed at these stations.

    By slot first, which is how placements are indexed.
    """
    placed = Placement.objects.filter(
        slot__station__in=stations, basis=kind.basis, basis_id=basis_id,
        # What was translated anew before its moment was signed with that measurement.
        signature__meaning=kind.meaning,
    )  # fmt: skip
    columns = placed.order_by().values_list(
        F("settings__station_id"), "settings__values", "settings__variant_id"
    )
    rows: Iterator[tuple[int, Values, int | None]] = columns.distinct().iterator()
    return rows
