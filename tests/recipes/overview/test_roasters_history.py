"""Roasters read the history of recipes and slots, and of nothing else."""

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from audit.capture.models import Entry
from audit.reading.queries import visible
from audit.registry import registry
from people.persons.actions import assign_role, create_person
from people.persons.verbs import Role
from people.tokens.actions import make_token
from people.tokens.models import Scope
from recipes.publishing import run
from tests.bar import Bar, approved, draft
from tests.cast import SignedIn
from tests.publishing import Publish, send
from tests.recipes.publishing.test_publish import COOLER
from tests.recipes.requests.test_attached import read

__all__ = ["send"]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The bar with its recipe in force, one slot read back, and people who did other things."""
    run.run(send().pk)
    read(bar, bar.slots[0])
    make_token(by=bar.cast.shop_lead, name="till", scopes=(Scope.READ,), days=30)
    return bar


@pytest.fixture
def roaster(placed: Bar, signed_in: SignedIn) -> Client:
    return signed_in(placed.cast.head_roaster)


def of(type_: str, pk: int) -> str:
    return f"/history/of/{type_}/{pk}/"


def test_versions_and_slots(placed: Bar, roaster: Client) -> None:
    newer = approved(placed.cast, draft(placed.cast, COOLER, placed.version.recipe))
    recipe, slot = placed.version.recipe, placed.slots[0]
    page = roaster.get(newer.get_absolute_url()).content.decode()
    assert of("version", newer.pk) in page or of("recipe", recipe.pk) in page
    told = roaster.get(of("slot", slot.pk)).content.decode()
    assert "Read back" in told or "read-back" in told.lower()
    assert roaster.get(f"/recipes/{recipe.pk}/over-time/").status_code == 200
    entry = Entry.objects.filter(table_name="stations_readback").latest("pk")
    whole = roaster.get(f"/history/{entry.pk}/").content.decode()
    assert "Database role" in whole
    assert "Address" not in whole


def test_nothing_of_people_tokens_policy_or_sign_ins(placed: Bar, roaster: Client) -> None:
    """Whatever its number, an entry of another table is not there for a roaster."""
    others = Entry.objects.exclude(table_name__in=registry.matters)
    tables = set(others.values_list("table_name", flat=True))
    assert {"people_user", "people_assignment"} <= tables
    for table in tables:
        entry = others.filter(table_name=table).latest("pk")
        assert roaster.get(f"/history/{entry.pk}/").status_code == 404, table
        if entry.subject_type and entry.subject_id:
            page = roaster.get(of(entry.subject_type, entry.subject_id)).content.decode()
            assert f'href="/history/{entry.pk}/"' not in page, table
    for path in ("/history/", "/history/ledger/", "/api/v1/history/"):
        assert roaster.get(path).status_code in {403, 404}, path
    assert roaster.get(of("person", placed.cast.barista.pk)).status_code == 404


def test_what_is_open_names_nobody_s_secrets() -> None:
    assert not {table for table in registry.matters if table.startswith(("people_", "audit_"))}
    assert {table for table in registry.matters if table.startswith("stations_")} == {
        "stations_placement", "stations_controlsettings", "stations_readback",
    }  # fmt: skip


def test_of_their_own_sites_alone(placed: Bar, signed_in: SignedIn) -> None:
    cast = placed.cast
    somebody = create_person(by=cast.owner, email="upland@example.com", name="Upland roaster")
    assign_role(by=cast.owner, person=somebody, role=Role.HEAD_ROASTER, site_id=cast.other_site.pk)
    browser = signed_in(somebody)
    assert browser.get(of("slot", placed.slots[0].pk)).status_code == 404
    assert browser.get(of("slot", placed.slots[-1].pk)).status_code == 200
    refused = Entry.objects.filter(operation="refused").latest("pk")
    assert (refused.subject_type, refused.subject_id) == ("slot", placed.slots[0].pk)
    for person in (cast.shop_lead, cast.barista, cast.technician):
        assert signed_in(person).get(of("slot", placed.slots[0].pk)).status_code == 403


def test_what_was_refused_is_for_owners(placed: Bar, signed_in: SignedIn) -> None:
    cast = placed.cast
    signed_in(cast.barista).get(f"/slots/{placed.slots[0].pk}/set-by-hand/")
    everything = frozenset(registry.matters)
    assert not visible(None, everything).filter(operation="refused").exists()


def test_who_may_have_overwritten_a_slot(placed: Bar, signed_in: SignedIn) -> None:
    slot = placed.slots[0]
    found = signed_in(placed.cast.shop_lead)
    found.get(f"/slots/{slot.pk}/")
    page = signed_in(placed.cast.head_roaster).get(f"/slots/{slot.pk}/overwritten/")
    assert page.status_code == 200
    assert "Roles here" not in page.content.decode()


def test_a_page_costs_the_same_however_much_there_is(placed: Bar, roaster: Client) -> None:
    path = of("slot", placed.slots[0].pk)
    roaster.get(path)

    def cost() -> int:
        with CaptureQueriesContext(connection) as asked:
            assert roaster.get(path).status_code == 200
        return len(asked)

    few = cost()
    for _ in range(20):
        read(placed, placed.slots[0])
    assert cost() <= few
