"""Two people open a bag at one grinder in the same moment: one of them sees what is open first."""

from datetime import timedelta
from functools import partial

import pytest
from django.utils import timezone

from audit.errors import Stale
from recipes.coffees.actions import add_coffee, add_lot
from stations.grinders.models import Grinder
from stations.lots.actions import open_at, open_lot
from stations.lots.models import LotOpening
from tests.cast import Cast
from tests.grinders import grinder_of
from tests.races import at_once
from tests.services import rounds
from tests.stations.conftest import Bar
from tests.stations.test_races import split

ROUNDS = rounds(100, 10)
pytestmark = pytest.mark.django_db(transaction=True)


def test_two_bags_at_one_grinder(bar: Bar, cast: Cast) -> None:
    coffee = add_coffee(by=cast.head_roaster, name="Morning blend", rest_from=0, rest_to=90)
    roasted = timezone.now().date() - timedelta(days=9)
    for code in ("A1", "B2", "C3", "D4"):
        add_lot(by=cast.head_roaster, coffee=coffee, code=code, roasted_on=roasted)
    grinder = grinder_of(bar.first, cast.owner)
    for number in range(ROUNDS):
        current = open_at(grinder)

        def opening(code: str, seen: int | None = current.pk if current else None) -> LotOpening:
            at = Grinder.objects.select_related("site").get(pk=grinder.pk)
            return open_lot(by=cast.barista, at=at, seen_opening=seen, code=code)

        codes = ("A1", "B2") if number % 2 else ("C3", "D4")
        won, lost = split(at_once([partial(opening, code) for code in codes]))
        assert (len(won), [type(told) for told in lost]) == (1, [Stale])
        assert open_at(grinder) == won[0]
    assert LotOpening.objects.open().count() == 1
    assert LotOpening.objects.count() == ROUNDS
