"""Whatever is changed behind the program's back, the signature's page finds it.

Done as a superuser with the triggers told to stand aside.
"""

from html import unescape

import pytest
from django.test import Client

from recipes.planning import served
from recipes.publishing import run
from recipes.publishing.models import Publication
from stations.slots.models import Placement
from tests.bar import Bar
from tests.recipes.menus import spring
from tests.recipes.publishing.test_signed_content import CHANGED, SAME, tamper

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(bar: Bar) -> Publication:
    """A menu's publication that was placed."""
    menu = spring.approved(bar)
    spring.follows(menu.menu, bar.cast)
    publication = spring.sent(menu, bar.cast.head_roaster)
    run.run(publication.pk)
    return Publication.objects.with_version().get(pk=publication.pk)


def told(bar: Bar, address: str) -> str:
    """The page as the owner reads it."""
    browser = Client()
    browser.force_login(bar.cast.owner)
    return unescape(browser.get(address).content.decode())


def test_untouched_content_has_its_digest(bar: Bar, made: Publication) -> None:
    for address in (made.get_absolute_url(), made.menu_version.get_absolute_url()):  # type: ignore[union-attr]
        page = told(bar, address)
        assert SAME in page
        assert CHANGED not in page


VALUES = (
    'UPDATE stations_controlsettings SET "values" = jsonb_set("values",'
    " '{brew_temperature,value}', '\"97.9\"') WHERE id = (SELECT settings_id FROM"
    " stations_placement WHERE basis_id = %s ORDER BY id LIMIT 1)"
)
ON_PUBLICATION = {
    "another menu": "UPDATE recipes_publication SET menu_version_id = NULL,"
    " version_id = (SELECT min(id) FROM recipes_version) WHERE id = %s",
    "another site": "UPDATE recipes_publication SET scope = '{}' WHERE id = %s",
    "another moment": "UPDATE recipes_publication SET local_date = '2026-01-01',"
    " local_time = '06:00' WHERE id = %s",
    "another digest": "UPDATE recipes_publication SET plan_digest = repeat('0', 64) WHERE id = %s",
    "something accepted": "UPDATE recipes_publication SET accepted ="
    ' \'[{"kind": "x", "code": "dose_mass", "params": {}, "sites": []}]\' WHERE id = %s',
    "other settings": VALUES,
    "versions swapped": "UPDATE stations_controlsettings SET content_digest = (SELECT"
    " min(content_digest) FROM recipes_version WHERE content_digest <> '') WHERE id IN (SELECT"
    " settings_id FROM stations_placement WHERE basis_id = %s)",
    "a slot less": "DELETE FROM stations_placement WHERE id = (SELECT max(id) FROM"
    " stations_placement WHERE basis_id = %s)",
    "another slot": "UPDATE stations_placement SET slot_id = (SELECT max(id) + 1000 FROM"
    " stations_slot) WHERE id = (SELECT max(id) FROM stations_placement WHERE basis_id = %s)",
    "a drink moved": "UPDATE recipes_menudrink SET slot_number = 9 WHERE menu_version_id ="
    " (SELECT menu_version_id FROM recipes_publication WHERE id = %s) AND slot_number = 1",
    "a drink less": "DELETE FROM recipes_menudrink WHERE menu_version_id ="
    " (SELECT menu_version_id FROM recipes_publication WHERE id = %s) AND slot_number = 1",
    "another formula": "UPDATE recipes_formulavalue SET target = 97.9 WHERE code ="
    " 'brew_temperature' AND version_id IN (SELECT d.version_id FROM recipes_menudrink d JOIN"
    " recipes_publication p ON p.menu_version_id = d.menu_version_id WHERE p.id = %s)",
}


@pytest.mark.parametrize("what", ON_PUBLICATION)
def test_tampering_shows_on_the_publication(bar: Bar, made: Publication, what: str) -> None:
    tamper(ON_PUBLICATION[what], made.pk)
    assert CHANGED in told(bar, made.get_absolute_url())


@pytest.mark.parametrize("what", ["a drink moved", "a drink less", "another formula"])
def test_and_on_the_menu(bar: Bar, made: Publication, what: str) -> None:
    tamper(ON_PUBLICATION[what], made.pk)
    assert CHANGED in told(bar, made.menu_version.get_absolute_url())  # type: ignore[union-attr]


RENAMED = {
    "name": "UPDATE recipes_menu SET name = 'Other'",
    "note": "UPDATE recipes_menuversion SET note = 'Other'",
    "number": "UPDATE recipes_menuversion SET number = 7",
}


@pytest.mark.parametrize("what", RENAMED)
def test_what_a_menu_is_called_and_says_of_itself(bar: Bar, made: Publication, what: str) -> None:
    tamper(RENAMED[what])
    assert CHANGED in told(bar, made.menu_version.get_absolute_url())  # type: ignore[union-attr]


@pytest.mark.parametrize("what", ["other settings", "versions swapped"])
def test_and_no_bar_is_shown_it(bar: Bar, made: Publication, what: str) -> None:
    tamper(ON_PUBLICATION[what], made.pk)
    rows = Placement.objects.in_force().select_related("settings", "signature", "slot")
    assert served.misfits(list(rows))
