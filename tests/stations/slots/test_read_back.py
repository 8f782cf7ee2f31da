"""Reading a slot back: the verdict, and what is refused."""

import pytest

from audit.capture.context import Channel, RequestContext, request_context
from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused, Stale
from stations.slots.models import Placement, ReadBack
from stations.slots.read_backs import read_back
from tests.cast import Cast
from tests.stations.conftest import FOUND, Bar, place


def test_what_matches_matches(bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster)
    read = read_back(slot=bar.slot, found=FOUND, by=cast.shop_lead, seen_placement=placement.pk)
    placement.refresh_from_db()
    assert (read.verdict, placement.verdict) == ("matches", "matches")
    assert set(read.verdicts.values()) == {"matches"}


@pytest.mark.parametrize("typed", ["280", "280.0", "280.000", "0280", "+280", " 280 "])
def test_numbers_are_compared_as_numbers(bar: Bar, cast: Cast, typed: str) -> None:
    placement = place(bar.slot, cast.head_roaster)
    found = {**FOUND, "water_volume": typed}
    read = read_back(slot=bar.slot, found=found, by=cast.shop_lead, seen_placement=placement.pk)
    assert read.verdicts["water_volume"] == "matches"


@pytest.mark.parametrize(
    ("change", "verdict"),
    [
        ({"water_volume": "281"}, "differs"),
        ({"brew_temperature": "93.50001"}, "differs"),
        ({"ends_by": "operator"}, "differs"),
        ({"water_volume": ""}, "missing"),
        ({"ends_by": ""}, "missing"),
    ],
)
def test_one_setting_off_makes_the_slot_differ(
    bar: Bar, cast: Cast, change: dict[str, str], verdict: str
) -> None:
    placement = place(bar.slot, cast.head_roaster)
    read = read_back(
        slot=bar.slot, found={**FOUND, **change}, by=cast.shop_lead, seen_placement=placement.pk
    )
    placement.refresh_from_db()
    assert {code: v for code, v in read.verdicts.items() if v != "matches"} == {
        next(iter(change)): verdict
    }
    assert (read.verdict, placement.verdict) == ("differs", "differs")


def test_a_slot_that_differed_matches_once_it_is_put_right(bar: Bar, cast: Cast) -> None:
    seen = place(bar.slot, cast.head_roaster).pk
    read_back(slot=bar.slot, found={}, by=cast.shop_lead, seen_placement=seen)
    read_back(slot=bar.slot, found=FOUND, by=cast.shop_lead, seen_placement=seen)
    assert Placement.objects.get(pk=seen).verdict == "matches"
    entries = Entry.objects.filter(action="slot.read_back", changes__has_key="verdict")
    assert [e.changes["verdict"] for e in entries.filter(operation="changed").order_by("id")] == [
        ["unread", "differs"],
        ["differs", "matches"],
    ]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("water_volume", "many"), ("water_volume", "-1"), ("water_volume", "NaN"),
        ("water_volume", "Infinity"), ("water_volume", "280,5"), ("water_volume", "1e3"),
        ("water_volume", "9" * 30), ("water_volume", "280 pulses"), ("water_volume", "٢٨٠"),
        ("brew_temperature", "93.5 °C"), ("ends_by", "magic"), ("dose_mass", "18"),
        ("water_volume'); --", "1"),
    ],
)  # fmt: skip
def test_a_value_no_machine_shows_is_named(bar: Bar, cast: Cast, field: str, value: str) -> None:
    placement = place(bar.slot, cast.head_roaster)
    with pytest.raises(Invalid) as raised:
        read_back(
            slot=bar.slot, found={**FOUND, field: value}, by=cast.shop_lead,
            seen_placement=placement.pk,
        )  # fmt: skip
    problem = raised.value.problems[0]
    assert (problem.field, problem.value) == (field, value)
    assert problem.allowed
    assert not ReadBack.objects.exists()


def test_nothing_in_force_is_nothing_to_compare_with(bar: Bar, cast: Cast) -> None:
    with pytest.raises(Refused, match="Nothing is in force"):
        read_back(slot=bar.slot, found=FOUND, by=cast.shop_lead, seen_placement=1)


def test_the_settings_that_were_shown_must_still_be_in_force(bar: Bar, cast: Cast) -> None:
    seen = place(bar.slot, cast.head_roaster)
    newer = place(bar.slot, cast.head_roaster)
    with pytest.raises(Stale) as raised:
        read_back(slot=bar.slot, found=FOUND, by=cast.shop_lead, seen_placement=seen.pk)
    assert raised.value.current_revision == newer.pk
    assert not ReadBack.objects.exists()


def test_another_slots_placement_does_not_count(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    elsewhere = place(bar.second.slots.get(number=1), cast.head_roaster)
    with pytest.raises(Stale):
        read_back(slot=bar.slot, found=FOUND, by=cast.shop_lead, seen_placement=elsewhere.pk)


@pytest.mark.parametrize("who", ["other_lead", "barista", "owner", "technician"])
def test_only_leads_of_the_site_read_back(bar: Bar, cast: Cast, who: str) -> None:
    placement = place(bar.slot, cast.head_roaster)
    with pytest.raises(NotPermitted):
        read_back(slot=bar.slot, found=FOUND, by=getattr(cast, who), seen_placement=placement.pk)
    assert Entry.objects.filter(operation="refused", action="slot.read_back").count() == 1


def test_a_gateway_reports_under_its_keepers_name(bar: Bar, cast: Cast) -> None:
    placement = place(bar.slot, cast.head_roaster)
    token = request_context.set(RequestContext(channel=Channel.GATEWAY))
    try:
        read_back(slot=bar.slot, found=FOUND, by=cast.technician, seen_placement=placement.pk)
    finally:
        request_context.reset(token)
    entry = Entry.objects.filter(table_name="stations_readback").latest("id")
    assert (entry.channel, entry.actor) == ("gateway", cast.technician.name)
