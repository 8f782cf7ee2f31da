"""A part is replaced: the event stands in the history, and what was known of the old part ends."""

import uuid
from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import Error, transaction
from django.urls import reverse
from django.utils import timezone

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from recipes.publishing import run
from stations.calibrations.models import Calibration
from stations.charts.charting import frozen_baseline, shots_of
from stations.charts.models import ChartBaseline
from stations.equipment.models import Site, Station
from stations.equipment.replaced import Replacement
from stations.replacements.actions import Place, replace_part
from stations.shots.actions import log_shot
from stations.shots.judging import Weighed
from stations.water.models import WaterReading
from tests.bar import Bar
from tests.cast import ApiAs, SignedIn
from tests.publishing import Publish, plan_of, send
from tests.recipes.calibrating import accept, holds, measure, typed_in

__all__ = ["send"]


@pytest.fixture
def placed(bar: Bar, send: Publish) -> Bar:
    """The recipe in force everywhere."""
    run.run(send().pk)
    return bar


def station_of(bar: Bar) -> Station:
    rows = Station.objects.select_related("machine__site")
    station: Station = rows.get(pk=bar.stations[0].pk)
    return station


def replaced(bar: Bar, part: str = "flow_meter", at: datetime | None = None) -> Replacement:
    """A technician's note about the first station, its machine or its site."""
    station = station_of(bar)
    machine, site = station.machine, station.machine.site
    place = {
        "pump": Place(site, machine=machine),
        "filter": Place(site),
    }.get(part, Place(site, station=station))
    newest = place.newest()
    return replace_part(
        by=bar.cast.technician, place=place, seen=newest.pk if newest else None, part=part,
        at=at or timezone.now(), reason="Leaked", old_serial="A1", new_serial="B2",
    )  # fmt: skip


def test_a_new_flow_meter_ends_the_calibration_of_the_old_one(placed: Bar) -> None:
    station, who = placed.stations[0], placed.cast.technician
    accept(measure(station, "4.2", who), who)
    open_one = measure(station, "4.2", who)
    made = replaced(placed)
    station.refresh_from_db()
    figures = (station.pulses_per_millilitre, station.slope_uncertainty, station.repeatability)
    assert figures == (None, None, None)
    assert station.temperature_offset == Decimal("-0.5")
    entries = Entry.objects.filter(action="equipment.part_replaced")
    assert {entry.table_name for entry in entries} == {"stations_replacement", "stations_station"}
    assert {entry.reason for entry in entries} == {"Leaked"}
    with pytest.raises(Refused, match="flow meter was replaced"):
        accept(open_one, who)
    assert list(Station.objects.filter(pk=station.pk).to_calibrate_anew()) == [station]
    assert holds(station.slots.first()).settings.values  # a slot keeps what was signed for it
    plan = plan_of(placed.version, placed.cast.head_roaster)
    refused = [line for line in plan.refused if line.slot.station_id == station.pk]
    assert len(refused) == 2
    accept(measure(station, "4.1", who), who)
    assert not Station.objects.filter(pk=station.pk).to_calibrate_anew().exists()
    assert made.pk


def test_a_new_probe_ends_the_offset(placed: Bar) -> None:
    replaced(placed, "probe")
    station = station_of(placed)
    assert (station.temperature_offset, station.offset_uncertainty) == (None, None)
    assert station.pulses_per_millilitre == Decimal("4.00")
    accept(typed_in(station, "-0.4", placed.cast.technician, "temperature"), placed.cast.technician)
    assert station_of(placed).temperature_offset == Decimal("-0.4")


def test_what_was_measured_since_stands(placed: Bar) -> None:
    """Noted a day late: the new meter was measured meanwhile."""
    station, who = placed.stations[0], placed.cast.technician
    made = accept(measure(station, "4.2", who), who)
    replaced(placed, at=timezone.now() - timedelta(days=1))
    station.refresh_from_db()
    assert station.pulses_per_millilitre == made.value
    assert made in Calibration.objects.filter(station=station).standing()


@pytest.mark.django_db(transaction=True)
def test_what_counts_decides_not_what_was_measured_and_left(placed: Bar) -> None:
    """The new meter was measured, and an older measurement was accepted after that one."""
    station, who = placed.stations[0], placed.cast.technician
    old, new = measure(station, "4.2", who), measure(station, "4.1", who)
    accept(new, who)
    accept(old, who)
    new.refresh_from_db()
    replaced(placed, at=new.recorded_at - timedelta(microseconds=1))
    station.refresh_from_db()
    assert station.pulses_per_millilitre is None


@pytest.mark.parametrize("part", ["flow_meter", "pump"])
def test_charts_begin_anew(placed: Bar, part: str) -> None:
    station, who = placed.stations[0], placed.cast.technician
    slot, content = station.slots.get(number=1), placed.version.content_digest
    shots = [
        log_shot(by=placed.cast.barista, slot=slot, shot=Weighed(Decimal(18), each, Decimal(28)))
        for each in (Decimal("36.0"), Decimal("36.4"))
    ]
    ChartBaseline.objects.create(
        station=station, content_digest=content, code="beverage_mass", centre=36,
        spread=Decimal("0.4"), shots=2, last_shot=shots[-1], reason="New", by=who,
    )  # fmt: skip
    assert frozen_baseline(station_of(placed), content, "beverage_mass") is not None
    replaced(placed, part)
    assert frozen_baseline(station_of(placed), content, "beverage_mass") is None
    assert shots_of(station_of(placed), content, "beverage_mass") == []


