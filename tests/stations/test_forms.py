"""The equipment's forms: what is typed right is saved, what is typed wrong is named."""

from typing import Any

import pytest
from django.urls import reverse

from stations.equipment.models import Machine, Site, Slot, Station
from stations.machine_types.models import MachineType
from tests.cast import Cast, SignedIn
from tests.stations.conftest import Bar

ABILITIES = {
    "name": "One boiler",
    "ends_by": ["mass", "operator"],
    "brew_pressure.minimum": "1",
    "brew_pressure.maximum": "9",
    "brew_pressure.resolution": "0.1",
}
SITE = {"code": "quay", "name": "Quay", "time_zone": "Asia/Kolkata", "altitude": "7.50"}
BAD_NUMBERS = ["", "high", "-1e9", "NaN", "Infinity", "7,5,0", "1e3", "9" * 50, "7 m", "\u0667"]


def test_equipment_is_entered_from_site_to_slot(cast: Cast, signed_in: SignedIn) -> None:
    browser = signed_in(cast.head_roaster)
    browser.post(reverse("stations:machine_type_add"), ABILITIES)
    made = MachineType.objects.get()
    assert [str(a.maximum) for a in made.abilities.all()] == ["9"]
    browser.post(reverse("stations:site_add"), SITE)
    site = Site.objects.get(code="quay")
    machine = {"name": "Left", "machine_type": made.pk}
    browser.post(reverse("stations:machine_add") + f"?site={site.pk}", machine)
    station = {"number": "1", "slots": "3", "pulses_per_millilitre": "4.02"}
    address = reverse("stations:station_add") + f"?machine={Machine.objects.get().pk}"
    answer = browser.post(address, station, follow=True)
    assert answer.status_code == 200
    assert "was added" in answer.content.decode()
    added = Station.objects.get()
    browser.post(reverse("stations:slots_add", args=[added.pk]), {"total": "5"})
    assert added.slots.count() == 5


def test_an_edit_from_an_old_page_is_412(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    browser, pk = signed_in(cast.owner), cast.site.pk
    body = {"name": "Harbour", "time_zone": "Europe/Lisbon", "revision": "1"}
    edits = [
        ("site_edit", pk, {**body, "altitude": "13"}),
        ("machine_edit", bar.machine.pk,
         {"name": "Left", "machine_type": bar.machine_type.pk, "revision": 1}),
        ("machine_type_edit", bar.machine_type.pk, {**ABILITIES, "revision": 1}),
    ]  # fmt: skip
    for name, thing, sent in edits:
        address = reverse(f"stations:{name}", args=[thing])
        assert browser.post(address, sent).status_code == 302, name
        again = browser.post(address, sent)
        assert again.status_code == 412, name
        told = again.content.decode()
        assert "Nothing you typed is lost" in told
        # The next attempt is made from what the page shows now.
        assert 'name="revision" value="2"' in told, name
    assert Site.objects.get(pk=pk).revision == 2


def test_what_is_stored_now_stands_beside_what_was_typed(cast: Cast, signed_in: SignedIn) -> None:
    browser, address = signed_in(cast.owner), reverse("stations:site_edit", args=[cast.site.pk])
    body = {"name": "Harbour", "time_zone": "Europe/Lisbon", "revision": "1"}
    browser.post(address, {**body, "altitude": "13"})
    told = browser.post(address, {**body, "altitude": "14.5"}).content.decode()
    assert "Altitude: <b>13 m</b>" in told
    assert 'value="14.5"' in told
    again = browser.post(address, {**body, "altitude": "14.5", "revision": "2"})
    assert again.status_code == 302
    assert str(Site.objects.get(pk=cast.site.pk).altitude) == "14.5"


@pytest.mark.parametrize("typed", BAD_NUMBERS)
def test_a_number_that_is_none_is_named(cast: Cast, signed_in: SignedIn, typed: str) -> None:
    answer = signed_in(cast.owner).post(reverse("stations:site_add"), {**SITE, "altitude": typed})
    shown = answer.content.decode()
    assert answer.status_code == 400
    assert 'id="id_altitude_error"' in shown
    assert not Site.objects.filter(code="quay").exists()


@pytest.mark.parametrize(
    ("name", "sent"),
    [
        ("site_add", {**SITE, "code": "harbour"}),
        ("site_add", {**SITE, "time_zone": "Mars/Base"}),
        ("site_add", {**SITE, "name": "x" * 5000}),
        ("machine_type_add", {**ABILITIES, "ends_by": ["magic"]}),
        ("machine_type_add", {**ABILITIES, "brew_pressure.maximum": "13"}),
        ("machine_type_add", {**ABILITIES, "brew_pressure.maximum": "0.5"}),
        ("machine_type_add", {**ABILITIES, "brew_pressure.resolution": "0"}),
        ("machine_type_add", {**ABILITIES, "brew_pressure.resolution": ""}),
        ("site_add", {}),
    ],
)
def test_what_cannot_be_is_400_with_a_sentence(
    bar: Bar, cast: Cast, signed_in: SignedIn, name: str, sent: dict[str, Any]
) -> None:
    answer = signed_in(cast.owner).post(reverse(f"stations:{name}"), sent)
    assert answer.status_code == 400
    assert "error-summary" in answer.content.decode()
    assert (Site.objects.count(), MachineType.objects.count()) == (2, 1)


@pytest.mark.parametrize("query", ["", "?machine=x", "?machine=-1", "?machine=%00"])
def test_a_station_needs_its_machine_named(
    bar: Bar, cast: Cast, signed_in: SignedIn, query: str
) -> None:
    answer = signed_in(cast.owner).get(reverse("stations:station_add") + query)
    assert answer.status_code == 400


@pytest.mark.parametrize("pk", [0, 10**9, 10**18, 10**25])
def test_what_is_not_there_is_404(bar: Bar, cast: Cast, signed_in: SignedIn, pk: int) -> None:
    browser = signed_in(cast.owner)
    for name in ("site", "machine", "station", "slot", "machine_type", "to_key", "sheet"):
        assert browser.get(reverse(f"stations:{name}", args=[pk])).status_code == 404, name
    assert browser.get("/at/nosuchco/").status_code == 404


def test_slots_cannot_be_taken_away(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    address = reverse("stations:slots_add", args=[bar.first.pk])
    for total in ("1", "0", "99", "x", "2.5", ""):
        answer = signed_in(cast.owner).post(address, {"total": total})
        assert answer.status_code == 400, total
    assert Slot.objects.count() == 5


@pytest.mark.parametrize("query", ["q=%00", f"q={'x' * 200}", "show=nonsense", "after=%00"])
def test_a_strange_filter_is_400(bar: Bar, cast: Cast, signed_in: SignedIn, query: str) -> None:
    answer = signed_in(cast.owner).get(f"{reverse('stations:board')}?{query}")
    assert answer.status_code == 400


def test_a_filter_with_wildcards_means_them_literally(
    bar: Bar, cast: Cast, signed_in: SignedIn
) -> None:
    answer = signed_in(cast.owner).get(reverse("stations:board") + "?q=%25")
    assert "No site fits this filter" in answer.content.decode()
