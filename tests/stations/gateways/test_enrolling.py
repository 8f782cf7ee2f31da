"""A gateway from its code on: once, for its site, by whoever may; another key; its end."""

from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotFound, NotPermitted, Refused, Stale
from stations.gateways.actions import (
    CODE_LIVES,
    add_gateway,
    enrol,
    new_code,
    revoke_gateway,
)
from stations.gateways.keys import jwk_of
from stations.gateways.models import Gateway, GatewayKey
from tests.cast import Cast
from tests.races import at_once
from tests.stations.conftest import Bar
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db


def test_enrolled_it_is_told_who_it_is(cast: Cast) -> None:
    gateway, code = add_gateway(by=cast.shop_lead, site=cast.site, name="Box")
    box = Box()
    answer = box.enrol(f"{code[:4]} {code[4:8].upper()}-{code[8:]}")
    assert answer.status_code == 201, answer.content
    told = answer.json()
    assert told["gateway"] == gateway.pk
    assert (told["keyid"], told["site"]) == (box.keyid, cast.site.code)
    assert told["source"].startswith("urn:uuid:")
    assert told["limits"]["events"] == 500
    gateway.refresh_from_db()
    assert gateway.state == "enrolled"
    assert (gateway.status.version, gateway.status.driver) == ("1.0", "simulator")


def test_the_history_names_the_gateway_and_its_request(cast: Cast) -> None:
    _, gateway = enrolled(cast.shop_lead, cast.site)
    entries = Entry.objects.filter(action="gateway.enrolled")
    assert {e.table_name for e in entries} == {"stations_gateway", "stations_gatewaykey"}
    for entry in entries:
        assert (entry.actor_id, entry.actor, entry.role) == (None, gateway.name, "gateway")
        assert entry.channel == "gateway"
        assert entry.request_id.startswith(f"gateway-{gateway.pk}-")
        assert entry.site_id == cast.site.pk
    assert "code_digest" not in str([e.changes for e in entries if e.operation == "created"])


def test_nobody_claims_to_be_a_gateways_request() -> None:
    answer = Client().get("/healthz", headers={"X-Request-ID": "gateway-1-0123456789"})
    assert not answer["X-Request-ID"].startswith("gateway-")


def test_a_code_is_good_once(cast: Cast) -> None:
    code = add_gateway(by=cast.owner, site=cast.site, name="Box")[1]
    assert Box().enrol(code).status_code == 201
    again = Box().enrol(code)
    assert again.status_code == 400
    assert again.json()["problems"][0]["field"] == "code"
    assert code not in again.content.decode()


def test_a_code_is_good_for_half_an_hour(cast: Cast) -> None:
    gateway, code = add_gateway(by=cast.owner, site=cast.site, name="Box")
    assert gateway.code_until is not None
    assert gateway.code_until - timezone.now() <= CODE_LIVES
    gone = timezone.now() - timedelta(seconds=1)
    Gateway.objects.filter(pk=gateway.pk).update(code_until=gone)
    assert Box().enrol(code).status_code == 400


def test_another_code_ends_the_one_before(cast: Cast) -> None:
    gateway, code = add_gateway(by=cast.owner, site=cast.site, name="Box")
    other = new_code(by=cast.shop_lead, gateway=gateway, revision=gateway.revision)
    assert Box().enrol(code).status_code == 400
    with pytest.raises(Stale):
        new_code(by=cast.shop_lead, gateway=gateway, revision=1)
    assert Box().enrol(other).status_code == 201
    gateway.refresh_from_db()
    with pytest.raises(Refused):
        new_code(by=cast.shop_lead, gateway=gateway, revision=gateway.revision)


def test_only_its_own_key_enrols(cast: Cast) -> None:
    code = add_gateway(by=cast.owner, site=cast.site, name="Box")[1]
    assert Box().enrol(code, public_key=jwk_of(Box().public)).status_code == 401
    assert Gateway.objects.get().state == "waiting"


def test_a_key_is_one_gateways(cast: Cast) -> None:
    box, _ = enrolled(cast.owner, cast.site)
    code = add_gateway(by=cast.owner, site=cast.other_site, name="Box")[1]
    answer = box.enrol(code)
    assert answer.status_code == 400
    assert answer.json()["problems"][0]["field"] == "public_key"


