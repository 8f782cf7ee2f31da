"""The plan says what it replaces, which permits end, what machines can't do and the way out."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from recipes.permits.actions import grant
from recipes.permits.plan import make_permit_plan
from recipes.publishing import run
from recipes.publishing.columns import site_tables
from recipes.publishing.hindered import hindrances
from recipes.publishing.replaced import ended_permits, replaced
from recipes.publishing.scope import Scope, Where
from recipes.versions.models import Version
from stations.equipment.models import Machine
from stations.replacements.actions import Place, replace_part
from stations.slots.by_hand import set_by_hand
from tests.bar import DOUBLE, Bar, approved, draft, station
from tests.cast import ApiAs, SignedIn, credentials
from tests.publishing import Publish, plan_of, send
from tests.recipes.publishing.hands import next_week, other_version

__all__ = ["send"]
STAGED = {
    **DOUBLE,
    "brew_temperature": ("92.0", "0.5", "0.5"),
    "preinfusion_time": ("4", "0.5", "0.5"),
}


@pytest.fixture
def staged(bar: Bar) -> Version:
    """A cooler version with pre-infusion, which one machine at the harbour can't do."""
    return approved(bar.cast, draft(bar.cast, STAGED, bar.version.recipe))


def body(response: Any) -> str:  # noqa: ANN401
    """The page as text."""
    return str(response.content, "utf-8")


def on_permit(bar: Bar) -> int:
    """A permit in the first slot; its id."""
    head, slots = bar.cast.head_roaster, (bar.slots[0].pk,)
    changes: dict[str, Decimal | str] = {"brew_temperature": Decimal("91.5")}
    ends_at = datetime.now(UTC) + timedelta(days=2)
    plan = make_permit_plan(slots=slots, changes=changes, ends_at=ends_at, by=head)
    return grant(
        by=head, slots=slots, changes=changes, ends_at=ends_at, seen=plan.digest,
        reason="Gasket", credentials=credentials(head), acknowledged=True,
    ).pk  # fmt: skip


@pytest.fixture
def busy(bar: Bar, send: Publish) -> int:
    """Slots 1 hold the recipe, one of them on permit; of slots 2 one is set by hand. The permit."""
    run.run(send(scope=Scope(Where.ALL, slot_numbers=(1,))).pk)
    run.run(send(other_version(bar), scope=Scope(Where.STATIONS, (bar.stations[1].pk,), (2,))).pk)
    set_by_hand(
        slot=bar.stations[3].slots.with_equipment().get(number=2), by=bar.cast.head_roaster,
        values={"water_volume": "281", "ends_by": "volume"},
    )  # fmt: skip
    return on_permit(bar)


def test_what_is_replaced(bar: Bar, busy: int, staged: Version) -> None:
    plan = plan_of(staged, bar.cast.head_roaster)
    said = [(one.what, one.slots, one.other) for one in replaced(plan)]
    assert said == [
        ("Morning blend · Short · version 1", 1, True),
        ("version 1", 3, False),
        ("empty until now", 1, False),
        ("set by hand", 1, False),
    ]
    [ended] = ended_permits(plan.to_place, plan.site_names)
    assert (ended.pk, ended.places) == (busy, ["Harbour · Front · station 1 · slot 1"])


def test_a_line_a_machine_with_the_way_out(bar: Bar, busy: int, staged: Version) -> None:
    worn = bar.stations[3]
    replace_part(
        by=bar.cast.head_roaster, place=Place(worn.machine.site, station=worn), seen=None,
        part="flow_meter", at=timezone.now(), reason="Worn",
    )  # fmt: skip
    found = hindrances(plan_of(staged, bar.cast.head_roaster))
    full, plain = found.types
    assert (full.name, full.cannot) == ("Full", [])
    assert (plain.name, plain.cannot) == (
        "Plain", ["Pre-infusion time is not something this machine can set"],
    )  # fmt: skip
    [counter], [back] = full.machines, plain.machines
    assert (counter.slots, counter.of, back.slots) == (2, 2, 2)
    assert counter.ways[0].words == "Measure its flow meter"
    assert counter.ways[0].url == f"/stations/{worn.pk}/calibrations/new/"
    assert [way.words for way in back.ways] == ["Add a variant for this type"]


def test_a_slot_that_another_waits_for_leads_there(
    bar: Bar, staged: Version, send: Publish
) -> None:
    made = send(staged, scope=Scope(Where.ALL, slot_numbers=(1,)), when=next_week())
    [way] = hindrances(plan_of(staged, bar.cast.head_roaster)).types[0].machines[0].ways
    assert way.url == made.get_absolute_url()
    assert f"publication {made.pk}" in way.words


def test_one_column_a_parameter_against_what_stands_there(
    bar: Bar, busy: int, staged: Version
) -> None:
    plan = plan_of(staged, bar.cast.head_roaster)
    [table] = site_tables(plan, [bar.cast.site.pk])
    assert table.columns == [
        "Water volume", "Brew temperature", "Pre-infusion time", "Shot ends by",
    ]  # fmt: skip
    rows = {row.place: row for row in table.rows}
    permit = rows["Front · station 1 · slot 1"]
    assert [(cell.value, cell.before, cell.changed) for cell in permit.cells] == [
        ("280", "280", False), ("92.5", "92.0", True), ("4.0", "", True),
        ("water volume", "water volume", False),
    ]  # fmt: skip
    assert permit.permits == [busy]
    empty = rows["Front · station 1 · slot 2"]
    assert {cell.changed for cell in empty.cells} == {False}


def test_slots_of_a_station_that_fare_alike_share_a_line(bar: Bar, staged: Version) -> None:
    [table] = site_tables(plan_of(staged, bar.cast.head_roaster), [bar.cast.other_site.pk])
    assert [row.place for row in table.rows] == ["Counter · station 1 · slot 1, 2"]


def test_the_page_says_it(bar: Bar, busy: int, staged: Version, signed_in: SignedIn) -> None:
    browser: Client = signed_in(bar.cast.head_roaster)
    url = f"/versions/{staged.pk}/publish/plan/?which=every&where=all"
    page = body(browser.get(url))
    for said in ("Another recipe", "3 slots: ", "Permits that end", "Way out", "was"):
        assert said in page, said

    def asked() -> int:
        with CaptureQueriesContext(connection) as queries:
            assert browser.get(url).status_code == 200
        return len(queries)

    few = asked()
    back = Machine.objects.get(pk=bar.stations[2].machine_id)
    for number in range(2, 12):
        station(back, number, "4.00", slots=1)
    assert asked() == few


def test_the_api_says_it(bar: Bar, busy: int, staged: Version, api_as: ApiAs) -> None:
    client = api_as(bar.cast.head_roaster)
    sent = {"version": staged.pk, "where": "all", "every_slot": True}
    plan = client.post("/api/v1/publications/plan/", sent, format="json").json()
    assert {"what": "version 1", "slots": 3, "other_recipe": False} in plan["replaces"]
    assert plan["ends_permits"] == [busy]
    [refused] = plan["refused_machines"]
    assert (refused["name"], refused["slots"]) == ("Harbour · Back", 2)
    assert refused["reasons"] == ["Pre-infusion time is not something this machine can set"]
    assert refused["ways_out"] == ["Add a variant for this type"]
