"""Roles at different sites, and what belongs to several sites, in the history that is read."""

import pytest
from django.test import Client

from audit.capture.models import Entry
from people.persons.actions import assign_role, create_person
from people.persons.models import User
from people.persons.verbs import Role
from recipes.publishing import run
from tests.bar import Bar
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.permits.hands import granting
from tests.recipes.requests.test_attached import read

__all__ = ["send"]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force at both sites, and a permit at the first."""
    run.run(send().pk)
    for slot in (bar.slots[0], bar.slots[-1]):
        read(bar, slot)
    return bar


def somebody(bar: Bar, *roles: tuple[Role, int | None]) -> User:
    person = create_person(by=bar.cast.owner, email="upland@example.com", name="Upland person")
    for role, site in roles:
        assign_role(by=bar.cast.owner, person=person, role=role, site_id=site)
    return person


def of(type_: str, pk: int) -> str:
    return f"/history/of/{type_}/{pk}/"


def finds(browser: Client, entry: Entry) -> bool:
    page = browser.get(of(entry.subject_type, entry.subject_id or 0)).content.decode()
    one = browser.get(f"/history/{entry.pk}/").status_code == 200
    assert (f'href="/history/{entry.pk}/"' in page) == one
    return one


def newest(table: str, **of: object) -> Entry:
    return Entry.objects.filter(table_name=table, **of).latest("pk")


def test_an_owner_there_and_a_roaster_everywhere(placed: Bar, signed_in: SignedIn) -> None:
    """All that happened at the one site, recipes and slots at every other."""
    here, there = placed.cast.other_site.pk, placed.cast.site.pk
    browser = signed_in(somebody(placed, (Role.OWNER, here), (Role.HEAD_ROASTER, None)))
    for site in (here, there):
        for table in ("stations_readback", "recipes_publicationsite"):
            assert finds(browser, newest(table, site_id=site)), (table, site)
    assert finds(browser, newest("stations_machine", site_id=here))
    assert not finds(browser, newest("stations_machine", site_id=there))
    told = browser.get(f"/history/{newest('stations_readback', site_id=here).pk}/")
    assert 'href="/history/"' in told.content.decode()
    told = browser.get(f"/history/{newest('stations_readback', site_id=there).pk}/")
    assert "<dt>Request</dt>" not in told.content.decode()


def test_what_is_about_several_sites(placed: Bar, signed_in: SignedIn) -> None:
    """A permit of another site is not there for a roaster of one; nor who accepted what where."""
    permit = granting([placed.slots[0]], placed.cast.head_roaster)()
    here, there = placed.cast.other_site.pk, placed.cast.site.pk
    browser = signed_in(somebody(placed, (Role.HEAD_ROASTER, here)))
    assert browser.get(of("permit", permit.pk)).status_code == 404
    for table in ("recipes_publication", "recipes_permit", "recipes_permitchange"):
        assert not finds(browser, newest(table)), table
        assert finds(signed_in(placed.cast.head_roaster), newest(table)), table
    assert finds(browser, newest("recipes_publicationsite", site_id=here))
    assert not finds(browser, newest("recipes_publicationsite", site_id=there))
    assert finds(browser, newest("recipes_version"))
