"""Adding and changing bars."""

from decimal import Decimal
from typing import Any

import pytest

from audit.capture.models import Entry
from audit.errors import Invalid, NotPermitted, Stale
from stations.equipment.actions import add_site, change_site
from stations.equipment.models import Site
from tests.cast import Cast


def test_a_site_is_added_with_its_history(cast: Cast) -> None:
    site = add_site(
        code="quay-2", name=" Quay ", time_zone="Asia/Kolkata", altitude=Decimal("7.50"),
        by=cast.head_roaster,
    )  # fmt: skip
    site.refresh_from_db()
    assert (site.name, str(site.altitude)) == ("Quay", "7.50")
    entry = Entry.objects.filter(action="site.added").latest("id")
    assert entry.actor == cast.head_roaster.name
    assert entry.site_id == site.pk
    assert entry.changes["altitude"] == [None, "7.50"]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("code", "Quay"), ("code", "a_b"), ("code", "x" * 21), ("code", ""), ("code", "harbour"),
        ("name", ""), ("name", "x" * 81), ("name", "a\x00b"), ("name", "Harbour"),
        ("time_zone", "Mars/Base"), ("time_zone", ""), ("time_zone", "../etc/passwd"),
        ("altitude", Decimal("NaN")), ("altitude", Decimal("Infinity")),
        ("altitude", Decimal(-431)), ("altitude", Decimal(6001)),
        ("altitude", Decimal("1E+30")), ("altitude", Decimal("1.234")),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be_used_is_named(cast: Cast, field: str, value: object) -> None:
    values: dict[str, Any] = {
        "code": "quay",
        "name": "Quay",
        "time_zone": "Asia/Kolkata",
        "altitude": Decimal(7),
    }
    with pytest.raises(Invalid) as raised:
        add_site(**{**values, field: value}, by=cast.head_roaster)
    assert raised.value.field == field
    assert raised.value.allowed
    assert Site.objects.count() == 2


def test_all_faults_are_told_at_once(cast: Cast) -> None:
    with pytest.raises(Invalid) as raised:
        add_site(code="", name="", time_zone="", altitude=Decimal(9999), by=cast.head_roaster)
    told = [problem.field for problem in raised.value.problems]
    assert told == ["code", "name", "time_zone", "altitude"]


def test_a_change_is_made_from_the_revision_that_was_seen(cast: Cast) -> None:
    values: dict[str, Any] = {"name": "Harbour", "time_zone": "Europe/Lisbon", "by": cast.owner}
    change_site(site=cast.site, revision=1, altitude=Decimal(13), **values)
    stale = Site.objects.get(pk=cast.site.pk)
    with pytest.raises(Stale) as raised:
        change_site(site=stale, revision=1, altitude=Decimal(14), **values)
    assert raised.value.current_revision == 2
    assert Site.objects.get(pk=cast.site.pk).altitude == 13


def test_two_sites_cannot_end_up_with_one_name(cast: Cast) -> None:
    with pytest.raises(Invalid, match="name"):
        change_site(
            site=cast.other_site, revision=1, name="Harbour", time_zone="America/Denver",
            altitude=Decimal(1650), by=cast.owner,
        )  # fmt: skip


def test_a_shop_lead_is_refused_and_the_attempt_is_kept(cast: Cast) -> None:
    with pytest.raises(NotPermitted):
        change_site(
            site=cast.site, revision=1, name="Mine", time_zone="Europe/Lisbon",
            altitude=Decimal(12), by=cast.shop_lead,
        )  # fmt: skip
    entry = Entry.objects.filter(operation="refused").latest("id")
    assert (entry.actor, entry.action) == (cast.shop_lead.name, "site.changed")
    assert entry.subject_id == cast.site.pk
