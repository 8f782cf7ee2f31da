"""Beside a plan: water that differs much, where it boils, and what was accepted by name."""

from datetime import date
from decimal import Decimal
from typing import Any
from uuid import uuid4

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from people.policy.actions import set_policy
from people.policy.models import Boiling, Policy
from recipes.publishing import run
from recipes.publishing.summary import water_beside
from stations.equipment.models import Site
from stations.water.actions import record_water
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn, credentials
from tests.publishing import Publish, plan_of
from tests.recipes.permits.test_permits import permit
from tests.recipes.station_water.test_own_water_pages import plan_path, text


def read(bar: Bar, site: Site, hardness: str, ph: str = "7.4") -> None:
    record_water(
        site=site, by=bar.cast.head_roaster, taken_on=date(2026, 11, 2), ph=Decimal(ph),
        hardness_value=Decimal(hardness), hardness_unit="mg/L CaCO3", alkalinity_value=Decimal(60),
        alkalinity_unit="mg/L CaCO3", dissolved_solids=Decimal(150), temperature=Decimal(15),
        temperature_unit="°C", note="",
    )  # fmt: skip


@pytest.fixture
def roaster(bar: Bar, signed_in: SignedIn) -> Client:
    return signed_in(bar.cast.head_roaster)


def test_a_site_whose_water_differs_much_is_named_with_its_units(bar: Bar, roaster: Client) -> None:
    read(bar, bar.cast.site, "80")
    assert "Brewing water" not in text(roaster.get(plan_path(bar.version)))
    read(bar, bar.cast.other_site, "250", ph="8.1")
    answer = roaster.get(plan_path(bar.version))
    page = text(answer)
    assert "Very different at 1 of these sites: the cup may differ" in page
    assert (
        "Upland : pH 8.1 (others about 7.4), hardness 250.0 mg/L CaCO3 (others about 80.0)" in page
    )
    assert f'href="/sites/{bar.cast.other_site.pk}/water/"' in answer.content.decode()


def test_little_differences_are_left_out(bar: Bar, roaster: Client) -> None:
    read(bar, bar.cast.site, "80")
    read(bar, bar.cast.other_site, "95")
    assert "Brewing water" not in text(roaster.get(plan_path(bar.version)))


def test_what_a_site_s_reading_lacks_is_named(bar: Bar, roaster: Client, api_as: ApiAs) -> None:
    read(bar, bar.cast.site, "80")
    record_water(
        site=bar.cast.other_site, by=bar.cast.head_roaster, taken_on=date(2026, 11, 2),
        ph=Decimal("7.4"), hardness_value=Decimal(80), hardness_unit="mg/L CaCO3",
        conductivity=Decimal(230),
    )  # fmt: skip
    page = text(roaster.get(plan_path(bar.version)))
    assert "Very different" not in page
    assert "Not compared, since their readings lack what others have" in page
    assert "Upland : alkalinity, dissolved solids" in page
    plan = planned(
        bar,
        api_as,
        "publications/plan/",
        {"version": bar.version.pk, "where": "all", "every_slot": True},
    )
    told = {row["name"]: (row["differs_in"], row["not_read"]) for row in plan["water"]}
    assert told["Upland"] == ([], ["alkalinity", "dissolved solids"])


def test_one_query_however_many_sites(bar: Bar) -> None:
    counts = []
    for hardness in ("80", "250"):
        plan = plan_of(bar.version, bar.cast.head_roaster)
        with CaptureQueriesContext(connection) as captured:
            water_beside(plan)
        counts.append(len(captured))
        for site in (bar.cast.site, bar.cast.other_site):
            read(bar, site, hardness)
    assert counts == [1, 1]


def planned(bar: Bar, api_as: ApiAs, path: str, body: dict[str, Any]) -> Any:  # noqa: ANN401
    client, headers = api_as(bar.cast.head_roaster), {"Idempotency-Key": uuid4().hex}
    return client.post(f"/api/v1/{path}", body, format="json", headers=headers).json()


def test_the_api_says_the_same(bar: Bar, api_as: ApiAs) -> None:
    read(bar, bar.cast.site, "80")
    read(bar, bar.cast.other_site, "250")
    plan = planned(
        bar,
        api_as,
        "publications/plan/",
        {"version": bar.version.pk, "where": "all", "every_slot": True},
    )
    assert [row["name"] for row in plan["water"]] == ["Upland"]
    assert plan["water"][0]["differs_in"] == ["hardness 250.0 mg/L CaCO3 (others about 80.0)"]
    margins = {row["name"]: (row["boiling"], row["margin"]) for row in plan["sites"]}
    # 1,650 m: 830.6 hPa by ISO 2533, 94.5 °C by IAPWS; 93.0 °C is brewed.
    assert margins["Upland"] == ("94.5", "1.5")


def test_a_site_says_where_water_boils(bar: Bar, api_as: ApiAs, roaster: Client) -> None:
    site = bar.cast.other_site
    assert "Water boils at 94.5 °C" in text(roaster.get(f"/sites/{site.pk}/"))
    told = api_as(bar.cast.head_roaster).get(f"/api/v1/sites/{site.code}/").json()
    assert (told["boiling_point"], told["air_pressure"]) == ("94.5", None)


def test_a_permit_above_boiling_is_accepted_by_name_or_refused_by_policy(
    bar: Bar, send: Publish, roaster: Client, api_as: ApiAs
) -> None:

    run.run(send().pk)
    slot, head = bar.stations[3].slots.all()[0], bar.cast.head_roaster
    hot = {
        "slots": [slot.pk],
        "changes": {"brew_temperature": "95"},
        "ends_at": "2026-12-09T12:00Z",
    }
    plan = planned(bar, api_as, "permits/plan/", hot)
    assert plan["boiling"] == {bar.cast.other_site.code: "94.5"}
    assert "0.5 °C above boiling" in plan["to_acknowledge"][0]
    made = permit([slot], head, {"brew_temperature": Decimal(95)})
    assert made.accepted is not None
    assert [each["kind"] for each in made.accepted] == ["above_boiling"]
    assert "Accepted by name" in text(roaster.get(made.get_absolute_url()))
    set_policy(
        by=bar.cast.owner, revision=Policy.current().revision, sole_roaster=False,
        boiling=Boiling.REFUSE, credentials=credentials(bar.cast.owner),
    )  # fmt: skip
    plan = planned(bar, api_as, "permits/plan/", {**hot, "slots": [slot.pk + 1]})
    assert "The owner's policy refuses this." in plan["slots"][0]["reasons"][0]
