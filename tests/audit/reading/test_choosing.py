"""Sites and people are chosen by name, however many there are."""

import html
import re
from decimal import Decimal

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from audit.capture.context import recorded
from audit.reading.choosing import MOST
from audit.registry import Registry
from people.persons.actions import PERSON_ADDED
from people.persons.models import User
from stations.equipment.models import Site
from tests.audit.sample import Shelf
from tests.cast import Cast, SignedIn

pytestmark = pytest.mark.django_db
HISTORY = reverse("audit:history")


@pytest.fixture
def owner(desk: Registry, cast: Cast, signed_in: SignedIn) -> Client:
    return signed_in(cast.owner)


def suggested(client: Client, field: str, text: str) -> list[str]:
    answer = client.get(
        HISTORY, {field: text}, headers={"HX-Request": "true", "HX-Target": f"{field}_names"}
    )
    assert answer.status_code == 200
    assert "HX-Target" in answer["Vary"]
    return [html.unescape(name) for name in re.findall(r'value="([^"]*)"', answer.content.decode())]


def many_sites(count: int) -> list[Site]:
    with recorded(by=None, action=PERSON_ADDED):
        return Site.objects.bulk_create(
            Site(code=f"s{n}", name=f"Bar {n}", time_zone="Europe/Lisbon", altitude=Decimal(n))
            for n in range(count)
        )


def test_names_are_suggested_while_they_are_typed(owner: Client) -> None:
    many_sites(40)
    assert suggested(owner, "site", "harb") == ["Harbour"]
    assert suggested(owner, "site", "bar 7") == ["Bar 7"]
    assert len(suggested(owner, "site", "bar")) == len(suggested(owner, "site", "")) == MOST
    assert suggested(owner, "site", "Bar 1")[:2] == ["Bar 1", "Bar 10"]
    assert suggested(owner, "person", "BARIST") == ["Barista"]
    assert suggested(owner, "site", "\0<b>") == []


@pytest.mark.parametrize("name", ["Harbour", "harb", " HARBOUR "])
def test_a_site_is_known_by_its_name_a_part_of_it_or_its_number(
    owner: Client, cast: Cast, shelf: Shelf, name: str
) -> None:
    Shelf.objects.update(site_id=cast.site.pk)
    shown = [owner.get(HISTORY, {"site": site}) for site in (name, str(cast.site.pk))]
    for page in shown:
        assert page.status_code == 200
        assert b'value="Harbour"' in page.content
        assert "at Harbour" in page.content.decode()


def test_of_several_that_are_meant_one_is_chosen(owner: Client, cast: Cast) -> None:
    page = owner.get(HISTORY, {"site": "a", "parameter": "mass"})
    text = html.unescape(page.content.decode())
    assert page.status_code == 400
    assert "“a” may be any of several. Choose a site from the list" in text
    assert f'<a href="?parameter=mass&site={cast.site.pk}">Harbour</a>' in text or (
        f'<a href="?site={cast.site.pk}&parameter=mass">Harbour</a>' in text
    )


def test_a_name_that_is_somebody_elses_number_is_no_trap(owner: Client, cast: Cast) -> None:
    with recorded(by=None, action=PERSON_ADDED):
        other = User.objects.create(email="other@example.com", name=str(cast.barista.pk))
    page = owner.get(HISTORY, {"person": str(other.pk)})
    assert page.status_code == 200
    assert f'value="{other.pk}"' in page.content.decode()


def test_a_thousand_sites_cost_the_page_nothing(
    owner: Client, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    few = owner.get(HISTORY).content.decode()
    many_sites(1000)
    with django_assert_max_num_queries(9):
        many = owner.get(HISTORY).content.decode()
    assert few.count("<option") == many.count("<option")
