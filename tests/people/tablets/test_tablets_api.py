"""The API of tablets: in person, once, with what was seen; never a key."""

import pytest

from people.pins.models import Pin
from people.tablets.actions import enrol
from people.tablets.models import Tablet, TabletPolicy
from tests.calling import act
from tests.cast import ApiAs, Cast, InPerson
from tests.people.tablets.bench import with_pin

pytestmark = pytest.mark.django_db


def test_made_renamed_and_revoked(cast: Cast, api_in_person: InPerson) -> None:
    api, list_ = api_in_person(cast.shop_lead), f"sites/{cast.site.code}/tablets/"
    made = act(api, list_, {"name": "Counter left"})
    assert made.status_code == 201
    assert enrol(by=None, code=made.json()["code"])[0].name == "Counter left"
    [shown] = api.get(f"/api/v1/{list_}").json()["results"]
    assert (shown["state"], shown["made_by"]) == ("enrolled", "Shop lead")
    assert {"digest", "code", "code_digest", "former"}.isdisjoint(shown)
    address = f"/api/v1/tablets/{shown['id']}/"
    tag = api.get(address)["ETag"]
    renamed = api.put(address, {"name": "Window"}, headers={"If-Match": tag})
    assert renamed.json()["name"] == "Window"
    assert api.put(address, {"name": "Door"}, headers={"If-Match": tag}).status_code == 412
    headers = {"If-Match": renamed["ETag"], "Idempotency-Key": "0123456789abcdef"}
    assert api.post(f"{address}revoke/", {}, headers=headers).json()["state"] == "revoked"
    assert Tablet.objects.get().digest is None


def test_no_token_enrols(cast: Cast, api_as: ApiAs) -> None:
    answer = act(api_as(cast.shop_lead), f"sites/{cast.site.code}/tablets/", {"name": "x"})
    assert answer.status_code == 403
    assert not Tablet.objects.exists()


def test_policy_and_pins(cast: Cast, api_in_person: InPerson) -> None:
    api, address = api_in_person(cast.owner), f"/api/v1/sites/{cast.site.code}/tablet-policy/"
    tag = api.get(address)["ETag"]
    body = {"idle_minutes": 2, "shown": "settings", "shown_on_tablet": "nothing"}
    assert api.put(address, body, headers={"If-Match": tag}).status_code == 200
    assert TabletPolicy.at(cast.site.pk).idle_minutes == 2
    with_pin(cast)
    access = api.get(f"/api/v1/people/{cast.barista.pk}/access/").json()
    assert access["pin_since"]
    assert api.delete(f"/api/v1/people/{cast.barista.pk}/pin/").status_code == 204
    assert not Pin.objects.exists()
    assert api.delete(f"/api/v1/people/{cast.barista.pk}/pin/").status_code == 404