def test_who_may(cast: Cast) -> None:
    for by in (cast.head_roaster, cast.barista, cast.technician):
        with pytest.raises(NotPermitted):
            add_gateway(by=by, site=cast.site, name="Box")
    with pytest.raises(NotPermitted):
        add_gateway(by=cast.shop_lead, site=cast.other_site, name="Box")
    gateway, _ = add_gateway(by=cast.owner, site=cast.other_site, name="Box")
    with pytest.raises(NotPermitted):
        revoke_gateway(by=cast.shop_lead, gateway=gateway, revision=gateway.revision)


def test_a_name_once_at_a_site(cast: Cast) -> None:
    gateway, _ = add_gateway(by=cast.owner, site=cast.site, name="Box")
    with pytest.raises(Invalid, match="name"):
        add_gateway(by=cast.owner, site=cast.site, name="BOX")
    add_gateway(by=cast.owner, site=cast.other_site, name="Box")
    revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)
    add_gateway(by=cast.owner, site=cast.site, name="Box")
    with pytest.raises(NotFound):
        revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)


def test_codes_are_tried_ten_times_a_minute(cast: Cast) -> None:
    box = Box()
    answers = [box.enrol("x" * 12).status_code for _ in range(11)]
    assert answers == [400] * 10 + [429]
    assert int(box.enrol("x" * 12)["Retry-After"]) > 0


def test_another_key_counts_from_its_first_request_on(cast: Cast, bar: Bar) -> None:
    box, gateway = enrolled(cast.owner, cast.site)
    new = Box()
    for _ in range(2):  # repeating is fine
        answer = box.post("key", {"public_key": jwk_of(new.public)}, also=new)
        assert answer.status_code == 200, answer.content
        assert answer.json() == {"keyid": new.keyid}
    assert box.get("settings").status_code == 200
    assert new.get("settings").status_code == 200
    gone = box.get("settings")
    assert (gone.status_code, gone.json()["type"]) == (401, "/api/v1/problems/#revoked")
    assert new.get("settings").status_code == 200
    assert GatewayKey.objects.filter(gateway=gateway, ended_at=None).count() == 1
    entry = Entry.objects.filter(action="gateway.key_changed").first()
    assert entry is not None
    assert entry.actor == gateway.name


def test_a_key_nobody_holds_is_not_given(cast: Cast, bar: Bar) -> None:
    box, _ = enrolled(cast.owner, cast.site)
    new = Box()
    alone = box.post("key", {"public_key": jwk_of(new.public)})
    assert alone.status_code == 401
    other = box.post("key", {"public_key": jwk_of(new.public)}, also=Box())
    assert other.status_code == 401
    later = Box()
    box.post("key", {"public_key": jwk_of(new.public)}, also=new)
    box.post("key", {"public_key": jwk_of(later.public)}, also=later)
    assert new.get("settings").status_code == 401  # another took its place before it was used
    assert later.get("settings").status_code == 200


@pytest.mark.django_db(transaction=True)
def test_two_with_one_code(cast: Cast) -> None:
    code = add_gateway(by=cast.owner, site=cast.site, name="Box")[1]
    boxes = [Box(), Box()]

    def one(box: Box) -> None:
        enrol(code=code, public=box.public, host="box", version="1", driver="simulator")

    outcome = at_once([lambda: one(boxes[0]), lambda: one(boxes[1])])
    assert sorted(type(each).__name__ for each in outcome) == ["Invalid", "NoneType"]
    assert GatewayKey.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_two_of_one_name(cast: Cast) -> None:
    def one(name: str) -> None:
        add_gateway(by=cast.owner, site=cast.site, name=name)

    for _ in range(5):
        outcome = at_once([lambda: one("Box"), lambda: one("box"), lambda: one("BOX")])
        told = [f"{type(each).__name__} {each}" for each in outcome]
        assert sorted(type(each).__name__ for each in outcome) == [
            "Invalid", "Invalid", "NoneType"], told  # fmt: skip
        gateway = Gateway.objects.get(revoked_at=None)
        revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)
