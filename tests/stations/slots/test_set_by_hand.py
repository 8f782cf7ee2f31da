"""Setting a slot by hand: possible while it is unlocked, refused and recorded when locked."""

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Refused
from stations.slots.by_hand import set_by_hand
from stations.slots.models import Placement
from tests.cast import Cast
from tests.stations.conftest import Bar, place


def test_an_unlocked_slot_is_set(bar: Bar, cast: Cast) -> None:
    placement = set_by_hand(
        slot=bar.slot, values={"water_volume": "281", "ends_by": ""}, by=cast.shop_lead
    )
    assert placement.settings.values == {"water_volume": {"value": "281", "unit": "{pulse}"}}
    again = set_by_hand(slot=bar.slot, values={"water_volume": "282"}, by=cast.shop_lead)
    states = dict(Placement.objects.values_list("pk", "state"))
    assert states == {placement.pk: "ended", again.pk: "in_force"}


def test_a_locked_slot_is_refused_with_who_may_and_how_to_ask(bar: Bar, cast: Cast) -> None:
    held = place(bar.slot, cast.head_roaster)
    with pytest.raises(Refused) as raised:
        set_by_hand(slot=bar.slot, values={"water_volume": "281"}, by=cast.shop_lead)
    assert "head roaster" in raised.value.who_may
    assert raised.value.how_to_ask
    assert Placement.objects.get(slot=bar.slot, state="in_force") == held
    entry = Entry.objects.get(operation="refused")
    assert (entry.actor, entry.subject_id) == (cast.shop_lead.name, bar.slot.pk)
    assert entry.changes["water_volume"] == ["280", "281"]


def test_trying_a_locked_slot_counts_however_it_is_spelt(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    with pytest.raises(Refused):
        set_by_hand(slot=bar.slot, values={"water_volume": "lots"}, by=cast.shop_lead)
    assert Entry.objects.filter(operation="refused").count() == 1


def test_a_locked_slot_is_locked_for_the_head_roaster_too(bar: Bar, cast: Cast) -> None:
    place(bar.slot, cast.head_roaster)
    with pytest.raises(Refused):
        set_by_hand(slot=bar.slot, values={"water_volume": "281"}, by=cast.head_roaster)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("water_volume", "19"), ("water_volume", "2001"), ("water_volume", "NaN"),
        ("water_volume", "280,5"), ("water_volume", "x" * 500), ("brew_temperature", "99"),
        ("brew_pressure", "9"), ("ends_by", "mass"), ("nonsense", "1"),
    ],
)  # fmt: skip
def test_only_what_the_machine_can_hold(bar: Bar, cast: Cast, field: str, value: str) -> None:
    with pytest.raises(Invalid) as raised:
        set_by_hand(slot=bar.slot, values={field: value}, by=cast.shop_lead)
    assert raised.value.field == field
    assert not Placement.objects.exists()


def test_nothing_at_all_is_no_setting(bar: Bar, cast: Cast) -> None:
    with pytest.raises(Invalid, match="at least one setting"):
        set_by_hand(slot=bar.slot, values={"water_volume": " "}, by=cast.shop_lead)


@pytest.mark.parametrize("who", ["other_lead", "barista", "owner", "technician"])
def test_only_leads_of_the_site_set(bar: Bar, cast: Cast, who: str) -> None:
    with pytest.raises(NotPermitted):
        set_by_hand(slot=bar.slot, values={"water_volume": "281"}, by=getattr(cast, who))