def test_a_new_filter_makes_the_water_unknown(placed: Bar, signed_in: SignedIn) -> None:
    site = station_of(placed).machine.site
    WaterReading.objects.create(
        site=site, taken_on=timezone.now().date() - timedelta(days=3), ph=7,
        by=placed.cast.technician,
    )  # fmt: skip
    here = WaterReading.objects.filter(site=site)
    assert here.newest_of_each_site().count() == 1
    browser = signed_in(placed.cast.technician)
    replaced(placed, "filter")
    assert here.newest_of_each_site().count() == 0
    page = browser.get(reverse("stations:water", args=[site.pk])).content.decode()
    assert "The water filter was replaced since the last reading" in page
    assert "Langelier" not in page


def test_a_filter_is_new_from_a_day_of_its_site_on(placed: Bar) -> None:
    """Ten in the evening there is the next day by UTC; the water was read in the afternoon."""
    site = station_of(placed).machine.site
    Site.objects.filter(pk=site.pk).update(time_zone="America/Bogota")
    site.refresh_from_db()
    evening = datetime(2026, 3, 2, 22, 0, tzinfo=site.zone)
    given = {"ph": 7, "site": site, "by": placed.cast.technician}
    WaterReading.objects.create(taken_on=evening.date() - timedelta(days=1), **given)
    that_day = WaterReading.objects.create(taken_on=evening.date(), **given)
    replaced(placed, "filter", evening)
    assert list(WaterReading.objects.filter(site=site).standing()) == [that_day]


def test_who_when_and_what(placed: Bar) -> None:
    place = Place(station_of(placed).machine.site, station=station_of(placed))

    def note(**changes: Any) -> Replacement:  # noqa: ANN401
        given: dict[str, Any] = {
            "by": placed.cast.technician, "place": place, "seen": None, "part": "probe",
            "at": timezone.now(), "reason": "Worn",
        }  # fmt: skip
        return replace_part(**given | changes)

    for wrong in ({"part": "pump"}, {"part": "x"}, {"reason": " "},
                  {"at": timezone.now() + timedelta(hours=1)}):  # fmt: skip
        with pytest.raises(Invalid):
            note(**wrong)
    for who in ("shop_lead", "barista", "owner"):
        with pytest.raises(NotPermitted):
            note(by=getattr(placed.cast, who))
    first = note()
    with pytest.raises(Stale):
        note()
    note(seen=first.pk)


ATTACKS: dict[str, Callable[[Replacement, Station], object]] = {
    "changed": lambda made, _: Replacement.objects.filter(pk=made.pk).update(reason="x"),
    "removed": lambda made, _: made.delete(),
    "elsewhere": lambda made, _: Replacement.objects.create(
        part="pump", site=Site.objects.exclude(pk=made.site_id)[0],
        machine=made.station.machine if made.station else None,
        reason="x", at=timezone.now(), by=made.by,
    ),
    "ahead": lambda made, _: Replacement.objects.create(
        part="filter", site=made.site, reason="x", at=timezone.now() + timedelta(days=1), by=made.by
    ),
    "a filter of a station": lambda made, station: Replacement.objects.create(
        part="filter", site=made.site, station=station, reason="x", at=timezone.now(), by=made.by
    ),
    "a figure without a calibration": lambda _, station: Station.objects.filter(
        pk=station.pk
    ).update(temperature_offset=Decimal(1)),
}  # fmt: skip


@pytest.mark.parametrize("name", ATTACKS)
def test_the_database_keeps_it(placed: Bar, name: str) -> None:
    made = replaced(placed, "probe")
    with pytest.raises(Error), transaction.atomic():
        ATTACKS[name](made, placed.stations[0])


def test_pages_say_it(placed: Bar, signed_in: SignedIn) -> None:
    station, browser = placed.stations[0], signed_in(placed.cast.technician)
    address = reverse("stations:station_replaced", args=[station.pk])
    assert "What ends by it" in browser.get(address).content.decode()
    here = station_of(placed).machine.site.local(timezone.now())
    typed = {
        "part": "flow_meter", "day": here.date().isoformat(), "time": "00:00",
        "old_serial": "A1", "new_serial": "B2", "reason": "Leaked", "seen": "",
    }  # fmt: skip
    assert browser.post(address, {**typed, "reason": ""}).status_code == 400
    assert browser.post(address, typed).status_code == 302
    page = browser.get(station.get_absolute_url()).content.decode()
    assert "No valid calibration" in page
    assert "A1 → B2" in page
    listed = browser.get(reverse("stations:calibrations"))
    assert list(listed.context["anew"]) == [station]
    home = browser.get("/", follow=True).content.decode()
    assert "alid calibration" in home
    for name, pk in (("machine", station.machine_id), ("site", station_of(placed).machine.site_id)):
        assert browser.get(reverse(f"stations:{name}_replaced", args=[pk])).status_code == 200


def test_the_api_notes_and_lists_it(placed: Bar, api_as: ApiAs) -> None:
    station, api = station_of(placed), api_as(placed.cast.technician)
    path = f"/api/v1/sites/{station.machine.site.code}/replacements/"
    body = {"part": "pump", "machine": station.machine_id, "reason": "Whines",
            "at": timezone.now().isoformat()}  # fmt: skip

    def post(body: dict[str, Any]) -> Any:  # noqa: ANN401
        return api.post(path, body, headers={"Idempotency-Key": uuid.uuid4().hex})

    assert post(body).status_code == 201
    assert post(body).status_code == 412
    assert post({**body, "machine": None}).status_code == 400
    assert [each["part"] for each in api.get(path).json()["results"]] == ["pump"]
