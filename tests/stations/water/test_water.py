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
from stations.water.models import FIGURES, WaterReading
from stations.water.reading import beside, differing, hints
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
    found = hints(note(cast, cast.site)).indices
    assert [each.method for each in found] == ["closed form", "Standard Methods 2330"]
    assert {each.hint for each in found} == {"scale"}
    assert all(each.extrapolated for each in found)  # 120 °C is beyond the 90 °C published
    soft = note(cast, cast.site, hardness_value=Decimal(0))
    assert hints(soft).indices == []
    assert hints(soft).needs == ["hardness above zero"]


EMPTY: dict[str, Any] = dict.fromkeys(
    ("ph", "hardness_value", "alkalinity_value", "dissolved_solids", "temperature")
)


@pytest.mark.parametrize(
    ("missing", "told"),
    [
        ("ph", "pH"),
        ("hardness_value", "hardness"),
        ("alkalinity_value", "alkalinity"),
        ("dissolved_solids", "dissolved solids or conductivity"),
    ],
)
def test_what_an_index_lacks_is_named(cast: Cast, missing: str, told: str) -> None:
    found = hints(note(cast, cast.site, **{missing: None}))
    assert (found.indices, found.needs) == ([], [told])


def test_dissolved_solids_from_conductivity_are_an_estimate_with_its_span(cast: Cast) -> None:
    found = hints(note(cast, cast.site, dissolved_solids=None, conductivity=Decimal(500)))
    assert found.solids is not None
    assert found.solids.estimated
    span = (found.solids.low, found.solids.value, found.solids.high)
    assert span == (Decimal("275.0"), Decimal("320.0"), Decimal("375.0"))  # 0.55, 0.64, 0.75
    assert all(one.low <= one.value <= one.high for one in found.indices)
    read = hints(note(cast, cast.site, conductivity=Decimal(500)))
    assert read.solids is not None  # what was read comes first
    assert (read.solids.value, read.solids.estimated) == (Decimal(180), False)


def test_chloride_is_held_against_alkalinity_or_says_what_it_needs(cast: Cast) -> None:
    # 35.45 mg/L are 1 meq/L; 2.5 meq/L of alkalinity.
    found = hints(note(cast, cast.site, chloride=Decimal("35.45")))
    assert (found.chloride, found.chloride_needs) == (Decimal("0.40"), [])
    bare = hints(note(cast, cast.site, alkalinity_value=None))
    assert (bare.chloride, bare.chloride_needs) == (None, ["chloride", "alkalinity"])
    brine = hints(note(cast, cast.site, alkalinity_value=Decimal(9000), chloride=Decimal(1)))
    assert (brine.indices, brine.chloride) == ([], None)
    assert "beyond" in brine.needs[0]


def test_a_reading_has_at_least_one_figure_besides_the_temperature(cast: Cast) -> None:
    with pytest.raises(Invalid, match="at least one of pH"):
        note(cast, cast.site, **{**EMPTY, "temperature": Decimal(20)})
    kept = note(cast, cast.site, **EMPTY, conductivity=Decimal("212.5"), chloride=Decimal(0))
    assert (kept.hardness_unit, kept.alkalinity_unit, kept.temperature_unit) == (None, None, None)


@pytest.mark.parametrize(
    "gap", [dict.fromkeys(FIGURES), {"hardness_unit": None}, {"hardness": None},
            {"alkalinity_converted": None}, {"temperature_unit": None}, {"conductivity": 0},
            {"chloride": -1}],
)  # fmt: skip
def test_the_database_knows_it_too(cast: Cast, gap: dict[str, Any]) -> None:
    kept = note(cast, cast.site, conductivity=Decimal(300), chloride=Decimal(5))
    whole = {f.attname: getattr(kept, f.attname) for f in WaterReading._meta.concrete_fields}
    del whole["id"]
    parts = {"hardness": {"hardness_unit": None, "hardness_converted": None},
             "alkalinity": {"alkalinity_unit": None, "alkalinity_converted": None}}  # fmt: skip
    if set(gap) == set(FIGURES):
        gap = {**gap, **parts["hardness"], **parts["alkalinity"]}
    with pytest.raises(IntegrityError):
        WaterReading.objects.create(**{**whole, **gap})


def test_sites_are_compared_in_what_both_have(cast: Cast) -> None:
    here = note(cast, cast.site, conductivity=Decimal(300))
    there = note(cast, cast.other_site, alkalinity_value=None, chloride=Decimal(4))
    (row,) = beside(here, WaterReading.objects.newest_of_each_site())
    assert row.much == []
    assert row.unread == [
        "alkalinity (not read there)", "conductivity (not read there)", "chloride (not read here)",
    ]  # fmt: skip
    found = {one.site: (one.words, one.unread) for one in differing([here, there])}
    assert found == {
        cast.site: ([], ["chloride"]),
        cast.other_site: ([], ["alkalinity", "conductivity"]),
    }


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
    gaps = {**typed, "ph": "", "alkalinity_value": "", "dissolved_solids": "",
            "conductivity": "212,5", "taken_on": "2026-01-06"}  # fmt: skip
    assert browser.post(f"{path}add/", gaps).status_code == 302
    page = browser.get(path).content.decode()
    assert "it needs pH, alkalinity." in page
    assert "needs chloride, alkalinity" in page
    assert "212.5" in page
    assert signed_in(cast.other_lead).get(path).status_code == 404
    assert signed_in(cast.barista).get(f"{path}add/").status_code == 403


def test_api(cast: Cast, api_as: ApiAs) -> None:
    client, path = api_as(cast.technician), f"/api/v1/sites/{cast.site.code}/water/"
    body = {**{name: str(value) for name, value in SAMPLE.items()}, "taken_on": "2026-01-05"}
    made = client.post(path, body, HTTP_IDEMPOTENCY_KEY=uuid.uuid4().hex)
    assert made.status_code == 201, made.content
    first = client.get(path).json()["results"][0]
    assert (first["hardness"], first["langelier"][0]["hint"]) == ("7.0", "scale")
    gaps = {"taken_on": "2026-01-06", "conductivity": "212.5", "ph": None}
    made = client.post(path, gaps, HTTP_IDEMPOTENCY_KEY=uuid.uuid4().hex)
    assert made.status_code == 201, made.content
    told = client.get(path).json()["results"][0]
    assert (told["ph"], told["hardness"], told["hardness_unit"]) == (None, None, None)
    assert told["hints"]["langelier_needs"] == ["pH", "hardness", "alkalinity"]
    assert told["hints"]["solids"] == {
        "value": "136.0", "low": "116.9", "high": "159.4", "estimated": True,
    }  # fmt: skip
    empty = client.post(path, {"taken_on": "2026-01-06"}, HTTP_IDEMPOTENCY_KEY=uuid.uuid4().hex)
    assert empty.status_code == 400
