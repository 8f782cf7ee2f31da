"""However many versions have variants, the same number of questions is asked."""

from collections.abc import Callable
from functools import partial

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from people.signatures.whole import shown
from recipes.exchange.pages import exported
from recipes.menus.digest import menu_content
from recipes.versions.holding import said_at
from recipes.versions.models import Version
from stations.equipment.models import Station
from tests.bar import Bar
from tests.recipes.menus import spring
from tests.recipes.shelf import make_draft, make_recipe
from tests.recipes.variants.conftest import FLAT, STAGED, add_variant, signed

pytestmark = pytest.mark.django_db


def more(bar: Bar, name: str) -> None:
    draft = make_draft(bar.cast, make_recipe(bar.cast, name), STAGED)
    signed(bar.cast, add_variant(bar.cast, draft, bar.plain))


def asked(act: Callable[[], object]) -> int:
    with CaptureQueriesContext(connection) as told:
        act()
    return len(told)


def test_a_file_of_recipes(both: Version, bar: Bar) -> None:
    one = asked(exported)
    more(bar, "short")
    more(bar, "long")
    assert asked(exported) == one


def test_what_a_station_brews_of_versions_that_were_never_placed(both: Version, bar: Bar) -> None:
    def brewed() -> dict[int, object]:
        station = Station.objects.get(pk=bar.stations[2].pk)
        found = Version.objects.filter(variant_values__isnull=False).with_formula().distinct()
        return {**said_at(station, list(found))}

    one = asked(brewed)
    more(bar, "short")
    more(bar, "long")
    assert asked(brewed) == one
    assert list(brewed().values()) == [FLAT] * 3


def test_a_menu(both: Version, bar: Bar) -> None:
    """Whoever plans it, or looks at its signature, has the variants of its versions at hand."""
    looking = []
    for says in ({1: both}, {1: both, 2: bar.version}):
        menu = spring.approved(bar, says, f"of {len(says)}")
        drinks = [each.version for each in menu.drinks.all()]
        assert asked(partial(list, (each.variants for each in drinks))) == 0
        assert menu.signature
        looking.append(asked(partial(menu_content, shown(menu.signature))))
    assert looking[0] == looking[1]
