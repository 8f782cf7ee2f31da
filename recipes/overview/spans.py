"""What versions said of a parameter, and what slots at the sites held of it, from when to when.

Five queries, however many slots: placements are counted together by site and by what entitled
them.
"""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from functools import cached_property
from typing import Any

from django.db.models import Count, F, Max, Min, Q

from people.signatures.models import Signature
from recipes.coffees.models import Recipe
from recipes.formula.parameters import Parameter
from recipes.permits.models import PermitChange
from recipes.planning.plan import PERMIT
from recipes.variants.models import VariantValue
from recipes.versions.models import FormulaValue, Version
from stations.slots.models import Placement


@dataclass(frozen=True, slots=True)
class Stated:
    """What one signed version says: its value with tolerance, and since when it was approved."""

    version: Version
    value: Decimal | str | None
    below: Decimal | None
    above: Decimal | None
    since: datetime


@dataclass(frozen=True, slots=True)
class Held:
    """What some slots of one site held on one entitlement; `until` None: still.

    `value` is in the recipe's own unit: the version's, or the permit's where it names this one.
    """

    site: str
    zone: str
    version: Version
    basis: str
    basis_id: int
    slots: int
    since: datetime
    until: datetime | None
    value: Decimal | str | None
    differs: bool  # a permit gave it a value of its own
    approval: Signature | None  # on which it was placed

    @property
    def on_permit(self) -> bool:
        """Whether a permit held it."""
        return self.basis == PERMIT.basis


@dataclass(frozen=True)
class OverTime:
    """The whole of it, oldest first."""

    parameter: Parameter
    versions: Sequence[Stated]
    slots: Sequence[Held]
    now: datetime

    @cached_property
    def sites(self) -> list[str]:
        """The sites that held it, by name."""
        return sorted({one.site for one in self.slots})

    @property
    def empty(self) -> bool:
        """Whether no version that was ever approved says anything of it."""
        return not self.versions


def over_time(
    recipe: Recipe, parameter: Parameter, sites: Collection[int] | None, now: datetime
) -> OverTime:
    """Read it; `sites` are those whose slots may be told of, None for all."""
    versions = list(_versions(recipe, parameter))
    by_digest = {one.version.content_digest: one for one in versions}
    return OverTime(parameter, versions, list(_held(by_digest, parameter, sites)), now)


def _versions(recipe: Recipe, parameter: Parameter) -> Iterator[Stated]:
    signed = recipe.versions.filter(signature__isnull=False).select_related("signature")
    rows = {
        row.version_id: row
        for row in FormulaValue.objects.filter(version__in=signed, code=parameter.code)
    }
    for version in signed.order_by("signature__at"):
        row, signature = rows.get(version.pk), version.signature
        if signature is None:
            continue
        value = _value(row) if row else None
        below, above = (row.below, row.above) if row else (None, None)
        yield Stated(version, value, below, above, signature.at)


def _value(row: FormulaValue | PermitChange) -> Decimal | str | None:
    return row.text or row.target


def _held(
    by_digest: Mapping[str, Stated], parameter: Parameter, sites: Collection[int] | None
) -> Iterator[Held]:
    rows = list(_grouped(by_digest, sites))
    permits = [row["basis_id"] for row in rows if row["basis"] == PERMIT.basis]
    permitted = {
        change.permit_id: _value(change)
        for change in PermitChange.objects.filter(permit__in=permits, code=parameter.code)
    }
    signatures = Signature.objects.in_bulk({row["signature"] for row in rows})
    varied = _varied(rows, parameter)
    for row in rows:
        stated = by_digest[row["digest"]]
        said = varied.get((stated.version.pk, row["variant"])) if row["variant"] else stated.value
        own = permitted.get(row["basis_id"]) if row["basis"] == PERMIT.basis else None
        yield Held(
            row["site__name"], row["site__time_zone"], stated.version, row["basis"],
            row["basis_id"], row["slots"], row["since"], None if row["going_on"] else row["until"],
            said if own is None else own, own is not None,
            signatures.get(row["signature"]),
        )  # fmt: skip


def _varied(
    rows: Sequence[Mapping[str, Any]], parameter: Parameter
) -> dict[tuple[int, int], Decimal | str | None]:
    """By version and machine type (ids), what variants say of it; no query where none was held."""
    held = [row for row in rows if row["variant"]]
    if not held:
        return {}
    said = VariantValue.objects.filter(
        code=parameter.code,
        machine_type__in={row["variant"] for row in held},
        version__content_digest__in={row["digest"] for row in held},
    )
    return {(each.version_id, each.machine_type_id): each.text or each.target for each in said}


def _grouped(digests: Collection[str], sites: Collection[int] | None) -> list[dict[str, Any]]:
    began = Placement.objects.filter(
        settings__content_digest__in=list(digests), started_at__isnull=False
    ).exclude(manner=Placement.Manner.BY_HAND)
    if sites is not None:
        began = began.filter(site__in=sites)
    rows = (
        began.order_by()
        .values("site__name", "site__time_zone", "basis", "basis_id", "signature")
        .annotate(
            digest=F("settings__content_digest"),
            variant=F("settings__variant_id"),
            slots=Count("pk"),
            since=Min("started_at"),
            until=Max("ended_at"),
            going_on=Count("pk", filter=Q(ended_at=None)),
        )
        .order_by("since", "site__name", "basis_id")
    )
    return [dict(row) for row in rows]
