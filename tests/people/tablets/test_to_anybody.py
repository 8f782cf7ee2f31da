"""A station's code without sign-in: nothing, or what each slot is set to, as an owner allows."""

import pytest
from django.test import Client

from people.tablets.actions import set_tablet_policy
from people.tablets.models import TabletPolicy
from recipes.publishing import run
from tests.bar import Bar
from tests.cast import Cast
from tests.people.tablets.bench import CHOICE, a_tablet
from tests.publishing import Publish

pytestmark = pytest.mark.django_db


def allow(cast: Cast, *, anybody: str = "nothing", on_tablet: str = "nothing") -> None:
    """What the owner allows at the harbour."""
    set_tablet_policy(
        by=cast.owner,
        site_id=cast.site.pk,
        revision=TabletPolicy.at(cast.site.pk).revision,
        idle_minutes=5,
        shown=anybody,
        shown_on_tablet=on_tablet,
    )


def test_nothing_unless_an_owner_allows_it(bar: Bar, cast: Cast) -> None:
    address = f"/at/{bar.stations[0].code}/"
    for known in (address, "/at/nosuchcode/"):
        answer = Client().get(known)
        assert (answer.status_code, answer["Location"]) == (302, f"/account/login/?next={known}")
    assert a_tablet(cast).get(address)["Location"] == f"{CHOICE}?next={address}"


def test_settings_and_nothing_else(bar: Bar, cast: Cast, send: Publish) -> None:
    run.run(send().pk)
    allow(cast, anybody="settings")
    station = bar.stations[0]
    answer = Client().get(f"/at/{station.code}/")
    page = answer.content.decode()
    assert answer.status_code == 200
    assert "Double espresso" in page
    assert "Sign in to log a shot" in page
    for person in cast.everyone().values():
        assert person.name not in page
    assert "<form" not in page
    elsewhere = bar.stations[-1]
    assert Client().get(f"/at/{elsewhere.code}/").status_code == 302
    assert Client().get(f"/stations/{station.pk}/").status_code == 302


def test_on_a_tablet_of_that_site_alone(bar: Bar, cast: Cast) -> None:
    allow(cast, on_tablet="settings")
    own, other = bar.stations[0].code, bar.stations[-1].code
    tablet = a_tablet(cast)
    assert tablet.get(f"/at/{own}/").status_code == 200
    assert tablet.get(f"/at/{other}/").status_code == 302
    assert Client().get(f"/at/{own}/").status_code == 302
