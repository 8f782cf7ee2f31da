"""One signature carries several versions to the slots of the sites that follow."""

from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from audit.errors import Invalid, NotPermitted, Refused
from recipes.menus.models import MenuVersion
from recipes.menus.publishing import publish_menu
from recipes.planning import served
from recipes.publishing import run
from recipes.publishing.timing import When
from recipes.versions.review import withdraw
from stations.equipment.models import Slot
from stations.slots.models import Placement
from tests.bar import Bar, station
from tests.cast import credentials
from tests.recipes.menus.spring import approved, drafted, follows, in_review, planned, sent, whole
from tests.recipes.publishing.hands import check_counts, in_force, next_week

pytestmark = pytest.mark.django_db


@pytest.fixture
def menu(bar: Bar) -> MenuVersion:
    """An approved menu that both sites follow."""
    made = approved(bar)
    follows(made.menu, bar.cast)
    return made


def test_every_slot_gets_what_its_number_says_translated_for_its_station(
    bar: Bar, menu: MenuVersion
) -> None:
    publication = sent(menu, bar.cast.head_roaster)
    run.run(publication.pk)
    says = menu.arrangement
    for slot in Slot.objects.select_related("station"):
        held = in_force(slot)
        assert held.settings.content_digest == says[slot.number].content_digest
        pulses = slot.station.pulses_per_millilitre or Decimal(0)
        volume = says[slot.number].stated.target("water_volume") or Decimal(0)
        assert held.settings.values["water_volume"]["value"] == str(
            (pulses * volume).quantize(Decimal(1), ROUND_HALF_UP)
        )
        assert (held.basis, held.basis_id) == ("publication", publication.pk)
    publication.refresh_from_db()
    assert publication.state == "complete"
    check_counts(publication)
    assert Placement.objects.values("signature").distinct().count() == 1


def test_what_is_placed_is_what_was_signed(bar: Bar, menu: MenuVersion) -> None:
    run.run(sent(menu, bar.cast.head_roaster).pk)
    rows = Placement.objects.in_force().select_related("settings", "signature", "slot")
    assert served.misfits(list(rows)) == {}


def test_what_is_held_already_is_left(bar: Bar, menu: MenuVersion) -> None:
    run.run(sent(menu, bar.cast.head_roaster).pk)
    again = planned(menu, bar.cast.head_roaster)
    assert {line.outcome for line in again.lines} == {"same"}
    before = set(Placement.objects.values_list("pk", flat=True))
    publication = sent(menu, bar.cast.head_roaster)
    run.run(publication.pk)
    publication.refresh_from_db()
    assert publication.state == "complete"
    assert set(Placement.objects.values_list("pk", flat=True)) == before


def test_at_one_moment_by_each_sites_clock(bar: Bar, menu: MenuVersion) -> None:
    when = next_week()
    publication = sent(menu, bar.cast.head_roaster, when=when)
    run.run(publication.pk)
    assert not Placement.objects.in_force().exists()
    for part in publication.sites.select_related("site"):
        local = part.due_at.astimezone(part.site.zone)
        assert (local.date(), local.time()) == (when.local_date, when.local_time)


def test_a_site_that_does_not_follow_is_refused(bar: Bar) -> None:
    made = approved(bar)
    follows(made.menu, bar.cast, bar.cast.site)
    with pytest.raises(Invalid, match="sites that follow Spring"):
        planned(made, bar.cast.head_roaster, bar.cast.other_site)


@pytest.mark.parametrize("made", [drafted, in_review])
def test_one_that_is_not_approved_is_planned_but_not_signed(
    bar: Bar, made: Callable[[Bar], MenuVersion]
) -> None:
    menu = whole(made(bar))
    follows(menu.menu, bar.cast)
    hindrance = planned(menu, bar.cast.head_roaster).hindrance()
    assert hindrance
    assert "Only an approved menu can be published" in hindrance.message
    with pytest.raises(Refused, match="Only an approved menu can be published"):
        sent(menu, bar.cast.head_roaster)
    assert not Placement.objects.exists()


def test_a_slot_number_that_exists_nowhere_is_refused(bar: Bar) -> None:
    made = approved(bar, {1: bar.version, 7: bar.version})
    follows(made.menu, bar.cast)
    plan = planned(made, bar.cast.head_roaster)
    assert plan.nowhere == (7,)
    with pytest.raises(Refused, match="No station of these sites has slot 7"):
        sent(made, bar.cast.head_roaster)
    assert not Placement.objects.exists()


def test_one_that_some_sites_lack_is_told(bar: Bar) -> None:
    station(bar.stations[0].machine, 3, "4.00", slots=3)
    made = approved(bar, {1: bar.version, 3: bar.version})
    follows(made.menu, bar.cast)
    plan = planned(made, bar.cast.head_roaster)
    assert plan.nowhere == ()
    assert plan.missing == {bar.cast.other_site.pk: (3,)}
    assert plan.hindrance() is None


def test_one_with_a_version_that_was_withdrawn_is_refused(bar: Bar, menu: MenuVersion) -> None:
    by = bar.cast.head_roaster
    seen = planned(menu, by)
    bar.version.refresh_from_db()
    withdraw(by=by, version=bar.version, revision=bar.version.revision, reason="Too sour")
    with pytest.raises(Refused, match="which is withdrawn"):
        publish_seen(menu, bar, seen.digest)
    assert not Placement.objects.exists()


def publish_seen(menu: MenuVersion, bar: Bar, digest: str) -> None:
    """Sign what was seen."""
    sites = [bar.cast.site.pk, bar.cast.other_site.pk]
    publish_menu(
        by=bar.cast.head_roaster, menu_version=menu, sites=sites, when=When(), seen=digest,
        reason="Spring", credentials=credentials(bar.cast.head_roaster), acknowledged=True,
    )  # fmt: skip


def test_a_version_on_a_menu_under_way_is_not_withdrawn(bar: Bar, menu: MenuVersion) -> None:
    by = bar.cast.head_roaster
    sent(menu, by, when=next_week())
    bar.version.refresh_from_db()
    with pytest.raises(Refused, match="slots still wait for this version"):
        withdraw(by=by, version=bar.version, revision=bar.version.revision, reason="Too sour")


def test_a_plan_that_moved_is_not_signed(bar: Bar, menu: MenuVersion) -> None:
    seen = planned(menu, bar.cast.head_roaster)
    run.run(sent(menu, bar.cast.head_roaster, bar.cast.site).pk)
    with pytest.raises(Refused, match="The plan has moved"):
        publish_seen(menu, bar, seen.digest)


def test_who_may_not_publish_is_refused(bar: Bar, menu: MenuVersion) -> None:
    with pytest.raises(NotPermitted):
        planned(menu, bar.cast.shop_lead)


def test_a_waiting_slot_is_refused_and_the_rest_placed(bar: Bar, menu: MenuVersion) -> None:
    by = bar.cast.head_roaster
    sent(menu, by, bar.cast.site, when=next_week())
    plan = planned(menu, by)
    assert {line.slot.site_id for line in plan.refused} == {bar.cast.site.pk}
    assert {line.slot.site_id for line in plan.to_place} == {bar.cast.other_site.pk}


def test_as_many_statements_for_many_slots(bar: Bar, menu: MenuVersion) -> None:
    def counted() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as asked:
            plan = planned(menu, bar.cast.head_roaster)
        return len(asked), len(plan.lines)

    few, slots = counted()
    for number in range(3, 12):
        station(bar.stations[0].machine, number, "4.00", slots=2)
    many, more = counted()
    assert more > 3 * slots
    assert many == few
