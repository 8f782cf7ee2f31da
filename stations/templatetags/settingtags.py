"""Labels and units of settings, from the catalogue."""

from collections.abc import Sequence
from decimal import ROUND_HALF_UP, Decimal

from django import template

from stations.machine_types.catalogue import label_of, unit_of, word_of
from stations.metrology.formula import ENDS_BY
from stations.slots.bases import basis_of
from stations.slots.models import Placement

register = template.Library()


@register.filter
def setting_label(code: str) -> str:
    """A parameter's label."""
    return label_of(code)


@register.filter
def setting_unit(code: str) -> str:
    """The UCUM code of a parameter's unit on the machine; `unit` and `quantity` print it."""
    return unit_of(code)


@register.filter
def basis_label(placement: Placement) -> str:
    """What a placement is under, with its number where it has one: "Deviation permit 3"."""
    label = basis_of(placement).label
    named = label[0].upper() + label[1:]
    return named if placement.basis_id is None else f"{named} {placement.basis_id}"


@register.filter
def basis_url(placement: Placement) -> str:
    """The page of what a placement is under; empty where there is none."""
    return basis_of(placement).url(placement.basis_id)


@register.filter
def two_digits(value: Decimal) -> Decimal:
    """An uncertainty to two significant digits, which is all it is worth (JCGM 100, 7.2.6)."""
    return as_sure_as(value, value)


@register.filter
def as_sure_as(value: Decimal, uncertainty: Decimal | None) -> Decimal:
    """A measured value to the last digit of its uncertainty; as it is where none is known."""
    if not uncertainty:
        return value
    last = min(uncertainty.adjusted() - 1, 0)
    return value.quantize(Decimal(1).scaleb(last), ROUND_HALF_UP)


@register.filter
def endings(codes: Sequence[str]) -> str:
    """How a shot can end, in words: 'water volume or the operator'."""
    words = [word_of(ENDS_BY, code) for code in codes]
    return " or ".join(filter(None, [", ".join(words[:-1]), words[-1] if words else ""]))
