"""The history shows the equipment by its names, with units and links."""

from decimal import Decimal

from django.urls import reverse

from audit.capture.models import Entry
from audit.registry import registry
from stations.equipment.actions import change_site
from tests.cast import Cast, SignedIn
from tests.recipes.calibrating import accept, typed_in
from tests.stations.conftest import Bar


def test_a_change_is_shown_with_its_unit(bar: Bar, cast: Cast, signed_in: SignedIn) -> None:
    accept(typed_in(bar.first, "4.02", cast.head_roaster), cast.head_roaster)
    entry = Entry.objects.get(action="calibration.accepted", table_name="stations_station")
    shown = signed_in(cast.owner).get(reverse("audit:entry", args=[entry.pk])).content.decode()
    for words in ("Accepted calibration", "Flow meter", "pulses/mL", "4.02"):
        assert words in shown
    assert bar.first.get_absolute_url() in shown


def test_the_timeline_of_a_site_names_it(cast: Cast, signed_in: SignedIn) -> None:
    change_site(
        site=cast.site, revision=1, name="Harbour", time_zone="Europe/Lisbon",
        altitude=Decimal(13), by=cast.owner,
    )  # fmt: skip
    address = reverse("audit:timeline", args=["site", cast.site.pk])
    shown = signed_in(cast.owner).get(address).content.decode()
    assert "Changed site" in shown
    assert "Altitude" in shown


def test_equipment_is_found_by_name(bar: Bar, cast: Cast) -> None:
    find = {kind: registry.subjects[kind].find for kind in ("site", "machine", "station")}
    assert [list(f("harb")) for f in [find["site"]] if f] == [[(cast.site.pk, "Harbour")]]
    assert [list(f("LEFT")) for f in [find["machine"]] if f] == [
        [(bar.machine.pk, "Harbour · Left machine")]
    ]
    assert [len(list(f("left"))) for f in [find["station"]] if f] == [2]
    assert [[pk for pk, _ in f(bar.away.code)] for f in [find["station"]] if f] == [[bar.away.pk]]
