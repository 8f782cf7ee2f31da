"""First steps: of what is there, told to who can begin, and gone with the first placement."""

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from people.persons.models import User
from recipes.overview.first_steps import first_steps
from recipes.versions.models import Version
from stations.importing.actions import import_equipment
from stations.importing.starter import known_type, starter
from stations.machine_types.models import MachineType
from tests.bar import Bar
from tests.cast import Cast, SignedIn, allow_sole_roaster
from tests.publishing import Publish, send

__all__ = ["send"]
pytestmark = pytest.mark.django_db


def done(user: User) -> list[bool]:
    return [step.done for step in first_steps(user)]


def test_an_empty_deployment_shows_its_owner_every_step(cast: Cast, signed_in: SignedIn) -> None:
    page = signed_in(cast.owner).get(reverse("home")).content.decode()
    assert "First steps" in page
    for where in ("stations:import", "stations:machine_types", "people:list"):
        assert f'href="{reverse(where)}"' in page


def test_a_step_is_done_when_what_it_asks_for_is_there(cast: Cast, approved: Version) -> None:
    assert done(cast.owner) == [MachineType.objects.exists(), False, True, True, True, True, False]


def test_one_roaster_is_enough_where_the_policy_says_so(cast: Cast) -> None:
    assert done(cast.owner)[2]
    User.objects.filter(pk=cast.second_roaster.pk).update(is_active=False)
    assert not done(cast.owner)[2]
    allow_sole_roaster(cast)
    assert done(cast.owner)[2]


def test_what_is_a_roasters_is_no_link_for_an_owner(cast: Cast) -> None:
    assert [bool(step.url) for step in first_steps(cast.owner)] == [True] * 3 + [False] * 4
    urls = [bool(step.url) for step in first_steps(cast.head_roaster)]
    assert urls == [True, True, False, True, True, True, True]
    assert first_steps(cast.head_roaster)[2].by == "an owner does this"
    assert {step.by for step in first_steps(cast.owner)[3:]} == {"a head roaster does this"}


def test_others_see_none_and_it_costs_two_queries(cast: Cast) -> None:
    for person in (cast.barista, cast.shop_lead, cast.technician):
        assert first_steps(person) == []
    first_steps(cast.owner)
    with CaptureQueriesContext(connection) as queries:
        first_steps(cast.owner)
    assert len(queries) <= 3  # roles, whether anything was placed, all steps at once


def test_with_the_first_placement_it_is_gone(
    cast: Cast, bar: Bar, approved: Version, send: Publish
) -> None:
    assert first_steps(cast.owner)
    send(approved)
    assert first_steps(cast.owner) == []


def test_the_starter_file_is_imported_as_it_stands(cast: Cast) -> None:
    MachineType.objects.create(name="=Odd, one", ends_by=["time"])
    assert known_type() == ""  # a spreadsheet would run it
    MachineType.objects.create(name="Wide, two groups", ends_by=["time"])
    assert known_type() == "Wide, two groups"
    report = import_equipment(by=cast.owner, text=starter())
    assert (report.machines, report.stations) == (2, 3)
