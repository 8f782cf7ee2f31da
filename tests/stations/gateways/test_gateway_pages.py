"""Pages of a site's gateways: those in use first, the code shown once, no more than can be read."""

import re

import pytest
from django.urls import reverse

from stations.gateways.actions import revoke_gateway
from stations.gateways.models import Gateway, GatewayStatus
from tests.cast import Cast, SignedIn
from tests.stations.conftest import Bar
from tests.stations.gateways.box import Box, enrolled

pytestmark = pytest.mark.django_db


def test_those_in_use_stand_before_those_revoked(cast: Cast, bar: Bar, signed_in: SignedIn) -> None:
    for name in ("An old box", "Another old box"):
        gateway = enrolled(cast.owner, cast.site, name)[1]
        revoke_gateway(by=cast.owner, gateway=gateway, revision=gateway.revision)
    enrolled(cast.owner, cast.site, "The box")
    page = signed_in(cast.shop_lead).get(reverse("stations:gateways", args=[cast.site.pk]))
    names = re.findall(r'data-label="Name"><a[^>]*>([^<]+)', page.content.decode())
    assert names[0] == "The box"
    assert sorted(names[1:]) == ["An old box", "Another old box"]


def test_the_code_is_shown_once_and_enrols(cast: Cast, bar: Bar, signed_in: SignedIn) -> None:
    path, lead = reverse("stations:gateways", args=[cast.site.pk]), signed_in(cast.shop_lead)
    page = lead.post(path, {"name": "Box"}).content.decode()
    (code,) = re.findall(r'id="enrol-code">([^<]+)', page)
    assert code not in lead.get(path).content.decode()
    assert Box().enrol(code).status_code == 201


def test_many_gaps_are_counted_not_listed(cast: Cast, bar: Bar, signed_in: SignedIn) -> None:
    gateway = enrolled(cast.owner, cast.site)[1]
    path = reverse("stations:gateway", args=[gateway.pk])
    lead = signed_in(cast.shop_lead)
    for gaps, said in ((3, "missing 1, 3, 5<"), (2000, "39, and 1980 more gaps<")):
        missing = [[n, n] for n in range(1, 2 * gaps, 2)]
        GatewayStatus.objects.filter(gateway=gateway).update(last=2 * gaps, missing=missing)
        assert said in lead.get(path).content.decode()


def test_without_a_name_nothing_is_made(cast: Cast, bar: Bar, signed_in: SignedIn) -> None:
    path = reverse("stations:gateways", args=[cast.site.pk])
    assert signed_in(cast.shop_lead).post(path, {"name": " "}).status_code == 400
    assert not Gateway.objects.exists()


def test_another_code_and_its_end_by_its_page(cast: Cast, bar: Bar, signed_in: SignedIn) -> None:
    lead = signed_in(cast.shop_lead)
    lead.post(reverse("stations:gateways", args=[cast.site.pk]), {"name": "Box"})
    gateway = Gateway.objects.get()
    path = reverse("stations:gateway", args=[gateway.pk])
    actions = r'<form method="post" action="(/gateways/[^"]+)"'
    code, revoke = re.findall(actions, lead.get(path).content.decode())
    page = lead.post(code, {"revision": gateway.revision}).content.decode()
    (told,) = re.findall(r'id="enrol-code">([^<]+)', page)
    assert Box().enrol(told).status_code == 201
    gateway.refresh_from_db()
    assert re.findall(actions, lead.get(path).content.decode()) == [revoke]
    assert lead.post(revoke, {"revision": gateway.revision}).status_code == 302
    assert re.findall(actions, lead.get(path).content.decode()) == []
