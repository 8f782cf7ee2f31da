"""What the bars may open: roast lots by the code on their bags, and how long each has rested."""

from collections.abc import Sequence
from datetime import date

from django.db.models import Q, Value
from django.db.models.functions import Concat

from recipes.coffees.models import Coffee, RoastLot, rest_of
from stations.lots.shelf import Aged, Lot

NEWEST = 20  # lots that are offered while a code is typed


def find(code: str) -> Sequence[Lot]:
    """Every lot with that code, or the one of that coffee and code; the newest for an empty one.

    Coffee and code are what the label on a bag says (``RoastLot.__str__``).
    """
    rows = RoastLot.objects.select_related("coffee")
    label = Concat("coffee__name", Value(" "), "code")
    named = rows.annotate(label=label).filter(Q(code__iexact=code) | Q(label__iexact=code))
    found = named if code else rows.order_by("-roasted_on")[:NEWEST]
    return [
        Lot(each.pk, each.coffee.name, each.code, each.roasted_on, each.rest_from, each.rest_to)
        for each in found
    ]


def ageing(roasted_on: date, rest_from: int, rest_to: int, on: date) -> Aged:
    """How such a lot stands on that day."""
    lot = RoastLot(coffee=Coffee(), roasted_on=roasted_on, rest_from=rest_from, rest_to=rest_to)
    rest = rest_of(lot, on)
    return Aged(rest.days, str(rest.state), rest.words())
