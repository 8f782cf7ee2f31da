"""What the bars may open: roast lots by the code on their bags, and how long each has rested."""

from collections.abc import Sequence
from datetime import date

from recipes.coffees.models import Coffee, RoastLot, rest_of
from stations.lots.shelf import Aged, Lot

NEWEST = 20  # lots that are offered while a code is typed


def find(code: str) -> Sequence[Lot]:
    """Every lot with that code; the newest ones for an empty code."""
    rows = RoastLot.objects.select_related("coffee")
    found = rows.filter(code__iexact=code) if code else rows.order_by("-roasted_on")[:NEWEST]
    return [
        Lot(each.pk, each.coffee.name, each.code, each.roasted_on, each.rest_from, each.rest_to)
        for each in found
    ]


def ageing(roasted_on: date, rest_from: int, rest_to: int, on: date) -> Aged:
    """How such a lot stands on that day."""
    lot = RoastLot(coffee=Coffee(), roasted_on=roasted_on, rest_from=rest_from, rest_to=rest_to)
    rest = rest_of(lot, on)
    return Aged(rest.days, str(rest.state), rest.words())
