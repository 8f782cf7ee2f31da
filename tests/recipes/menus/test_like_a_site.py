"""A new site like Harbour: a menu begins with what a site's slots should hold."""

import pytest

from audit.errors import Invalid, NotPermitted
from recipes.menus.drafts import add_menu, found_at
from recipes.menus.review import submit
from recipes.publishing import run
from stations.slots.models import Placement
from tests.bar import Bar
from tests.publishing import Publish, send
from tests.recipes.menus import spring
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.hands import at_slot, other_version

__all__ = ["send"]
pytestmark = pytest.mark.django_db


def test_a_new_site_gets_what_harbour_holds(bar: Bar, send: Publish) -> None:
    cast, short = bar.cast, other_version(bar)
    for slot in bar.slots[:6]:  # the harbour's
        run.run(send(bar.version if slot.number == 1 else short, at_slot(slot)).pk)
    menu = add_menu(by=cast.head_roaster, name="Like Harbour", like=cast.site)
    assert menu.arrangement == {1: bar.version, 2: short}
    submit(by=cast.head_roaster, menu_version=menu, revision=menu.revision)
    menu.refresh_from_db()
    approved = spring.whole(spring.signed(menu, cast.second_roaster))
    spring.follows(approved.menu, cast, cast.other_site)
    run.run(spring.sent(approved, cast.head_roaster).pk)
    there = Placement.objects.in_force().filter(site=cast.other_site)
    held = dict(there.values_list("slot__number", "settings__content_digest"))
    assert held == {1: bar.version.content_digest, 2: short.content_digest}


def test_where_stations_differ_most_win_and_a_permit_is_its_recipe(bar: Bar, send: Publish) -> None:
    short = other_version(bar)
    first, _, second, _, third, _ = bar.slots[:6]
    for slot, version in ((first, bar.version), (second, bar.version), (third, short)):
        run.run(send(version, at_slot(slot)).pk)
    permit([first], bar.cast.head_roaster)
    found = found_at(bar.cast.site)
    assert found.arrangement == {1: bar.version.pk}
    assert found.uneven == (1,)
    menu = add_menu(by=bar.cast.head_roaster, name="Like Harbour", like=bar.cast.site)
    assert menu.note == "Like Harbour. Its stations differ on slot 1: what most hold is taken."


def test_a_site_without_recipes_is_no_model(bar: Bar) -> None:
    with pytest.raises(Invalid, match="holds approved versions"):
        add_menu(by=bar.cast.head_roaster, name="Like Harbour", like=bar.cast.site)


def test_who_may_not_draft_adds_none(bar: Bar) -> None:
    with pytest.raises(NotPermitted):
        add_menu(by=bar.cast.shop_lead, name="Mine")
