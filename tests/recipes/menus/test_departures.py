"""A site that should hold something other than its menu says, shows by mark and word."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from audit.capture.models import Entry
from recipes.menus.departures import Departs, departing_slots, departures, standings
from recipes.menus.drafts import new_draft
from recipes.menus.following import follow
from recipes.menus.models import Following, MenuVersion
from recipes.menus.on_the_bar import part_of
from recipes.menus.review import submit
from recipes.publishing import run
from stations.equipment.models import Slot
from stations.slots.models import Placement
from tests.bar import Bar, approved, draft, station
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, send
from tests.recipes.menus import spring
from tests.recipes.permits.test_permits import permit
from tests.recipes.publishing.hands import at_slot, next_week, other_version

__all__ = ["send"]
pytestmark = pytest.mark.django_db


@pytest.fixture
def menu(bar: Bar) -> MenuVersion:
    """A menu that both sites follow and hold."""
    made = spring.approved(bar)
    spring.follows(made.menu, bar.cast)
    run.run(spring.sent(made, bar.cast.head_roaster).pk)
    return made


def kinds(bar: Bar) -> dict[int, Departs]:
    """By slot, everywhere."""
    every = departures([bar.cast.site.pk, bar.cast.other_site.pk])
    return {each.slot_id: each.kind for each in every}


def test_where_all_is_as_the_menu_says_nothing_departs(bar: Bar, menu: MenuVersion) -> None:
    assert kinds(bar) == {}


def test_another_version_departs(bar: Bar, menu: MenuVersion, send: Publish) -> None:
    slot = bar.slots[0]
    run.run(send(other_version(bar, "Long"), at_slot(slot)).pk)
    [one] = departures([bar.cast.site.pk])
    assert (one.slot_id, one.kind) == (slot.pk, Departs.OTHER)
    assert one.words == "Morning blend · Long · version 1"
    assert one.says == bar.version
    assert departing_slots([bar.cast.site.pk, bar.cast.other_site.pk]) == {bar.cast.site.pk: 1}


def test_a_permit_departs_and_what_is_free_does_not(bar: Bar, menu: MenuVersion) -> None:
    granted = permit([bar.slots[1]], bar.cast.head_roaster)
    [one] = departures([bar.cast.site.pk])
    assert (one.slot_id, one.kind, one.permit_id) == (bar.slots[1].pk, Departs.PERMIT, granted.pk)


def test_nothing_departs_and_so_does_a_slot_that_was_added(bar: Bar, menu: MenuVersion) -> None:
    station(bar.stations[0].machine, 3, "4.00", slots=3)
    assert set(kinds(bar).values()) == {Departs.NOTHING}
    assert len(kinds(bar)) == 2  # slot 3 is not on the menu


def test_what_waits_for_the_menu_does_not_depart(bar: Bar) -> None:
    made = spring.approved(bar)
    spring.follows(made.menu, bar.cast)
    assert set(kinds(bar).values()) == {Departs.NOTHING}
    spring.sent(made, bar.cast.head_roaster, when=next_week())
    assert kinds(bar) == {}


def test_a_site_is_held_against_what_was_published_there(bar: Bar, menu: MenuVersion) -> None:
    """An approved version that was not published yet makes nobody depart."""
    newer = new_draft(by=bar.cast.head_roaster, based_on=menu)
    newer.drinks.filter(slot_number=1).update(version=menu.arrangement[2])
    newer.refresh_from_db()
    done = submit(by=bar.cast.head_roaster, menu_version=newer, revision=newer.revision)
    spring.signed(done, bar.cast.second_roaster)
    assert kinds(bar) == {}
    for each in standings(Following.objects.all()):
        assert (each.version, each.sent, each.newer) == (menu, True, newer)


def test_a_new_version_of_a_recipe_alone_departs_and_the_next_menu_takes_it(
    bar: Bar, menu: MenuVersion, send: Publish
) -> None:
    better = approved(bar.cast, draft(bar.cast, recipe=bar.version.recipe))
    run.run(send(better, at_slot(bar.slots[0])).pk)
    assert list(kinds(bar).values()) == [Departs.OTHER]
    assert [number for number, _ in spring.whole(menu).out_of_use] == [1]
    assert new_draft(by=bar.cast.head_roaster, based_on=menu).arrangement[1] == better


def test_who_follows_nothing_departs_from_nothing(bar: Bar, menu: MenuVersion) -> None:
    permit([bar.slots[1]], bar.cast.head_roaster)
    by = bar.cast.head_roaster
    follow(by=by, site=bar.cast.site, menu=None, instead_of=menu.menu_id)
    assert kinds(bar) == {}


def test_it_costs_the_same_for_a_chain(bar: Bar, menu: MenuVersion) -> None:
    def asked() -> int:
        with CaptureQueriesContext(connection) as told:
            standings(Following.objects.all())
        return len(told)

    few = asked()
    for number in range(3, 9):
        station(bar.stations[0].machine, number, "4.00", slots=2)
    assert asked() <= few + 1  # the versions that departures name
    assert len(kinds(bar)) == 12


def test_pages_and_endpoint_tell_by_mark_and_word(
    bar: Bar, menu: MenuVersion, signed_in: SignedIn, api_as: ApiAs
) -> None:
    permit([bar.slots[1]], bar.cast.head_roaster)
    browser, site = signed_in(bar.cast.shop_lead), bar.cast.site
    for path in (f"/sites/{site.pk}/", f"/sites/{site.pk}/menu/", f"/menus/{menu.menu_id}/", "/"):
        told = browser.get(path).content.decode()
        assert "Departs" in told, path
        assert "Spring" in told
    answer = api_as(bar.cast.shop_lead).get(f"/api/v1/sites/{site.code}/menu/").json()
    assert answer["menu_name"] == "Spring"
    assert [(each["slot"], each["departs"]) for each in answer["departures"]] == [
        (bar.slots[1].pk, "permit")
    ]


def test_of_other_sites_nothing_is_told(bar: Bar, menu: MenuVersion, signed_in: SignedIn) -> None:
    told = signed_in(bar.cast.shop_lead).get(f"/menus/{menu.menu_id}/").content.decode()
    assert str(bar.cast.site) in told
    assert str(bar.cast.other_site) not in told


def test_so_does_its_history(bar: Bar, menu: MenuVersion, signed_in: SignedIn) -> None:
    about = Entry.objects.filter(table_name="stations_placement", subject_id=bar.slots[0].pk)
    entry = about.filter(operation="created").latest("id")
    page = signed_in(bar.cast.owner).get(f"/history/{entry.pk}/")
    assert "menu Spring · version 1" in page.content.decode()


def test_a_slot_says_by_which_menu(bar: Bar, menu: MenuVersion, signed_in: SignedIn) -> None:
    rows = list(Placement.objects.in_force())
    assert set(part_of(rows).values()) == {"menu Spring · version 1"}
    page = signed_in(bar.cast.shop_lead).get(f"/slots/{Slot.objects.first().pk}/")  # type: ignore[union-attr]
    assert "menu Spring · version 1" in page.content.decode()
