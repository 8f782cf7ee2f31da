"""A site's zone stays while something waits for a moment by its clock."""

from datetime import UTC, datetime, time, timedelta

import pytest

from audit.errors import Invalid
from recipes.publishing.timing import When
from stations.equipment.actions import change_site
from stations.equipment.models import Site
from tests.bar import Bar
from tests.publishing import Publish

TOMORROW = (datetime.now(UTC) + timedelta(days=2)).date()


def moved(bar: Bar, zone: str) -> Site:
    site = Site.objects.get(pk=bar.cast.site.pk)
    return change_site(
        by=bar.cast.owner, site=site, revision=site.revision, name=site.name, time_zone=zone,
        altitude=site.altitude,
    )  # fmt: skip


def test_the_zone_stays_while_slots_wait_for_six(bar: Bar, send: Publish) -> None:
    moved(bar, "Europe/Lisbon")
    send(when=When(TOMORROW, time(6)))
    with pytest.raises(Invalid) as raised:
        moved(bar, "Asia/Tokyo")
    assert raised.value.field == "time_zone"
    assert f"{TOMORROW} 06:00, which would read {TOMORROW} 1" in raised.value.allowed
    site = Site.objects.get(pk=bar.cast.site.pk)
    assert site.time_zone == "Europe/Lisbon"
    change_site(
        by=bar.cast.owner, site=site, revision=site.revision, name="Old harbour",
        time_zone="Europe/Lisbon", altitude=site.altitude,
    )  # fmt: skip


def test_what_is_in_force_already_holds_no_zone_back(bar: Bar, send: Publish) -> None:
    send()
    moved(bar, "Asia/Tokyo")
    assert Site.objects.get(pk=bar.cast.site.pk).time_zone == "Asia/Tokyo"
