"""A site's water: kept as entered, converted, and what it hints at."""

import uuid
from datetime import timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import IntegrityError
from django.utils import timezone

from audit.errors import Invalid, NotPermitted
from stations.equipment.models import Site
from stations.water.actions import record_water
from stations.water.models import WaterReading
from stations.water.reading import beside, indices
from tests.cast import ApiAs, Cast, SignedIn

SAMPLE: dict[str, Any] = {
    "ph": Decimal("7.4"), "hardness_value": Decimal("7.0"), "hardness_unit": "°dH",
    "alkalinity_value": Decimal("2.5"), "alkalinity_unit": "meq/L",
    "dissolved_solids": Decimal(180), "temperature": Decimal(68), "temperature_unit": "°F",
}  # fmt: skip


def note(cast: Cast, site: Site, **changed: object) -> WaterReading:
    today = timezone.now().date() - timedelta(days=1)
    values = {**SAMPLE, "taken_on": today, **changed}
    return record_water(site=site, by=cast.technician, **values)


def test_kept_as_entered_and_converted(cast: Cast) -> None:
    kept = WaterReading.objects.get(pk=note(cast, cast.site).pk)
    # 7 °dH x 17.848 mg/L, 2.5 meq/L x 50.043 mg/L (from atomic weights), 68 °F is 20 °C.
    assert (str(kept.hardness), kept.hardness_unit) == ("7.0", "°dH")
    assert round(kept.hardness_converted, 1) == Decimal("124.9")
    assert round(kept.alkalinity_converted, 1) == Decimal("125.1")
    assert kept.temperature_converted == 20


def test_faults_are_named_together(cast: Cast) -> None:
    tomorrow = timezone.now().date() + timedelta(days=2)
    with pytest.raises(Invalid) as told:
        note(cast, cast.site, ph=Decimal(15), hardness_unit="spoons", taken_on=tomorrow)
    assert {p.field for p in told.value.problems} == {"ph", "hardness_unit", "taken_on"}
    with pytest.raises(Invalid, match="temperature"):
        note(cast, cast.site, temperature=Decimal(120), temperature_unit="°C")


def test_the_index_names_its_methods_and_hints_at_scale_in_a_boiler(cast: Cast) -> None:
    found = indices(note(cast, cast.site))
    assert [each.method for each in found] == ["closed form", "Standard Methods 2330"]
    assert {each.hint for each in found} == {"scale"}
    assert all(each.extrapolated for each in found)  # 120 °C is beyond the 90 °C published
    soft = note(cast, cast.site, hardness_value=Decimal(0))
    assert indices(soft) == []


def test_sites_that_differ_much_come_first(cast: Cast) -> None:
    here = note(cast, cast.site)
    note(cast, cast.other_site, hardness_value=Decimal(1), dissolved_solids=Decimal(190))
    rows = beside(here, WaterReading.objects.newest_of_each_site())
    assert [row.site for row in rows] == [cast.other_site]
    assert rows[0].much == ["hardness 17.8 mg/L CaCO3 (here 124.9)"]


def test_a_reading_never_changes(cast: Cast) -> None:
    kept = note(cast, cast.site)
    with pytest.raises(IntegrityError):
        WaterReading.objects.filter(pk=kept.pk).update(ph=Decimal(6))


def test_who_may(cast: Cast) -> None:
    today = timezone.now().date() - timedelta(days=1)
    for person in (cast.owner, cast.shop_lead, cast.barista):
        with pytest.raises(NotPermitted):
            record_water(site=cast.site, by=person, taken_on=today, **SAMPLE)


def test_pages(cast: Cast, signed_in: SignedIn) -> None:
    browser, path = signed_in(cast.technician), f"/sites/{cast.site.pk}/water/"
    assert "No reading yet" in browser.get(path).content.decode()
    typed = {name: str(value) for name, value in SAMPLE.items()}
    sent = browser.post(f"{path}add/", {**typed, "taken_on": "2026-01-05", "note": "Report"})
    assert sent.headers["Location"] == path
    page = browser.get(path).content.decode()
    assert "a professional&#x27;s work" in page
    assert "Standard Methods 2330" in page
    assert signed_in(cast.other_lead).get(path).status_code == 404
    assert signed_in(cast.barista).get(f"{path}add/").status_code == 403


def test_api(cast: Cast, api_as: ApiAs) -> None:
    client, path = api_as(cast.technician), f"/api/v1/sites/{cast.site.code}/water/"
    body = {**{name: str(value) for name, value in SAMPLE.items()}, "taken_on": "2026-01-05"}
    made = client.post(path, body, HTTP_IDEMPOTENCY_KEY=uuid.uuid4().hex)
    assert made.status_code == 201, made.content
    first = client.get(path).json()["results"][0]
    assert (first["hardness"], first["langelier"][0]["hint"]) == ("7.0", "scale")
